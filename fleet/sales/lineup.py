"""Where reads stand among those of their machine, and between which of them sales are to be cut."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from itertools import pairwise

from fleet.compute.audit.report import Report
from fleet.compute.intervals.decisions import CarryOn, CountFromZero, Decision, LeaveOut
from fleet.compute.intervals.figures import Device
from fleet.compute.intervals.snapshot import Snapshot

from .books import Books
from .models import AuditRead, EpochDecision, MachineInterval
from .order import ORDER_FIELDS, Standing, append, line_up, words_of

_CHOICES: dict[str, Callable[[Device, str, str], Decision]] = {
    EpochDecision.Choice.COUNT_FROM_ZERO: CountFromZero,
    EpochDecision.Choice.LEAVE_OUT: LeaveOut,
    EpochDecision.Choice.CARRY_ON: CarryOn,
}


@dataclass(frozen=True, slots=True)
class Incoming:
    """A read that takes a place: its row (stored or with a reserved key) and what it says."""

    read: AuditRead
    snapshot: Snapshot
    report: Report


@dataclass(slots=True)
class Line:
    """One machine's reads as they will stand, and what is to be done about it.

    `standings` are those of new reads and of stored ones whose place changes or may change;
    `intervals` are the stored ones by the keys of their reads; `cuts` are runs of neighbouring
    reads between which intervals are to be cut; `instead` gives for each read that leaves the one
    that follows it, else the one before.
    """

    machine_id: int
    zone: tzinfo
    order: list[str] = field(default_factory=list)
    standings: dict[str, Standing] = field(default_factory=dict)
    stored: dict[str, AuditRead] = field(default_factory=dict)
    appended: bool = False
    cuts: list[list[str]] = field(default_factory=list)
    intervals: dict[tuple[int, int], MachineInterval] = field(default_factory=dict)
    decisions: list[Decision] = field(default_factory=list)
    instead: dict[int, int | None] = field(default_factory=dict)

    def dropped(self) -> list[int]:
        """Keys of stored intervals to be cut anew, or whose reads are neighbours no more."""
        cut = {pair for run in self.cuts for pair in pairwise(run)}
        stay = {
            (self.stored[first].pk, self.stored[second].pk)
            for first, second in pairwise(self.order)
            if (first, second) not in cut and first in self.stored and second in self.stored
        }
        return [interval.pk for pair, interval in self.intervals.items() if pair not in stay]


def line_up_all(
    books: Books, incoming: Sequence[Incoming], leaving: Sequence[AuditRead], *, wholly: bool
) -> list[Line]:
    lines = {pk: Line(pk, book.zone) for pk, book in books.machines.items()}
    new: dict[int, list[Snapshot]] = defaultdict(list)
    for one in incoming:
        new[one.read.machine_id].append(one.snapshot)  # type: ignore[index]
    tails = {} if wholly else _tails(lines)
    slow = []
    for pk, line in lines.items():
        tail = tails.get(pk)
        placed = None if tail is None else append(tail, new[pk], line.zone)
        if placed is None or tail is None:
            slow.append(line)
            continue
        line.appended = True
        line.stored = {tail.sha256: tail}
        line.standings = {standing.key: standing for standing in placed}
        line.order = [tail.sha256, *line.standings]
        line.cuts = [line.order] if placed else []
    if slow:
        _line_up_wholly(slow, new, leaving)
    return list(lines.values())


def _tails(lines: Mapping[int, Line]) -> dict[int, AuditRead]:
    """The last read of each machine, by a step down an index for each."""
    known = {field.attname: field.column for field in AuditRead._meta.local_concrete_fields}
    columns = ", ".join(f"r.{known['id' if name == 'pk' else name]}" for name in ORDER_FIELDS)
    rows = AuditRead.objects.raw(
        f"SELECT {columns} FROM unnest(%s::bigint[]) AS m(id), LATERAL ("  # noqa: S608
        f"SELECT * FROM {AuditRead._meta.db_table} WHERE machine_id = m.id AND place IS NOT NULL "
        "ORDER BY place DESC LIMIT 1) AS r",
        [list(lines)],
    )
    return {row.machine_id: row for row in rows if row.machine_id is not None}


def _line_up_wholly(
    lines: Sequence[Line], new: Mapping[int, Sequence[Snapshot]], leaving: Sequence[AuditRead]
) -> None:
    by_machine = {line.machine_id: line for line in lines}
    rows = (
        AuditRead.objects.filter(machine__in=by_machine, place__isnull=False)
        .exclude(pk__in=[read.pk for read in leaving])
        .order_by("machine", "place")
        .only(*ORDER_FIELDS)
    )
    for row in rows:
        by_machine[row.machine_id].stored[row.sha256] = row  # type: ignore[index]
    intervals = MachineInterval.objects.filter(machine__in=by_machine).only(
        "machine_id", "from_read_id", "to_read_id", "starts_at", "ends_at"
    )
    for interval in intervals:
        pair = (interval.from_read_id, interval.to_read_id)
        by_machine[interval.machine_id].intervals[pair] = interval
    for read in leaving:
        line = by_machine[read.machine_id]  # type: ignore[index]
        line.instead[read.pk] = _nearest(line.stored.values(), read.place or 0)
    for line in lines:
        words = [words_of(row) for row in line.stored.values()]
        placed = line_up([*words, *new[line.machine_id]], line.zone)
        line.standings = {standing.key: standing for standing in placed}
        line.order = [standing.key for standing in placed]
        _find_cuts(line)


def _nearest(rows: Iterable[AuditRead], place: int) -> int | None:
    """The read after a place, else the one before; rows in the order of their places."""
    nearest = None
    for row in rows:
        nearest = row.pk
        if (row.place or 0) > place:
            break
    return nearest


def _find_cuts(line: Line) -> None:
    """Runs of neighbours between which no interval stands yet, or one with other moments."""
    run: list[str] = []
    for first, second in pairwise(line.order):
        before, after = line.stored.get(first), line.stored.get(second)
        known = line.intervals.get((before.pk, after.pk)) if before and after else None
        if (
            known is not None
            and known.starts_at == line.standings[first].moment.at
            and known.ends_at == line.standings[second].moment.at
        ):
            run = []
            continue
        if not run:
            run = [first]
            line.cuts.append(run)
        run.append(second)


def load_decisions(lines: Iterable[Line], *, decided: bool, undoing: EpochDecision | None) -> None:
    """Decisions about the machines; the reads between the two of each are cut as one run.

    What is appended lies between no two stored reads, so no decision is about it.
    """
    by_machine = {
        line.machine_id: line for line in lines if not line.appended and (line.cuts or decided)
    }
    if not by_machine:
        return
    rows = EpochDecision.objects.filter(machine__in=by_machine).select_related(None)
    for row in rows.values_list(
        "pk", "machine_id", "from_read__sha256", "to_read__sha256", "device", "choice"
    ):
        pk, machine_id, from_key, to_key, device, choice = row
        line = by_machine[machine_id]
        if from_key not in line.order or to_key not in line.order:
            continue
        first, last = line.order.index(from_key), line.order.index(to_key)
        if first >= last:
            continue
        if undoing is None or pk != undoing.pk:
            line.decisions.append(_CHOICES[choice](Device(device), from_key, to_key))
        _cut_as_one(line, first, last, always=decided)


def _cut_as_one(line: Line, first: int, last: int, *, always: bool) -> None:
    """Join the runs that overlap a span, and the span itself, into one run."""
    low, high, touched = first, last, always
    others = []
    for run in line.cuts:
        start, end = line.order.index(run[0]), line.order.index(run[-1])
        if start < last and end > first:
            low, high, touched = min(low, start), max(high, end), True
        else:
            others.append(run)
    if touched:
        line.cuts = [*others, line.order[low : high + 1]]
