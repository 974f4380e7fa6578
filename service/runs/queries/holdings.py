"""What columns and trucks hold by the book now, as plain JSON values."""

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.db.models import Sum

from fleet.inventory.models import StockLevel
from fleet.machines.models import Column, SetUp

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
    now = {
        set_up.column_id: set_up
        for set_up in SetUp.objects.filter(column__in=wanted, ends_at__isnull=True).select_related(
            "product"
        )
    }
    columns = Column.objects.filter(pk__in=wanted).select_related("position", "selection")
    return [
        _column(column, now.get(column.pk), held[column.pk])
        for column in columns.order_by("position__order", "pk")
    ]


def _column(
    column: Column, set_up: SetUp | None, held: dict[int, tuple[str, int]]
) -> dict[str, Any]:
    product = None if set_up is None else set_up.product_id
    holds = held.get(product, ("", 0))[1] if product is not None else 0
    return {
        "column": column.pk,
        "position": column.position.label,
        "selection": None if column.selection is None else column.selection.code,
        "product": product,
        "product_name": None if set_up is None else set_up.product.name,
        "capacity": None if set_up is None else set_up.capacity,
        "holds": holds,
        "others": [
            {"product": pk, "product_name": name, "holds": units}
            for pk, (name, units) in held.items()
            if pk != product and units
        ],
    }


def truck_now(run: Run) -> list[dict[str, Any]]:
    """What the run's truck carries by the book, first expired first."""
    levels = (
        StockLevel.objects.filter(place=run.vehicle.truck_id, quantity__gt=0)
        .select_related("product", "lot")
        .order_by("product__name", "product", "lot__best_before", "lot")
    )
    return [
        {
            "product": level.product_id,
            "product_name": level.product.name,
            "lot": level.lot_id,
            "lot_code": "" if level.lot is None else level.lot.code,
            "best_before": None
            if level.lot is None or level.lot.best_before is None
            else level.lot.best_before.isoformat(),
            "holds": level.quantity,
        }
        for level in levels
    ]
