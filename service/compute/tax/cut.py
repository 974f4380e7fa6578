"""A count cut over time so that the parts add up, however and wherever else it is cut.

What was sold until a moment is taken as the whole times the share of the time that had passed,
rounded down. A part is the difference of two such sums, so that two reports that cut the same
interval at different moments never count a cent twice or lose it.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise

MICROSECOND = timedelta(microseconds=1)


def passed(starts: datetime, ends: datetime, moment: datetime) -> tuple[int, int]:
    """How much of `[starts, ends)` has passed at a moment, and its length, in microseconds.

    One of one where the interval has no length and the moment is past it.
    """
    if moment >= ends:
        return 1, 1
    if moment <= starts:
        return 0, 1
    return (moment - starts) // MICROSECOND, (ends - starts) // MICROSECOND


def until(whole: int, starts: datetime, ends: datetime, moment: datetime) -> int:
    """How much of a whole spread evenly over `[starts, ends)` lies before a moment."""
    gone, length = passed(starts, ends, moment)
    return whole * gone // length


def cut(whole: int, starts: datetime, ends: datetime, at: Sequence[datetime]) -> list[int]:
    """A whole cut at moments in order: one part more than there are moments."""
    sums = [0, *(until(whole, starts, ends, moment) for moment in at), whole]
    return [after - before for before, after in pairwise(sums)]
