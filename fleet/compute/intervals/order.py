"""In which order the reads of one machine were taken, however they came in.

The machine's clock orders reads where it can be believed; the counters overrule it, since they
only go up: a read received late stands where its counters say. A counter that falls while the
clock goes on is no late read but a new start, and begins a new epoch.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from enum import StrEnum
from typing import Final

from fleet.compute.audit.dictionary import modulus
from fleet.compute.intervals.counting import How, step
from fleet.compute.intervals.drift import DISTRUST_AFTER, LONGEST_DELAY, clock_instant
from fleet.compute.intervals.figures import TOTAL_FIGURES, TOTAL_INDEX
from fleet.compute.intervals.snapshot import Snapshot

_READS_MODULUS: Final = modulus("EA309")
_PAID_COUNT: Final = TOTAL_INDEX["paid_count"]
_PAID_VALUE: Final = TOTAL_INDEX["paid_value_minor"]


class PlacedBy(StrEnum):
    """Why a read stands where it stands."""

    CLOCK = "clock"
    CLOCK_RECEIVED_LATE = "clock_received_late"
    COUNTER = "counter"
    RECEIVED = "received"


@dataclass(frozen=True, slots=True)
class Place:
    """One read in its place. `epoch` counts the control board's fresh starts, from 1.

    `late` says that a read placed after it was received before it. `duplicate_of` names the read
    that says the same and came first; a duplicate takes no part in cutting.
    """

    snapshot: Snapshot
    epoch: int
    placed_by: PlacedBy
    late: bool
    duplicate_of: str | None
    reason: str


@dataclass(slots=True)
class _Row:
    """A read on its way to its place: `when` is the instant that it is sorted by."""

    snapshot: Snapshot
    when: datetime
    placed_by: PlacedBy


def in_order(snapshots: Iterable[Snapshot], zone: tzinfo = UTC) -> tuple[Snapshot, ...]:
    """The reads of one machine as they were taken, without duplicates.

    The same for every order in which they are given. `zone` is the site's, for the machine's
    clock. Raises ValueError if two different reads bear one key.
    """
    return tuple(place.snapshot for place in places(snapshots, zone) if place.duplicate_of is None)


def places(snapshots: Iterable[Snapshot], zone: tzinfo = UTC) -> tuple[Place, ...]:
    """Every read in its place, with the reason. Duplicates stand right after what they repeat."""
    distinct, copies = _without_duplicates(snapshots)
    rows = _by_clock(distinct, zone)
    placed: list[Place] = []
    epoch = 1
    earliest_after = _earliest_received_after(rows)
    for index, row in enumerate(rows):
        starts_afresh = index > 0 and not goes_on(rows[index - 1].snapshot, row.snapshot)
        epoch += starts_afresh
        limit = earliest_after[index]
        late = limit is not None and limit < row.snapshot.received_at
        reason = _reason(row, late=late, starts_afresh=starts_afresh)
        place = Place(row.snapshot, epoch, row.placed_by, late, None, reason)
        placed.append(place)
        for copy in copies.get(row.snapshot.key, ()):
            text = f"Says the same as read {row.snapshot.key}, which came first."
            placed.append(replace(place, snapshot=copy, duplicate_of=row.snapshot.key, reason=text))
    return tuple(placed)


def goes_on(before: Snapshot, after: Snapshot) -> bool:
    """Whether the same control board counted on from one read to the other.

    False if it was replaced or initialised, or if any of its leading counters fell.
    """
    for earlier, later in (
        (before.board_serial, after.board_serial),
        (before.machine_serial, after.machine_serial),
        (before.initialised_at, after.initialised_at),
    ):
        if earlier is not None and later is not None and earlier != later:
            return False
    if step(before.reads_counter, after.reads_counter, _READS_MODULUS).how is How.WENT_BACK:
        return False
    return all(
        step(before.totals[index], after.totals[index], TOTAL_FIGURES[index].modulus).how
        is not How.WENT_BACK
        for index in (_PAID_COUNT, _PAID_VALUE)
    )


def _without_duplicates(
    snapshots: Iterable[Snapshot],
) -> tuple[list[Snapshot], dict[str, list[Snapshot]]]:
    """The distinct reads by time of receipt, and for each key the reads that repeat it."""
    by_key: dict[str, Snapshot] = {}
    for snapshot in snapshots:
        known = by_key.setdefault(snapshot.key, snapshot)
        if known is not snapshot and known != snapshot:
            raise ValueError(f"two different reads bear the key {snapshot.key!r}")
    firsts: dict[tuple[object, ...], str] = {}
    distinct: list[Snapshot] = []
    copies: dict[str, list[Snapshot]] = {}
    for snapshot in sorted(by_key.values(), key=lambda read: (read.received_at, read.key)):
        mark = _mark(snapshot)
        if mark is not None and mark in firsts:
            copies.setdefault(firsts[mark], []).append(snapshot)
            continue
        if mark is not None:
            firsts[mark] = snapshot.key
        distinct.append(snapshot)
    return distinct, copies


def _mark(snapshot: Snapshot) -> tuple[object, ...] | None:
    """What two copies of one read share whatever way they came; None where too little is known."""
    count, value = snapshot.totals[_PAID_COUNT], snapshot.totals[_PAID_VALUE]
    if snapshot.this_read_at is None or snapshot.reads_counter is None or count is None:
        return None if snapshot.block_sha256 is None else (snapshot.block_sha256,)
    return snapshot.this_read_at, snapshot.reads_counter, count, value, snapshot.board_serial


def _by_clock(reads: Sequence[Snapshot], zone: tzinfo) -> list[_Row]:
    """Place first what has a believable clock, then what a clock and counters agree on, then all.

    `reads` come sorted by time of receipt, so that the outcome does not depend on how they were
    given.
    """
    rows: list[_Row] = []
    delayed: list[tuple[datetime, Snapshot]] = []
    doubtful: list[Snapshot] = []
    for read in reads:
        clock = clock_instant(read, zone)
        if clock is None or clock - read.received_at > DISTRUST_AFTER:
            doubtful.append(read)
        elif read.received_at - clock > DISTRUST_AFTER:
            delayed.append((clock, read))
        else:
            rows.append(_Row(read, clock, PlacedBy.CLOCK))
    rows.sort(key=lambda row: (row.when, row.snapshot.received_at, row.snapshot.key))
    _let_counters_overrule(rows)
    delayed.sort(key=lambda pair: (pair[0], pair[1].received_at, pair[1].key))
    for clock, read in delayed:
        at = _index_after(rows, clock)
        if _clock_is_believable(rows, at, clock, read):
            rows.insert(at, _Row(read, clock, PlacedBy.CLOCK_RECEIVED_LATE))
        else:
            doubtful.append(read)
    doubtful.sort(key=lambda read: (read.received_at, read.key))
    for read in doubtful:
        _place_by_counter(rows, read)
    return rows


def _clock_is_believable(rows: Sequence[_Row], at: int, clock: datetime, read: Snapshot) -> bool:
    """Whether a read received more than a day after its clock is late, and not its clock wrong.

    It is if its counters fit where the clock puts it, or if the place is the same by clock and by
    receipt. Where they fit badly the clock is believed only for a delay that happens, and only
    between epochs or at either end, where its counters may be the only ones of their epoch.
    """
    received_at = _index_after(rows, read.received_at)
    if at == received_at or _fits(rows, at, read):
        return True
    if read.received_at - clock > LONGEST_DELAY:
        return False
    inside_one_epoch = 0 < at < len(rows) and goes_on(rows[at - 1].snapshot, rows[at].snapshot)
    fits_at_receipt = 0 < received_at < len(rows) and _fits(rows, received_at, read)
    return not inside_one_epoch and not fits_at_receipt


def _let_counters_overrule(rows: list[_Row]) -> None:
    """Exchange neighbours whose counters say that the second was read first.

    A clock set back by an hour between two reads would else look like a counter that fell. The
    counters need a second voice: the times of receipt, or a clock that shows the same minute twice.
    As many passes as reads put any disorder right, and end whatever the counters say.
    """
    for _ in range(len(rows)):
        changed = False
        for index in range(len(rows) - 1):
            first, second = rows[index], rows[index + 1]
            if _read_in_reverse(first, second):
                second.when, first.when = first.when, second.when
                second.placed_by = first.placed_by = PlacedBy.COUNTER
                rows[index], rows[index + 1] = second, first
                changed = True
        if not changed:
            return


def _read_in_reverse(first: _Row, second: _Row) -> bool:
    earlier, later = first.snapshot, second.snapshot
    received_in_reverse = later.received_at < earlier.received_at
    if not received_in_reverse and first.when != second.when:
        return False
    if goes_on(earlier, later) or not goes_on(later, earlier):
        return False
    return received_in_reverse or _just_before(later, earlier)


def _index_after(rows: Sequence[_Row], instant: datetime) -> int:
    return bisect_right(rows, instant, key=lambda row: row.when)


def _fits(rows: Sequence[_Row], at: int, read: Snapshot) -> bool:
    """Whether the read's counters lie between its neighbours' if it stood at this index.

    Where the neighbours are of two epochs it may be the last of one or the first of the other.
    """
    before = rows[at - 1].snapshot if at > 0 else None
    after = rows[at].snapshot if at < len(rows) else None
    follows = before is None or goes_on(before, read)
    precedes = after is None or goes_on(read, after)
    if before is not None and after is not None and not goes_on(before, after):
        return follows or precedes
    return follows and precedes


def _place_by_counter(rows: list[_Row], read: Snapshot) -> None:
    """Place a read whose clock says nothing: at its receipt if that fits, else by its counters."""
    at = _index_after(rows, read.received_at)
    if not _fits(rows, at, read):
        for index in range(at - 1, 0, -1):
            first, second = rows[index - 1].snapshot, rows[index].snapshot
            if (
                goes_on(first, second)
                and goes_on(first, read)
                and goes_on(read, second)
                and _is_known(read)
            ):
                rows.insert(index, _Row(read, rows[index - 1].when, PlacedBy.COUNTER))
                return
        start = _start_of_epoch(rows, at)
        if at > 0 and _just_before(read, rows[start].snapshot):
            rows.insert(start, _Row(read, rows[start].when, PlacedBy.COUNTER))
            return
    rows.insert(at, _Row(read, read.received_at, PlacedBy.RECEIVED))


def _start_of_epoch(rows: Sequence[_Row], end: int) -> int:
    """Index of the first read of the epoch that the read before `end` belongs to."""
    start = max(end - 1, 0)
    while start > 0 and goes_on(rows[start - 1].snapshot, rows[start].snapshot):
        start -= 1
    return start


def _is_known(read: Snapshot) -> bool:
    return read.reads_counter is not None or read.totals[_PAID_COUNT] is not None


def _just_before(read: Snapshot, first: Snapshot) -> bool:
    """Whether a lower read precedes a known one rather than follows a reset, by its counts alone.

    After a reset the counters stand near zero. Half of the known read is our own limit.
    """
    count, known = read.totals[_PAID_COUNT], first.totals[_PAID_COUNT]
    return goes_on(read, first) and count is not None and known is not None and count * 2 >= known


def _earliest_received_after(rows: Sequence[_Row]) -> list[datetime | None]:
    """For each row, the earliest receipt among the rows placed after it."""
    earliest: list[datetime | None] = []
    limit: datetime | None = None
    for row in reversed(rows):
        earliest.append(limit)
        received = row.snapshot.received_at
        limit = received if limit is None else min(limit, received)
    return earliest[::-1]


def _reason(row: _Row, *, late: bool, starts_afresh: bool) -> str:
    words = {
        PlacedBy.CLOCK: "Placed by the machine's clock.",
        PlacedBy.CLOCK_RECEIVED_LATE: "Placed by the machine's clock, with which its counters "
        "agree, although it was received more than a day later.",
        PlacedBy.COUNTER: "Placed by its counters; clock and time of receipt say otherwise.",
        PlacedBy.RECEIVED: "Placed by the time of receipt: its clock is missing or not believed.",
    }[row.placed_by]
    if late:
        words += " It was received after reads that were taken later."
    if starts_afresh:
        words += " The control board starts afresh here: replaced, initialised, or counters fell."
    return words
