"""All sale intervals of one machine, and what changes when a read comes in late."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, tzinfo

from fleet.compute.intervals.cut import cut
from fleet.compute.intervals.decisions import Decision
from fleet.compute.intervals.drift import Moment, moment_of
from fleet.compute.intervals.interval import CounterState, Interval
from fleet.compute.intervals.moments import bounded, moments_of
from fleet.compute.intervals.order import places
from fleet.compute.intervals.snapshot import Snapshot


def chain(
    snapshots: Iterable[Snapshot],
    decisions: Sequence[Decision] = (),
    *,
    zone: tzinfo = UTC,
    sold_out_date_is_last_sale: bool = False,
) -> tuple[Interval, ...]:
    """The intervals between the reads of one machine, whatever the order in which they are given.

    Duplicates take no part. Raises ValueError if two different reads bear one key.
    """
    placed = [place for place in places(snapshots, zone) if place.duplicate_of is None]
    reads = [place.snapshot for place in placed]
    return cut_all(
        reads,
        moments_of(placed, zone),
        decisions,
        sold_out_date_is_last_sale=sold_out_date_is_last_sale,
    )


def recut(
    replaced: Interval,
    before: Snapshot,
    inserted: Snapshot,
    after: Snapshot,
    decisions: Sequence[Decision] = (),
    *,
    zone: tzinfo = UTC,
    sold_out_date_is_last_sale: bool = False,
) -> tuple[Interval, Interval]:
    """The two intervals that take the place of one, when a read turns out to lie within it.

    `before` and `after` are the reads of `replaced`; its moments and decisions stand, and no other
    interval changes. The read that comes in is the last received. Raises ValueError if the reads
    are not those of `replaced`.
    """
    if (before.key, after.key) != (replaced.from_key, replaced.to_key):
        raise ValueError(
            f"the interval lies between reads {replaced.from_key} and {replaced.to_key}, "
            f"not {before.key} and {after.key}"
        )
    late = inserted.received_at > after.received_at
    own = moment_of(inserted, zone, late=late)
    middle = bounded(own, replaced.start.at, replaced.end.at)
    about = [*replaced.decisions, *(each for each in decisions if each not in replaced.decisions)]
    first, second = cut_all(
        [before, inserted, after],
        [replaced.start, middle, replaced.end],
        about,
        sold_out_date_is_last_sale=sold_out_date_is_last_sale,
    )
    return first, second


def cut_all(
    reads: Sequence[Snapshot],
    moments: Sequence[Moment],
    decisions: Sequence[Decision],
    *,
    sold_out_date_is_last_sale: bool = False,
) -> tuple[Interval, ...]:
    """The intervals between reads that stand in order, each with its moment.

    A decision acts where both its reads are among them. n reads, n moments, n - 1 intervals.
    """

    def cut_at(index: int, about: Sequence[Decision]) -> Interval:
        return cut(
            reads[index],
            reads[index + 1],
            about,
            start=moments[index],
            end=moments[index + 1],
            sold_out_date_is_last_sale=sold_out_date_is_last_sale,
        )

    intervals = [cut_at(index, ()) for index in range(len(reads) - 1)]
    position = {read.key: index for index, read in enumerate(reads)}
    about: dict[int, list[Decision]] = {}
    for decision in decisions:
        index = _boundary(decision, intervals, position)
        if index is not None:
            moved = replace(decision, from_key=reads[index].key, to_key=reads[index + 1].key)
            about.setdefault(index, []).append(moved)
    for index, decided in about.items():
        intervals[index] = cut_at(index, decided)
    return tuple(intervals)


def _boundary(
    decision: Decision, intervals: Sequence[Interval], position: dict[str, int]
) -> int | None:
    """Index of the interval that a decision is about, among reads that came in between since.

    The last one between its two reads in which the device starts afresh: that is the start of the
    counters which the person saw. None if the two reads are not here, or nothing starts afresh.
    """
    first, last = position.get(decision.from_key), position.get(decision.to_key)
    if first is None or last is None:
        return None
    for index in range(last - 1, first - 1, -1):
        if intervals[index].device(decision.device).state is CounterState.NEW_EPOCH:
            return index
    return None
