"""On which day a duty's next turn is due, and why that day. Dates alone: no rows, no clock."""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta

from service.compute.upkeep import day_of_year

BY_HAND = "as written down by hand"


@dataclass(frozen=True)
class Turn:
    """A day and why, in words that end a sentence: `due 2027-01-31, because ...`."""

    on: date
    because: str


def first_turn(*, today: date, month_day: str, notice_days: int) -> Turn:
    """Of a duty that nobody has written down as done.

    Where it falls on a day of the year that is the day; otherwise people get as long as their
    notice, since nobody knows how long it has been owed already.
    """
    if month_day:
        return Turn(_next_day(today, month_day), "never written down; it falls on this day")
    return Turn(today + timedelta(days=notice_days), "never written down as done")


def next_turn(
    *,
    done_on: date,
    was_due: date,
    valid_until: date | None,
    every_months: int | None,
    month_day: str,
) -> Turn | None:
    """After one that was done; None where once is enough and no paper ends.

    A date on the paper goes before the rule's interval. Done early for a day of the year, it counts
    for that year.
    """
    if valid_until is not None:
        return Turn(valid_until, f"what was done on {done_on} holds until then")
    if every_months is None:
        return None
    if month_day:
        begun = max(done_on, was_due) + timedelta(days=1)
        return Turn(_next_day(begun, month_day), f"done on {done_on}; it falls on this day")
    months = "every month" if every_months == 1 else f"every {every_months} months"
    return Turn(_months_later(done_on, every_months), f"done on {done_on}, and {months}")


def _next_day(begins: date, month_day: str) -> date:
    """The first such day of a year that is not before `begins`."""
    found = day_of_year(month_day, begins.year)
    return found if found >= begins else day_of_year(month_day, begins.year + 1)


def _months_later(day: date, months: int) -> date:
    """The same day so many months later, or the month's last where it is shorter."""
    month = day.month - 1 + months
    year, month = day.year + month // 12, month % 12 + 1
    return date(year, month, min(day.day, monthrange(year, month)[1]))
