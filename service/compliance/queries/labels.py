"""Calories at machines: whether the operator must show them, and what each sign says."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from fleet.machines.models import Machine, Placement, Product, SetUp
from fleet.machines.queries.fleet import placements_now
from fleet.machines.queries.gates import machine_for
from people.errors import NotFound
from people.models import Business, Person
from service.compute import calories

from ..models import LabelSettings


def covered_now(day: date | None = None) -> calories.Coverage:
    """Whether the operator must show calories, by the machines in service now; a registration by
    choice counts until it lapses. `day` is today where it is not given."""
    machines = Machine.objects.filter(status=Machine.Status.IN_SERVICE).count()
    settings = LabelSettings.the()
    return calories.coverage(
        machines,
        registered=settings.registered,
        registered_until=settings.registered_until,
        day=day or Business.the().day_of(timezone.now()),
    )


@dataclass(frozen=True)
class Line:
    """One product on a sign: its selections, its name, its calories as declared, None unknown."""

    selections: tuple[str, ...]
    product: Product
    declared: int | None


@dataclass(frozen=True)
class Sheet:
    """One machine's sign: what it holds now, by selection."""

    machine: Machine
    placement: Placement | None
    shown: calories.Shown
    lines: tuple[Line, ...]

    @property
    def missing(self) -> tuple[Product, ...]:
        """Products whose calories nobody has written down."""
        return tuple(one.product for one in self.lines if one.declared is None)


def sheets_now(
    machines: Iterable[int] | None = None, *, covered: calories.Coverage | None = None
) -> list[Sheet]:
    """Signs of machines in service whose front hides the package, by site; of `machines` alone
    where they are given, whatever their front. A fixed number of queries."""
    operator = covered or covered_now()
    rows = Machine.objects.filter(status=Machine.Status.IN_SERVICE).select_related("kind")
    if machines is None:
        rows = rows.filter(kind__front_hides_label=True)
    else:
        rows = rows.filter(pk__in=list(machines))
    listed = list(rows.order_by("asset_tag", "pk"))
    keys = [one.pk for one in listed]
    held: dict[int, dict[int, tuple[Product, list[str]]]] = {}
    set_ups = SetUp.objects.filter(
        ends_at__isnull=True, column__machine__in=keys, column__selection__isnull=False
    ).select_related("product", "column__selection")
    for one in set_ups.order_by("column__selection__order", "column__selection__code", "pk"):
        selection = one.column.selection
        assert selection is not None  # noqa: S101 - asked for above
        of_machine = held.setdefault(one.column.machine_id, {})
        _, codes = of_machine.setdefault(one.product_id, (one.product, []))
        if selection.code not in codes:
            codes.append(selection.code)
    places = {one.machine_id: one for one in placements_now().filter(machine__in=keys)}
    found = [
        Sheet(
            machine,
            places.get(machine.pk),
            calories.shown(operator, front_hides_label=machine.kind.front_hides_label),
            tuple(
                Line(tuple(codes), product, _declared(product))
                for product, codes in held.get(machine.pk, {}).values()
                if product.form != Product.Form.NOT_FOOD
            ),
        )
        for machine in listed
    ]
    return sorted(found, key=lambda one: (_site(one), one.machine.asset_tag))


def sheet_for(person: Person, pk: int) -> Sheet:
    """The sign of one machine in service, through the machine's gate. Raises NotFound."""
    found = sheets_now([machine_for(person, pk).pk])
    if not found:
        raise NotFound(f"machine {pk} is not in service; it has no sign")
    return found[0]


def _site(sheet: Sheet) -> str:
    return "" if sheet.placement is None else sheet.placement.site.name


def _declared(product: Product) -> int | None:
    return None if product.calories is None else calories.declared(product.calories)
