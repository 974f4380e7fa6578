"""What the machines' own records say that lines of sale need: columns, set-ups, zones."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo

from django.db.models import Q

from fleet.compute.audit.selections import normalised_id
from fleet.machines.models import Column, Machine, Placement, Selection, SetUp
from people.models import Business


@dataclass(frozen=True, slots=True)
class ColumnSaid:
    """A column by its key and the label of its position."""

    pk: int
    label: str


@dataclass(frozen=True, slots=True)
class SelectionSaid:
    """A selection by its key and code, with the columns that it draws on."""

    pk: int
    code: str
    columns: tuple[ColumnSaid, ...]


@dataclass(frozen=True, slots=True)
class SetUpSaid:
    """A set-up by its key, what the column holds so set, and from when to when."""

    pk: int
    capacity: int
    starts_at: datetime
    ends_at: datetime | None


@dataclass(slots=True)
class MachineBook:
    """One machine: its selections by code, its zone, and how its kind tells running dry."""

    machine: Machine
    zone: tzinfo
    sold_out_date_is_last_sale: bool = False
    by_code: dict[str, SelectionSaid] = field(default_factory=dict)
    alike: dict[str, list[SelectionSaid]] = field(default_factory=lambda: defaultdict(list))

    def selection(self, code: str) -> SelectionSaid | None:
        """The selection that a file calls so: by its very code, else by one like it if only one."""
        exact = self.by_code.get(code)
        if exact is not None:
            return exact
        like = self.alike.get(normalised_id(code), [])
        return like[0] if len(like) == 1 else None


@dataclass(slots=True)
class Books:
    """The records of several machines, in a fixed number of queries."""

    machines: dict[int, MachineBook]
    set_ups: dict[int, list[SetUpSaid]] = field(default_factory=dict)

    def in_force(
        self, column: ColumnSaid, starts_at: datetime, ends_at: datetime
    ) -> tuple[SetUpSaid | None, bool]:
        """The set-up in force for most of a period, the later if equal, and whether it changed."""
        best, longest, met = None, timedelta(-1), 0
        for set_up in self.set_ups.get(column.pk, ()):
            ends = ends_at if set_up.ends_at is None else min(set_up.ends_at, ends_at)
            lasted = ends - max(set_up.starts_at, starts_at)
            if lasted < timedelta(0) or (lasted == timedelta(0) and starts_at < ends_at):
                continue
            met += 1
            if lasted >= longest:
                best, longest = set_up, lasted
        return best, met > 1


def load_books(machines: Collection[Machine]) -> Books:
    """Zones, kinds, selections and columns of the machines, in three queries or four."""
    keys = [machine.pk for machine in machines]
    zones: dict[int, tzinfo] = dict(
        Placement.objects.filter(machine__in=keys)
        .order_by("starts_at")
        .values_list("machine_id", "site__time_zone")
    )
    last_sale = set(
        Machine.objects.filter(pk__in=keys, kind__sold_out_date_is_last_sale=True).values_list(
            "pk", flat=True
        )
    )
    # A machine in the shop or in store keeps the business's own time.
    usual: tzinfo = Business.the().time_zone
    books = {
        machine.pk: MachineBook(machine, zones.get(machine.pk, usual), machine.pk in last_sale)
        for machine in machines
    }
    drawn: dict[int, list[ColumnSaid]] = defaultdict(list)
    columns = (
        Column.objects.filter(machine__in=keys, selection__isnull=False)
        .order_by("position__order", "pk")
        .values_list("pk", "selection_id", "position__label")
    )
    for pk, selection_id, label in columns:
        drawn[selection_id].append(ColumnSaid(pk, label))
    selections = Selection.objects.filter(machine__in=keys).values_list("pk", "machine_id", "code")
    for pk, machine_id, code in selections:
        said = SelectionSaid(pk, code, tuple(drawn[pk]))
        books[machine_id].by_code[code] = said
        books[machine_id].alike[normalised_id(code)].append(said)
    return Books(books)


def load_set_ups(books: Books, starts_at: datetime, ends_at: datetime) -> None:
    """The set-ups in force at any time of a period, of all columns of the machines. One query."""
    rows = (
        SetUp.objects.filter(
            Q(ends_at__isnull=True) | Q(ends_at__gte=starts_at),
            column__machine__in=list(books.machines),
            starts_at__lte=ends_at,
        )
        .order_by("starts_at")
        .values_list("column_id", "pk", "capacity", "starts_at", "ends_at")
    )
    for column_id, pk, capacity, starts, ends in rows:
        books.set_ups.setdefault(column_id, []).append(SetUpSaid(pk, capacity, starts, ends))
