"""Lots by their dates."""

from datetime import date

from django.db.models import QuerySet

from ..models import StockLevel, StockPlace


def lots_due(*, before: date, place: StockPlace | None = None) -> "QuerySet[StockLevel]":
    """What is held and will be out of date on `before`: its last good day is an earlier one.

    The first to go first; of one place, or of all of ours. What columns hold is by the last count;
    `fleet.sales.stock.to_pull` takes off what sold since.
    """
    rows = StockLevel.objects.filter(quantity__gt=0, lot__best_before__lt=before)
    if place is not None:
        rows = rows.filter(place=place)
    return rows.select_related("place", "product", "lot").order_by(
        "lot__best_before", "place__name", "product__name", "pk"
    )
