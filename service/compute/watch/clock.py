"""A machine's clock that goes wrong: how far off, how fast, and in which of the known ways.

Times of sale, dry spells and the order of reads lean on the machine's clock. How far it is off is
worked out where reads are taken in (`fleet.compute.intervals.drift`); this looks at it over time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final

import numpy.typing as npt

from .arrays import floats, in_order, refuse_unless
from .suspicion import Kind, Suspicion, strength_over

#: Minutes off that are told; common practice, no published source.
LIMIT_MINUTES: Final = 15.0
#: A file that waits looks like a clock behind: so many reads must agree before that is believed.
LEAST_READS: Final = 3
HOUR: Final = 60.0
A_DAY: Final = 1440.0
#: A drift is believed when it shows over so many days.
LEAST_DRIFT_DAYS: Final = 7.0
#: How near to a whole hour is a clock set by another zone, or by winter time in summer.
NEAR_HOUR: Final = 6.0


class Way(StrEnum):
    """In which way a clock is wrong."""

    RIGHT = "right"
    OFF = "off"
    DRIFTS = "drifts"
    WHOLE_HOURS = "whole_hours"
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class ClockJudged:
    """`off_minutes`: clock less true time, now; `a_day`: how it changes, minutes a day."""

    way: Way
    off_minutes: float
    a_day: float
    reads: int
    limit_minutes: float

    @property
    def found(self) -> bool:
        return self.way is not Way.RIGHT

    def suspicion(self) -> Suspicion:
        """The clock in words."""
        size, side = abs(self.off_minutes), "fast" if self.off_minutes > 0 else "slow"
        said = f"The machine's clock is {_time(size)} {side}, by {self.reads} reads"
        said += {
            Way.WHOLE_HOURS: "; whole hours: another zone, or summer time not set.",
            Way.DRIFTS: f"; it goes off {abs(self.a_day):.1f} min a day: it wants setting, and "
            "watching after.",
            Way.LOST: "; it began anew, as after its back-up battery.",
        }.get(self.way, ".")
        return Suspicion(
            kind=Kind.CLOCK,
            p_value=None,
            strength=strength_over(size, self.limit_minutes),
            said=said,
            numbers={
                "off_minutes": self.off_minutes,
                "minutes_a_day": self.a_day,
                "reads": self.reads,
                "limit_minutes": self.limit_minutes,
                "way": self.way.value,
            },
        )


def judge(
    days: Sequence[float], ahead_minutes: Sequence[float], limit_minutes: float = LIMIT_MINUTES
) -> ClockJudged:
    """Judge a clock by its reads in order of time.

    `days` are moments of receipt in days from any origin, `ahead_minutes` clock less receipt: a
    file that waited reads as a clock that is behind, never ahead. So the drift is that of the line
    that no read lies above (`drift`), and the clock stands where the least delayed of the latest
    reads puts it. Raises BadEvidence.
    """
    when, ahead = floats("days", days), floats("ahead_minutes", ahead_minutes, len(days))
    in_order("days", days)
    refuse_unless("limit_minutes", limit_minutes > 0, "must be above 0")
    number = len(when)
    if not number:
        return ClockJudged(Way.RIGHT, 0.0, 0.0, 0, limit_minutes)
    a_day = drift(when, ahead)
    latest = slice(max(0, number - LEAST_READS), number)
    moved = ahead[latest] + a_day * (when[-1] - when[latest])
    off = float(moved.max())
    enough = number >= LEAST_READS or off > limit_minutes
    if not enough or abs(off) <= limit_minutes:
        return ClockJudged(Way.RIGHT, off, a_day, number, limit_minutes)
    return ClockJudged(_way(off, a_day, limit_minutes), off, a_day, number, limit_minutes)


def drift(days: npt.ArrayLike, ahead_minutes: npt.ArrayLike) -> float:
    """Minutes a day by which a clock gains, from reads of which some were received late.

    The slope of the line that lies above every read and as near to them as it can, in sum: the edge
    of their upper hull over their mean moment (Moon, Skelly & Towsley 1999, who so take the skew of
    a clock out of delays in a network). 0 where the reads span less than LEAST_DRIFT_DAYS.
    """
    x, y = floats("days", days), floats("ahead_minutes", ahead_minutes)
    if len(x) < LEAST_READS or x[-1] - x[0] < LEAST_DRIFT_DAYS:
        return 0.0
    hull: list[tuple[float, float]] = []
    for moment, minutes in zip(x.tolist(), y.tolist(), strict=True):
        point = (moment, minutes)
        if hull and hull[-1][0] == moment:
            point = (moment, max(minutes, hull.pop()[1]))
        while len(hull) > 1 and _steepness(hull[-2], hull[-1]) <= _steepness(hull[-1], point):
            hull.pop()
        hull.append(point)
    middle = float(x.mean())
    for before, after in pairwise(hull):
        if after[0] >= middle:
            return _steepness(before, after)
    return 0.0


def _steepness(before: tuple[float, float], after: tuple[float, float]) -> float:
    return (after[1] - before[1]) / (after[0] - before[0])


def _way(off: float, a_day: float, limit_minutes: float) -> Way:
    if abs(off) >= 30 * A_DAY:
        return Way.LOST
    # Off by its limit within a month when set today: setting it alone does not last.
    if abs(a_day) * 30 >= limit_minutes:
        return Way.DRIFTS
    hours = round(abs(off) / HOUR)
    if 1 <= hours <= 14 and abs(abs(off) - hours * HOUR) <= NEAR_HOUR:
        return Way.WHOLE_HOURS
    return Way.OFF


def _time(minutes: float) -> str:
    if minutes < 2 * HOUR:
        return f"{minutes:.0f} min"
    if minutes < 2 * A_DAY:
        return f"{minutes / HOUR:.1f} h"
    return f"{minutes / A_DAY:.0f} days"
