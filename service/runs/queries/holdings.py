"""What columns and trucks hold by the book now, as plain JSON values."""

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.db.models import FilteredRelation, Q, Sum

from fleet.inventory.models import StockLevel
from fleet.machines.models import Column

from ..models import Run


def columns_now(keys: Iterable[int]) -> list[dict[str, Any]]:
    """What columns are set for and hold by the book, in their order in the machine."""
    wanted = set(keys)
    if not wanted:
        return []
    held: dict[int, dict[int, tuple[str, int]]] = defaultdict(dict)
    levels = (
        StockLevel.objects.filter(place__column__in=wanted)
        .values_list("place__column", "product", "product__name")
        .annotate(held=Sum("quantity"))
        .order_by("product")
    )
    for column, product, name, units in levels:
        held[column][product] = (name, units)
    in_force = FilteredRelation("set_ups", condition=Q(set_ups__ends_at__isnull=True))
    columns = (
        Column.objects.filter(pk__in=wanted)
        .annotate(now=in_force)
        .order_by("position__order", "pk")
        .values_list(
            "pk",
            "position__label",
            "selection__code",
            "now__product",
            "now__product__name",
            "now__capacity",
        )
    )
    return [_column(*row, held[row[0]]) for row in columns]


def _column(
    column: int,
    label: str,
    code: str | None,
    product: int | None,
    name: str | None,
    capacity: int | None,
    held: dict[int, tuple[str, int]],
) -> dict[str, Any]:
    return {
        "column": column,
        "position": label,
        "selection": code,
        "product": product,
        "product_name": name,
        "capacity": capacity,
        "holds": 0 if product is None else held.get(product, ("", 0))[1],
        "others": [
            {"product": pk, "product_name": told, "holds": units}
            for pk, (told, units) in held.items()
            if pk != product and units
        ],
    }


def truck_now(run: Run) -> list[dict[str, Any]]:
    """What the run's truck carries by the book, first expired first."""
    levels = (
        StockLevel.objects.filter(place=run.vehicle.truck_id, quantity__gt=0)
        .order_by("product__name", "product", "lot__best_before", "lot")
        .values_list("product", "product__name", "lot", "lot__code", "lot__best_before", "quantity")
    )
    return [
        {
            "product": product,
            "product_name": name,
            "lot": lot,
            "lot_code": code or "",
            "best_before": None if best_before is None else best_before.isoformat(),
            "holds": units,
        }
        for product, name, lot, code, best_before, units in levels
    ]
