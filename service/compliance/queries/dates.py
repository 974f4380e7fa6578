"""What machines hold past its date, or will before anybody next comes."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Final

from fleet.demand.models import ColumnNeed
from fleet.inventory.models import StockLevel, StockPlace
from fleet.machines.models import Machine, Placement, Product
from people.models import Business
from service.runs.models import Stop
from service.runs.queries.ahead import visits_ahead

AHEAD: Final = timedelta(days=60)
"""Beyond this nobody's next visit lies; what ends later is no matter of today."""


class Stands(StrEnum):
    """How a lot in a machine stands by its date."""

    PAST = "past"
    BEFORE_VISIT = "before_visit"
    AFTER_VISIT = "after_visit"

    @property
    def words(self) -> str:
        return {
            Stands.PAST: "past its date",
            Stands.BEFORE_VISIT: "ends before the next visit",
            Stands.AFTER_VISIT: "ends after the next visit",
        }[self]


@dataclass(frozen=True)
class Dated:
    """Units of one lot in one column, by the ledger: an estimate between counts.

    `best_before` is the last day on which they may be sold. `next_visit` is the day of the next
    stop that is planned, else what the rhythm of visits tells (`is_planned` False). `expected` is
    how many are expected to be left when the date ends, where demand was reckoned.
    """

    machine: Machine
    placement: Placement | None
    column: int
    position: str
    product: Product
    lot: str
    best_before: date
    quantity: int
    next_visit: date
    is_planned: bool
    stop: Stop | None
    expected: int | None
    stands: Stands

    @property
    def is_kept(self) -> bool:
        """Food that is kept cold or hot: past its date it is thrown away."""
        return bool(self.product.kept_cold_or_hot)


def dated(
    *, now: datetime, machines: Iterable[int] | None = None, all_of_them: bool = False
) -> list[Dated]:
    """Lots in machines in service past their date or ending before the next visit, the earliest
    first; with `all_of_them` also those that end later, within two months. A fixed number of
    queries.
    """
    today = now.astimezone(Business.the().time_zone).date()
    levels = StockLevel.objects.filter(
        quantity__gt=0,
        place__kind=StockPlace.Kind.COLUMN,
        place__column__machine__status=Machine.Status.IN_SERVICE,
        lot__best_before__isnull=False,
        lot__best_before__lt=today + AHEAD,
    )
    if machines is not None:
        levels = levels.filter(place__column__machine__in=list(machines))
    rows = list(
        levels.select_related(
            "lot", "product", "place__column__machine__kind", "place__column__position"
        ).order_by("lot__best_before", "place__column__machine__asset_tag", "pk")
    )
    keys = sorted({row.place.column.machine_id for row in rows})  # type: ignore[union-attr]
    visits = visits_ahead(keys, now=now)
    placed = {
        one.machine_id: one
        for one in Placement.objects.filter(machine__in=keys, ends_at__isnull=True).select_related(
            "site"
        )
    }
    pulled = _pulled([row.place.column_id or 0 for row in rows])
    found: list[Dated] = []
    for row in rows:
        column, lot = row.place.column, row.lot
        assert column is not None  # noqa: S101 - asked for by the kind of its place
        assert lot is not None  # noqa: S101 - asked for by its date
        assert lot.best_before is not None  # noqa: S101 - likewise
        visit = visits[column.machine_id]
        found.append(
            Dated(
                machine=column.machine,
                placement=placed.get(column.machine_id),
                column=column.pk,
                position=column.position.label,
                product=row.product,
                lot=lot.code,
                best_before=lot.best_before,
                quantity=row.quantity,
                next_visit=visit.on,
                is_planned=visit.stop is not None,
                stop=visit.stop,
                expected=pulled.get((column.pk, lot.pk)),
                stands=_stands(lot.best_before, today, visit.on),
            )
        )
    return [one for one in found if all_of_them or one.stands is not Stands.AFTER_VISIT]


def counts(rows: Iterable[Dated]) -> dict[str, int]:
    """Units past their date, and units that will be before the next visit."""
    found = {"past": 0, "before_visit": 0}
    for one in rows:
        if one.stands.value in found:
            found[one.stands.value] += one.quantity
    return found


def _stands(best_before: date, today: date, visit: date) -> Stands:
    if best_before < today:
        return Stands.PAST
    return Stands.BEFORE_VISIT if best_before < visit else Stands.AFTER_VISIT


def _pulled(columns: list[int]) -> dict[tuple[int, int], int]:
    """Units of each lot that demand expects to be out of date before the next visit. One query."""
    found: dict[tuple[int, int], int] = {}
    rows = ColumnNeed.objects.filter(column__in=columns).values_list("column", "pull_lots")
    for column, lots in rows:
        for one in lots:
            found[column, one["lot"]] = one["pull"]
    return found
