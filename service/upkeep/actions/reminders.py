"""Reminding people of maintenance that comes due, once each turn, and of late turns, once more."""

from collections.abc import Iterable
from datetime import datetime
from typing import Final

from django.db import transaction

from people.actions import reminding
from people.models import Person
from people.roles import Role

from ..models import DueWork
from . import lock

WORDS: Final = reminding.Words[DueWork](
    kind="upkeep",
    one=lambda turn, is_late: f"Upkeep {'late' if is_late else 'due'}: {turn}",
    many=lambda count, is_late: f"Upkeep: {count} turns {'are late' if is_late else 'come due'}",
    line=lambda turn: f"{turn.day:%Y-%m-%d}  {turn.machine}  {turn.plan}",
    address=lambda person, turn: (
        "/upkeep/?who=mine" if turn.given_to_id == person.pk else "/upkeep/"
    ),
)


@transaction.atomic
def remind(*, now: datetime) -> int:
    """Tell whoever does it of turns that come due within their plan's notice, and of late ones.

    How many turns were told of; asked again it tells of none twice.
    """
    if reminding.is_night(now):
        return 0
    lock.take()
    desk = _holding(Role.DISPATCHER) or _holding(Role.OWNER)
    return reminding.remind(
        rows=DueWork.objects.filter(state=DueWork.State.OPEN, plan__active=True)
        .select_related("plan__responsible", "given_to", "machine")
        .order_by("day", "machine__asset_tag", "pk"),
        day="day",
        notice_days=lambda turn: turn.plan.notice_days,
        told_of=lambda turn, is_late: told_of(turn, desk, late=is_late),
        words=WORDS,
        now=now,
    )


def told_of(turn: DueWork, desk: Iterable[Person], *, late: bool) -> list[Person]:
    """Whoever does a turn, or the desk; of a late one both."""
    chosen = turn.given_to or turn.plan.responsible
    if chosen is None or not chosen.is_active:
        return list(desk)
    return [chosen, *(one for one in desk if one.pk != chosen.pk)] if late else [chosen]


def _holding(role: Role) -> list[Person]:
    return list(Person.objects.filter(is_active=True, roles__contains=[role]).order_by("pk"))
