"""When each read of a machine was taken: its own clock, its neighbours' clocks, and its receipt."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final

from fleet.compute.intervals.drift import (
    DISTRUST_AFTER,
    LONGEST_DELAY,
    WARN_AFTER,
    KnownBy,
    Moment,
    behind_of,
    moment_of,
)
from fleet.compute.intervals.order import Place

#: Clocks of two reads that lie further apart than their receipts by this were sent on together.
#: Our own limit, well above what a clock gains between two reads.
_SENT_TOGETHER: Final = timedelta(hours=1)


def moments_of(placed: Sequence[Place], zone: tzinfo = UTC) -> list[Moment]:
    """When each read was taken, in their order: none is taken before the one it follows.

    A read received late has only its clock to say when; it is kept between its neighbours.
    """
    delayed = sent_on(placed, zone)
    moments = [
        moment_of(place.snapshot, zone, late=place.late, sent_on=delay)
        for place, delay in zip(placed, delayed, strict=True)
    ]
    late = [place.late or delay for place, delay in zip(placed, delayed, strict=True)]
    following: list[datetime | None] = [None] * len(moments)
    limit: datetime | None = None
    for index in range(len(moments) - 1, -1, -1):
        following[index] = limit
        if not late[index]:
            at = moments[index].at
            limit = at if limit is None else min(limit, at)
    kept: list[Moment] = []
    for index, moment in enumerate(moments):
        earliest = kept[-1].at if kept else None
        kept.append(bounded(moment, earliest, following[index] if late[index] else None))
    return kept


def sent_on(placed: Sequence[Place], zone: tzinfo = UTC) -> list[bool]:
    """Which reads' clocks lie so far behind only because their files were sent on later.

    An archive handed in at once, or a driver's reader emptied after a week: the clock would be
    distrusted, but beside the read before or after it (of the same counters) the receipts lie
    nearer together than the clocks. Where both advance alike, the clock is wrong and the files
    came as they were taken.
    """
    behind = [behind_of(place.snapshot, zone) for place in placed]

    def beside(index: int, other: int) -> timedelta | None:
        """How much farther behind `index` is than `other`; None where that says nothing."""
        if not 0 <= other < len(placed) or placed[index].epoch != placed[other].epoch:
            return None
        own, theirs = behind[index], behind[other]
        return None if own is None or theirs is None else own - theirs

    found = []
    for index, own in enumerate(behind):
        if own is None or not DISTRUST_AFTER < own <= LONGEST_DELAY:
            found.append(False)
            continue
        around = [
            (other, difference)
            for other in (index - 1, index + 1)
            if (difference := beside(index, other)) is not None
        ]
        live = any(
            abs(difference) <= WARN_AFTER
            and _receipts_apart(placed[index], placed[other]) > _SENT_TOGETHER
            for other, difference in around
        )
        found.append(not live and any(abs(apart) > _SENT_TOGETHER for _, apart in around))
    return found


def bounded(moment: Moment, earliest: datetime | None, latest: datetime | None) -> Moment:
    """The moment, moved between two others where it lies outside them."""
    at = moment.at
    if latest is not None and at > latest:
        at = latest
    if earliest is not None and at < earliest:
        at = earliest
    return moment if at == moment.at else Moment(at, KnownBy.BOUNDED, moment.drift)


def _receipts_apart(one: Place, other: Place) -> timedelta:
    return abs(one.snapshot.received_at - other.snapshot.received_at)
