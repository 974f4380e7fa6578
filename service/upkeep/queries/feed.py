"""What a calendar address shows."""

from datetime import date, timedelta
from typing import Final

from django.db.models import QuerySet

from ..models import CalendarAddress, DueWork
from .due import open_turns, whose

AHEAD: Final = timedelta(days=183)
"""Half a year: beyond it days that follow from work still to be done are only guessed."""
MOST: Final = 2000


def turns_shown(address: CalendarAddress, today: date) -> "QuerySet[DueWork]":
    """Late turns and those of the next half year, of the address's person or of everybody."""
    turns = open_turns().filter(day__lte=today + AHEAD)
    if address.shows == CalendarAddress.Shows.MINE:
        turns = turns.filter(whose(address.person))
    return turns[:MOST]
