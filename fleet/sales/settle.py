"""Puts reads in their places and cuts what lies between them, for several machines at once.

The one way in which places and intervals come about, whoever causes it: reads received, a read
accepted or set aside by a person, a decision about a device. The caller holds the transaction and
the locks on the machines. Queries do not grow with the number of machines or reads.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from django.db import connection

from fleet.compute.audit.report import Report
from fleet.compute.intervals.chain import cut_all
from fleet.compute.intervals.interval import Interval
from fleet.compute.intervals.snapshot import Snapshot
from fleet.machines.models import Machine
from people import bulk

from .books import Books, load_books, load_set_ups
from .happenings import EventBook, Told, write_occurrences
from .lines import SALE_COLUMNS, SaleValues, rows_of
from .lineup import Incoming, Line, line_up_all, load_decisions
from .models import AuditRead, EpochDecision, EventOccurrence, MachineInterval, SaleInterval
from .order import NOWHERE, moment_kept
from .reading import read_bytes

#: What a person decides about a read; whoever sets these lets `settle` save them.
DECIDED = (
    "state",
    "waiting",
    "machine",
    "matched_by",
    "settled_at",
    "settled_by",
    "settled_reason",
)


@dataclass(frozen=True, slots=True)
class Settled:
    """What came about: the keys of the intervals cut, by the key of each of their reads."""

    by_read: Mapping[int, tuple[int, ...]] = field(default_factory=dict)

    def of_read(self, read_id: int) -> tuple[int, ...]:
        """Keys of the intervals that begin or end at a read, the earlier first."""
        return self.by_read.get(read_id, ())


def settle(
    machines: Collection[Machine],
    *,
    incoming: Sequence[Incoming] = (),
    leaving: Sequence[AuditRead] = (),
    decided: bool = False,
    undoing: EpochDecision | None = None,
) -> Settled:
    """Place incoming reads, take out leaving ones, and cut anew exactly what changed.

    Rows of incoming reads that have no stored row yet are written here. With `decided`, intervals
    about which decisions exist are cut anew as well, as if `undoing` were not among them.
    """
    books = load_books(machines)
    lines = line_up_all(books, incoming, leaving, wholly=bool(leaving) or decided)
    load_decisions(lines, decided=decided, undoing=undoing)
    found = {one.snapshot.key: one for one in incoming}
    whole = {key: one.snapshot for key, one in found.items()}
    reports = {key: one.report for key, one in found.items()}
    _read_again(lines, whole, reports, also_last=bool(leaving))
    _write_places(lines, found, leaving)
    settled = _write_intervals(lines, books, whole, found)
    _write_events(lines, found, reports, leaving)
    return settled


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
    # Those that leave go first, with the state they leave for; their places become free.
    for read in leaving:
        _put(read, NOWHERE)
    for line in lines:
        for key, standing in line.standings.items():
            columns = standing.columns()
            if key in found:
                row = found[key].read
                if not row._state.adding:
                    _put(row, columns)
                    continue
                fresh.append(row)
            else:
                row = line.stored[key]
                # The reason is words about the rest, and not fetched.
                if all(
                    getattr(row, name) == value
                    for name, value in columns.items()
                    if name != "placed_why"
                ):
                    continue
                moved.append(row)
            for name, value in columns.items():
                setattr(row, name, value)
    _move(moved)
    bulk.copy(fresh)


def _put(read: AuditRead, columns: Mapping[str, object]) -> None:
    """Write a stored read's place together with the state that a person gave it.

    In one statement: a state without its place, or the other way round, breaks the row's rule.
    """
    for name, value in columns.items():
        setattr(read, name, value)
    read.save(update_fields=[*columns, *DECIDED])


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
    dropped = [pk for line in lines for pk in line.dropped()]
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
    sales: list[tuple[MachineInterval, SaleValues]] = []
    for line, interval in cut:
        from_id, to_id = (
            found[key].read.pk if key in found else line.stored[key].pk
            for key in (interval.from_key, interval.to_key)
        )
        row, parts = rows_of(interval, books.machines[line.machine_id], books, from_id, to_id)
        rows.append(row)
        sales += [(row, part) for part in parts]
    bulk.reserve(rows)
    bulk.copy(rows)
    keys = bulk.reserve_keys(SaleInterval, len(sales))
    bulk.copy_values(
        SaleInterval,
        SALE_COLUMNS,
        [[key, row.pk, *part.values()] for key, (row, part) in zip(keys, sales, strict=True)],
    )
    by_read: dict[int, tuple[int, ...]] = defaultdict(tuple)
    for row in rows:
        for read_id in (row.to_read_id, row.from_read_id):
            by_read[read_id] += (row.pk,)
    return Settled(by_read)


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
