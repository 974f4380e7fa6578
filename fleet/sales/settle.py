"""Puts reads in their places and cuts what lies between them, for several machines at once.

The one way in which places and intervals come about, whoever causes it: reads received, a read
accepted or set aside by a person, a decision about a device. The caller holds the transaction and
the locks on the machines. Queries do not grow with the number of machines or reads.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from itertools import pairwise

from django.db import connection
from django.db.models import Q

from fleet.compute.audit.report import Report
from fleet.compute.intervals.chain import cut_all
from fleet.compute.intervals.decisions import CarryOn, CountFromZero, Decision, LeaveOut
from fleet.compute.intervals.figures import Device
from fleet.compute.intervals.interval import Interval
from fleet.compute.intervals.snapshot import Snapshot
from fleet.machines.models import Machine

from . import bulk
from .books import Books, load_books, load_set_ups
from .happenings import EventBook, Told, write_occurrences
from .lines import rows_of
from .models import AuditRead, EpochDecision, EventOccurrence, MachineInterval, SaleInterval
from .order import NOWHERE, ORDER_FIELDS, Standing, append, line_up, moment_kept, words_of
from .reading import read_bytes

_CHOICES = {
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
    `cuts` are runs of neighbouring reads between which intervals are to be cut; `instead` gives for
    each read that leaves the one that follows it, else the one before.
    """

    machine_id: int
    zone: tzinfo
    order: list[str] = field(default_factory=list)
    standings: dict[str, Standing] = field(default_factory=dict)
    stored: dict[str, AuditRead] = field(default_factory=dict)
    appended: bool = False
    cuts: list[list[str]] = field(default_factory=list)
    dropped: list[int] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)
    instead: dict[int, int | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Settled:
    """What came about: the intervals cut, by the keys of their reads."""

    intervals: tuple[MachineInterval, ...] = ()

    def of_read(self, read_id: int) -> tuple[int, ...]:
        """Keys of the intervals that begin or end at a read."""
        return tuple(
            row.pk for row in self.intervals if read_id in (row.from_read_id, row.to_read_id)
        )


def settle(
    machines: Collection[Machine],
    *,
    incoming: Sequence[Incoming] = (),
    leaving: Sequence[AuditRead] = (),
    decided: bool = False,
) -> Settled:
    """Place incoming reads, take out leaving ones, and cut anew exactly what changed.

    Rows of incoming reads that have no stored row yet are written here. With `decided`, intervals
    about which decisions exist are cut anew as well.
    """
    books = load_books(machines)
    lines = _line_up_all(books, incoming, leaving, wholly=bool(leaving) or decided)
    _load_decisions(lines, decided=decided)
    found = {one.snapshot.key: one for one in incoming}
    whole = {key: one.snapshot for key, one in found.items()}
    reports = {key: one.report for key, one in found.items()}
    _read_again(lines, whole, reports, also_last=bool(leaving))
    _write_places(lines, found, leaving)
    settled = _write_intervals(lines, books, whole, found)
    _write_events(lines, found, reports, leaving)
    return settled


def _line_up_all(
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
    columns = ", ".join(
        f"r.{AuditRead._meta.get_field('id' if name == 'pk' else name.removesuffix('_id')).column}"
        for name in ORDER_FIELDS
    )
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
    kept: dict[int, dict[tuple[int, int], MachineInterval]] = defaultdict(dict)
    intervals = MachineInterval.objects.filter(machine__in=by_machine).only(
        "machine_id", "from_read_id", "to_read_id", "starts_at", "ends_at"
    )
    for interval in intervals:
        kept[interval.machine_id][interval.from_read_id, interval.to_read_id] = interval
    for read in leaving:
        line = by_machine[read.machine_id]  # type: ignore[index]
        line.instead[read.pk] = _nearest(line.stored.values(), read.place or 0)
    for line in lines:
        words = [words_of(row) for row in line.stored.values()]
        placed = line_up([*words, *new[line.machine_id]], line.zone)
        line.standings = {standing.key: standing for standing in placed}
        line.order = [standing.key for standing in placed]
        _find_cuts(line, kept[line.machine_id])


def _nearest(rows: Iterable[AuditRead], place: int) -> int | None:
    """The read after a place, else the one before; rows in the order of their places."""
    nearest = None
    for row in rows:
        nearest = row.pk
        if (row.place or 0) > place:
            break
    return nearest


def _find_cuts(line: Line, kept: dict[tuple[int, int], MachineInterval]) -> None:
    """Runs of neighbours between which no interval stands yet, or one with other moments."""
    run: list[str] = []
    for first, second in pairwise(line.order):
        before, after = line.stored.get(first), line.stored.get(second)
        known = kept.get((before.pk, after.pk)) if before and after else None
        if (
            known is not None
            and known.starts_at == line.standings[first].moment.at
            and known.ends_at == line.standings[second].moment.at
        ):
            del kept[known.from_read_id, known.to_read_id]
            run = []
            continue
        if not run:
            run = [first]
            line.cuts.append(run)
        run.append(second)
    line.dropped = [interval.pk for interval in kept.values()]


def _load_decisions(lines: Iterable[Line], *, decided: bool) -> None:
    """Decisions about the machines; the reads between the two of each are cut as one run."""
    by_machine = {line.machine_id: line for line in lines if line.cuts or decided}
    if not by_machine:
        return
    rows = EpochDecision.objects.filter(machine__in=by_machine).select_related(None)
    for row in rows.values_list(
        "machine_id", "from_read__sha256", "to_read__sha256", "device", "choice"
    ):
        machine_id, from_key, to_key, device, choice = row
        line = by_machine[machine_id]
        if line.appended or from_key not in line.order or to_key not in line.order:
            continue  # what is appended lies between no two stored reads
        first, last = line.order.index(from_key), line.order.index(to_key)
        if first >= last:
            continue
        line.decisions.append(_CHOICES[choice](Device(device), from_key, to_key))
        _cut_as_one(line, first, last, always=decided)
    for line in by_machine.values():
        if line.decisions:
            _drop_what_is_cut(line)


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


def _drop_what_is_cut(line: Line) -> None:
    cut = [
        (line.stored[first].pk, line.stored[second].pk)
        for run in line.cuts
        for first, second in pairwise(run)
        if first in line.stored and second in line.stored
    ]
    if cut:
        same = Q()
        for from_id, to_id in cut:
            same |= Q(from_read=from_id, to_read=to_id)
        found = MachineInterval.objects.filter(same).values_list("pk", flat=True)
        line.dropped = sorted({*line.dropped, *found})


def _read_again(
    lines: Iterable[Line],
    whole: dict[str, Snapshot],
    reports: dict[str, Report],
    *,
    also_last: bool,
) -> None:
    """Read the kept bytes of those stored reads that something is cut from, and only those."""
    wanted: dict[int, str] = {}
    for line in lines:
        keys = {key for run in line.cuts for key in run}
        if also_last and line.order:
            keys.add(line.order[-1])
        wanted.update({line.stored[key].pk: key for key in keys if key in line.stored})
    if not wanted:
        return
    rows = AuditRead.objects.filter(pk__in=wanted).values_list("raw", "received_at", "sha256")
    for raw, received_at, key in rows.iterator(chunk_size=500):
        file = read_bytes(bytes(raw), received_at)
        whole[key], reports[key] = file.snapshot, file.report


def _write_places(
    lines: Iterable[Line], found: Mapping[str, Incoming], leaving: Sequence[AuditRead]
) -> None:
    fresh, moved = [], []
    for line in lines:
        for key, standing in line.standings.items():
            one = found.get(key)
            row = one.read if one is not None else line.stored[key]
            columns = standing.columns()
            if one is not None and row._state.adding:
                fresh.append(row)
            elif one is None and all(
                name == "placed_why" or getattr(row, name) == value
                for name, value in columns.items()
            ):
                continue
            else:
                moved.append(row)
            for name, value in columns.items():
                setattr(row, name, value)
    if leaving:
        AuditRead.objects.filter(pk__in=[read.pk for read in leaving]).update(**NOWHERE)
    _move(moved)
    bulk.copy(fresh)


_TYPES = {
    "place": "integer",
    "epoch": "integer",
    "placed_by": "text",
    "placed_why": "text",
    "is_late": "boolean",
    "taken_at": "timestamptz",
    "taken_known_by": "text",
    "clock_state": "text",
    "drift_s": "bigint",
    "drift_said": "text",
    "bound_at": "timestamptz",
    "doubtful_at": "timestamptz",
}


def _move(rows: Sequence[AuditRead]) -> None:
    """Write new places of stored reads in one statement; a late read moves all that follow it."""
    if not rows:
        return
    arrays = ", ".join(f"%s::{kind}[]" for kind in ("bigint", *_TYPES.values()))
    sets = ", ".join(f"{name} = v.{name}" for name in _TYPES)
    values = [[row.pk for row in rows]]
    values += [[getattr(row, name) for row in rows] for name in _TYPES]
    # Names of columns are those above, never input.
    statement = (
        f"UPDATE {AuditRead._meta.db_table} AS r SET {sets} "  # noqa: S608
        f"FROM unnest({arrays}) AS v(id, {', '.join(_TYPES)}) WHERE r.id = v.id"
    )
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def _write_intervals(
    lines: Sequence[Line],
    books: Books,
    whole: Mapping[str, Snapshot],
    found: Mapping[str, Incoming],
) -> Settled:
    dropped = [pk for line in lines for pk in line.dropped]
    if dropped:
        SaleInterval.objects.filter(interval__in=dropped).delete()
        MachineInterval.objects.filter(pk__in=dropped).delete()
    cut: list[tuple[Line, Interval]] = []
    for line in lines:
        last_sale = books.machines[line.machine_id].sold_out_date_is_last_sale
        for run in line.cuts:
            moments = [
                line.standings[key].moment
                if key in line.standings
                else moment_kept(line.stored[key])
                for key in run
            ]
            intervals = cut_all(
                [whole[key] for key in run],
                moments,
                line.decisions,
                sold_out_date_is_last_sale=last_sale,
            )
            cut += [(line, interval) for interval in intervals]
    if not cut:
        return Settled()
    starts_at = min(interval.start.at for _, interval in cut)
    ends_at = max(interval.end.at for _, interval in cut)
    load_set_ups(books, starts_at, ends_at)
    rows: list[MachineInterval] = []
    sales: list[SaleInterval] = []
    for line, interval in cut:
        from_id, to_id = (
            found[key].read.pk if key in found else line.stored[key].pk
            for key in (interval.from_key, interval.to_key)
        )
        row, parts = rows_of(interval, books.machines[line.machine_id], books, from_id, to_id)
        rows.append(row)
        sales += parts
    bulk.reserve(rows)
    bulk.copy(rows)
    for sale in sales:
        sale.interval_id = sale.interval.pk
    bulk.reserve(sales)
    bulk.copy(sales)
    return Settled(tuple(rows))


def _write_events(
    lines: Sequence[Line],
    found: Mapping[str, Incoming],
    reports: Mapping[str, Report],
    leaving: Sequence[AuditRead],
) -> None:
    told = []
    book = EventBook.load(line.machine_id for line in lines)
    for line in lines:
        keys = {key: (found[key].read if key in found else line.stored[key]) for key in line.order}
        places = {row.pk: row.place for row in keys.values() if row.place is not None}
        follows = {keys[a].pk: keys[b].pk for a, b in pairwise(line.order)}
        for read_id, instead in line.instead.items():
            book.forget(line.machine_id, read_id, instead)
        new = [
            Told(line.machine_id, keys[key].pk, keys[key].place or 0, found[key].report)
            for key in line.order
            if key in found
        ]
        stored_last = max((row.place or 0 for row in line.stored.values()), default=0)
        for one in new:
            if one.place > stored_last:
                book.tell_latest(one)
            else:
                book.tell_earlier(one, places, follows)
        told += new
        if leaving and line.order:
            neighbours = [key for run in line.cuts for key in run if key in reports]
            told += [
                Told(line.machine_id, keys[key].pk, keys[key].place or 0, reports[key])
                for key in dict.fromkeys([*neighbours, line.order[-1]])
                if key not in found
            ]
            last = line.order[-1]
            book.tell_latest(
                Told(line.machine_id, keys[last].pk, keys[last].place or 0, reports[last])
            )
    if leaving:
        EventOccurrence.objects.filter(read__in=[read.pk for read in leaving]).delete()
    book.write()
    write_occurrences(told)
