"""What is on order, and what of it is still owed."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

from django.db.models import Q, Sum

from ..models import OrderLine, PurchaseOrder, ReceiptLine, StockPlace


def owed(orders: Iterable[PurchaseOrder]) -> dict[int, dict[int, int]]:
    """Units of each product still owed, by order and product; nothing is owed below zero."""
    keys = [order.pk for order in orders]
    found: dict[int, dict[int, int]] = {pk: {} for pk in keys}
    for line in OrderLine.objects.filter(order__in=keys):
        found[line.order_id][line.product_id] = line.units
    came = (
        ReceiptLine.objects.filter(receipt__order__in=keys, receipt__taken_back_at__isnull=True)
        .values_list("receipt__order", "product")
        .annotate(units=Sum("units"))
        .order_by()
    )
    for order, product, units in came:
        if product in found[order]:
            found[order][product] = max(found[order][product] - units, 0)
    return found


def on_order(place: StockPlace, *, until: date | None = None) -> dict[int, int]:
    """Units of each product that placed orders owe a warehouse, expected by a day if given."""
    orders = PurchaseOrder.objects.filter(state=PurchaseOrder.State.PLACED, place=place)
    if until is not None:
        orders = orders.filter(Q(expected_on__isnull=True) | Q(expected_on__lte=until))
    found: dict[int, int] = defaultdict(int)
    for products in owed(orders).values():
        for product, units in products.items():
            found[product] += units
    return dict(found)
