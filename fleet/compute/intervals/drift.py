"""The machine's clock against the time of receipt, and when a read was taken."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from enum import StrEnum
from typing import Final

from fleet.compute.intervals.snapshot import Snapshot

#: Beyond this the clock wants setting; common practice, no published source.
WARN_AFTER: Final = timedelta(minutes=15)
#: Beyond this the clock says nothing about when; common practice, no published source.
DISTRUST_AFTER: Final = timedelta(days=1)
#: A file is seldom delivered later than this; a clock further behind is wrong. Our own limit.
LONGEST_DELAY: Final = timedelta(days=90)
_SUMMER_TIME: Final = timedelta(hours=1)


class ClockState(StrEnum):
    """What a machine's clock is worth."""

    GOOD = "good"
    OFF = "off"
    DISTRUSTED = "distrusted"
    RECEIVED_LATE = "received_late"
    NONE = "none"


class KnownBy(StrEnum):
    """What an instant rests on."""

    MACHINE_CLOCK = "machine_clock"
    RECEIVED = "received"
    BOUNDED = "bounded"


@dataclass(frozen=True, slots=True)
class Drift:
    """Received minus clock, in seconds; positive where the clock is behind. None without a clock.

    For a read received late the difference is the delay, not drift, and `drift_s` is None.
    """

    state: ClockState
    drift_s: int | None
    text: str


@dataclass(frozen=True, slots=True)
class Moment:
    """When a read was taken, as well as can be known, and what that rests on."""

    at: datetime
    known_by: KnownBy
    drift: Drift


def clock_instant(snapshot: Snapshot, zone: tzinfo) -> datetime | None:
    """The machine's clock read as local time of the site's zone, in UTC; None without a clock.

    In UTC, because two times of one zone are compared by the wall clock, which runs twice through
    the hour in which summer time ends.
    """
    clock = snapshot.machine_clock
    if clock is None:
        return None
    try:
        return clock.replace(tzinfo=zone).astimezone(UTC)
    except OverflowError:
        return None  # the calendar's first or last day, which in UTC lies beyond it


def behind_of(snapshot: Snapshot, zone: tzinfo) -> timedelta | None:
    """Receipt minus clock; None without a clock."""
    clock = clock_instant(snapshot, zone)
    return None if clock is None else snapshot.received_at - clock


def drift_of(
    snapshot: Snapshot, zone: tzinfo, *, late: bool = False, sent_on: bool = False
) -> Drift:
    """How far the machine's clock is off.

    `late`: its counters say it was received late; `sent_on`: its neighbours' clocks say so.
    """
    clock = clock_instant(snapshot, zone)
    if clock is None:
        return Drift(ClockState.NONE, None, "The machine sent no clock.")
    difference = snapshot.received_at - clock
    size = abs(difference)
    said = _said(size)
    if late and difference > timedelta(0):
        return Drift(
            ClockState.RECEIVED_LATE,
            None,
            f"Received {said} after the machine's clock; its counters place it before reads "
            "received earlier, so this is delay and not drift.",
        )
    if sent_on and difference > timedelta(0):
        return Drift(
            ClockState.RECEIVED_LATE,
            None,
            f"Received {said} after the machine's clock, nearer to the read beside it than their "
            "clocks lie apart, so this is delay and not drift.",
        )
    seconds = round(difference.total_seconds())
    side = "behind" if difference > timedelta(0) else "ahead of"
    if size > DISTRUST_AFTER:
        return Drift(
            ClockState.DISTRUSTED,
            seconds,
            f"The machine's clock is {said} {side} the time of receipt; it is not believed.",
        )
    if size > WARN_AFTER:
        text = f"The machine's clock is {said} {side} the time of receipt; it wants setting"
        text += ", or the file was sent on so much later." if side == "behind" else "."
        if (
            abs(size - _SUMMER_TIME) <= WARN_AFTER
            and snapshot.clock_follows_summer_time is not True
        ):
            text += " An hour is what a clock without summer time is off by."
        return Drift(ClockState.OFF, seconds, text)
    return Drift(ClockState.GOOD, seconds, "The machine's clock agrees with the time of receipt.")


def likely_error_s(drifts_s: Iterable[int]) -> int | None:
    """How far a machine's clock is off over several reads, in seconds; None without any.

    The least of receipt minus clock: a file that is sent on later adds to it and never takes away.
    Negative where the clock is ahead. Never more than the true error plus the shortest delay.
    """
    return min(drifts_s, default=None)


def moment_of(
    snapshot: Snapshot, zone: tzinfo, *, late: bool = False, sent_on: bool = False
) -> Moment:
    """The best instant of a read: the machine's clock where it can be believed, else receipt.

    A read cannot be taken after it was received, so a clock ahead of receipt gives way to it.
    """
    drift = drift_of(snapshot, zone, late=late, sent_on=sent_on)
    clock = clock_instant(snapshot, zone)
    believed = drift.state in (ClockState.GOOD, ClockState.OFF, ClockState.RECEIVED_LATE)
    if clock is not None and believed and clock <= snapshot.received_at:
        return Moment(clock, KnownBy.MACHINE_CLOCK, drift)
    return Moment(snapshot.received_at, KnownBy.RECEIVED, drift)


def _said(size: timedelta) -> str:
    minutes = round(size.total_seconds() / 60)
    if minutes < 120:
        return f"{minutes} min"
    hours = round(minutes / 60)
    return f"{hours} h" if hours < 48 else f"{round(hours / 24)} days"
