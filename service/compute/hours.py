"""Working hours: what is open when, and moments reckoned in open time only.

Right over clock changes and days closed. A wall clock's time becomes a moment by one rule: the
first moment of that day at which the clock shows that time or a later one. So what opens at half
past two opens at three on the day the clock skips from two to three, an hour that is shown twice
belongs to the window that holds its first showing, and windows that meet or lie apart still do.
Moments come with a zone and are answered in the zone of the hours.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from itertools import pairwise
from typing import Final

MIDNIGHT: Final = time(0)
"""As a closing time: the end of the day."""
LONGEST_CLOSED_DAYS: Final = 400
"""Nothing open for so long is as good as closed for ever."""


class NeverOpen(ValueError):
    """The hours hold no open time within reach of the moment asked about."""


@dataclass(frozen=True)
class Hours:
    """What is open each week, on which days not, and where.

    `weekly` holds seven tuples, Monday's first, of (opens, closes) by the wall clock in `zone`,
    apart from each other and in order; a closing time of midnight is the day's end. On the days
    `closed` nothing opens. Raises ValueError for a week that cannot be.
    """

    weekly: tuple[tuple[tuple[time, time], ...], ...]
    zone: tzinfo
    closed: frozenset[date] = frozenset()

    def __post_init__(self) -> None:
        if len(self.weekly) != 7:
            raise ValueError(f"a week has seven days, Monday first, not {len(self.weekly)}")
        for number, day in enumerate(self.weekly):
            for opens, closes in day:
                if closes not in (MIDNIGHT,) and closes <= opens:
                    raise ValueError(f"weekday {number}: {opens} to {closes} ends before it begins")
            for (_, closed), (opens, _) in pairwise(day):
                if closed == MIDNIGHT or opens < closed:
                    raise ValueError(f"weekday {number}: {opens} lies before {closed} is over")

    def is_working_day(self, day: date) -> bool:
        return bool(self.weekly[day.weekday()]) and day not in self.closed

    def open_on(self, day: date) -> Iterator[tuple[datetime, datetime]]:
        """From when until when it is open on a day, as moments in UTC, in order."""
        if day in self.closed:
            return
        for opens, closes in self.weekly[day.weekday()]:
            ends_on = day + timedelta(days=1) if closes == MIDNIGHT else day
            start, end = _moment(day, opens, self.zone), _moment(ends_on, closes, self.zone)
            if start < end:
                yield start, end

    def open_from(self, moment: datetime) -> Iterator[tuple[datetime, datetime]]:
        """Open time from a moment on, without end, in UTC. Raises NeverOpen."""
        day = moment.astimezone(self.zone).date()
        last = day
        while day - last <= timedelta(days=LONGEST_CLOSED_DAYS):
            for start, end in self.open_on(day):
                if end > moment:
                    last = day
                    yield max(start, moment), end
            day += timedelta(days=1)
        raise NeverOpen(f"nothing is open for {LONGEST_CLOSED_DAYS} days after {last}")


def add(start: datetime, minutes: int, hours: Hours) -> datetime:
    """The first moment, `start` or later, by which so many open minutes have passed.

    So it may be a closing time, and no minutes at all have passed at `start` itself. Raises
    NeverOpen, and ValueError for minutes below zero.
    """
    if minutes < 0:
        raise ValueError(f"minutes must not be below zero, not {minutes}")
    left = timedelta(minutes=minutes)
    if not left:
        return start.astimezone(hours.zone)
    for begins, ends in hours.open_from(start.astimezone(UTC)):
        if left <= ends - begins:
            return (begins + left).astimezone(hours.zone)
        left -= ends - begins
    raise AssertionError("open time goes on without end")


def open_time(start: datetime, end: datetime, hours: Hours) -> timedelta:
    """How long it is open from `start` to `end`; none when `end` comes first."""
    start, end = start.astimezone(UTC), end.astimezone(UTC)
    day, last = start.astimezone(hours.zone).date(), end.astimezone(hours.zone).date()
    found = timedelta()
    while day <= last:
        for begins, ends in hours.open_on(day):
            found += max(timedelta(), min(ends, end) - max(begins, start))
        day += timedelta(days=1)
    return found


def minutes_between(start: datetime, end: datetime, hours: Hours) -> int:
    """How many whole open minutes lie from `start` to `end`; 0 when `end` comes first."""
    return open_time(start, end, hours) // timedelta(minutes=1)


def end_of_working_day(start: datetime, days: int, hours: Hours) -> datetime:
    """When it closes on the `days`-th working day after the day of `start`, as its clock has it.

    No days: on the day of `start` itself, or the next working day when that one is over or none.
    Raises NeverOpen, and ValueError for days below zero.
    """
    if days < 0:
        raise ValueError(f"days must not be below zero, not {days}")
    first = start.astimezone(hours.zone).date()
    day, left, idle = first, days, 0
    while idle <= LONGEST_CLOSED_DAYS:
        ends = [end for _, end in hours.open_on(day)]
        counts = bool(ends) and (day > first or (not days and ends[-1] > start))
        if counts and left <= 1:
            return ends[-1].astimezone(hours.zone)
        left -= counts
        idle = 0 if counts else idle + 1
        day += timedelta(days=1)
    raise NeverOpen(f"nothing is open for {LONGEST_CLOSED_DAYS} days before {day}")


def _moment(day: date, clock: time, zone: tzinfo) -> datetime:
    """The first moment, in UTC, at which the clock shows this time of the day or a later one."""
    wall = datetime.combine(day, clock)
    early = wall.replace(tzinfo=zone, fold=0).astimezone(UTC)
    if early.astimezone(zone).replace(tzinfo=None) == wall:
        return early
    # The clock skips this time. By the offset after the skip it lies before the skip, by the
    # offset before the skip after it (PEP 495, "the gap"): the skip is found between the two.
    below = wall.replace(tzinfo=zone, fold=1).astimezone(UTC)
    while early - below > timedelta(seconds=1):
        middle = below + (early - below) // 2
        middle = middle.replace(microsecond=0)
        if middle <= below:
            middle = below + timedelta(seconds=1)
        if middle.astimezone(zone).replace(tzinfo=None) >= wall:
            early = middle
        else:
            below = middle
    return early.replace(microsecond=0)
