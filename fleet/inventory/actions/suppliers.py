"""Suppliers, and what they sell."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.machines.actions.holdings import require_money
from fleet.machines.models import Product
from people import rows
from people.models import Person

from ..models import StockPlace, Supplier, SupplierItem


@transaction.atomic
def save_supplier(
    *, actor: Person, now: datetime, changes: Mapping[str, Any], supplier: Supplier | None = None
) -> Supplier:
    """Add a supplier, with the stock place that deliveries come from, or change one.

    Raises Unacceptable.
    """
    if changes.get("line_cost") is not None:
        require_money(changes["line_cost"], "line_cost")
    verb = "add supplier" if supplier is None else "change supplier"
    saved = rows.put(supplier or Supplier(), changes, actor=actor, verb=verb, now=now)
    place = StockPlace.objects.filter(supplier=saved).first()
    rows.put(
        place or StockPlace(kind=StockPlace.Kind.SUPPLIER, supplier=saved),
        {"name": saved.name, "active": saved.active},
        actor=actor,
        verb="add stock place" if place is None else "change stock place",
        now=now,
    )
    return saved


@transaction.atomic
def save_item(
    *,
    supplier: Supplier,
    product: Product,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
) -> SupplierItem:
    """Say what a supplier sells a product by and for: anew, or otherwise than before.

    To prefer it ends the preference for another supplier of the same product. Raises Unacceptable.
    """
    item = SupplierItem.objects.filter(supplier=supplier, product=product).first()
    if changes.get("case_cost") is not None:
        require_money(changes["case_cost"], "case_cost")
    if changes.get("preferred"):
        others = SupplierItem.objects.filter(product=product, preferred=True)
        for other in others.exclude(supplier=supplier).select_for_update():
            rows.put(
                other,
                {"preferred": False},
                actor=actor,
                verb="change what is sold",
                now=now,
                reason=f"{supplier} is preferred now",
            )
    return rows.put(
        item or SupplierItem(supplier=supplier, product=product),
        changes,
        actor=actor,
        verb="add what is sold" if item is None else "change what is sold",
        now=now,
    )


def remove_item(*, item: SupplierItem, actor: Person, now: datetime) -> None:
    """A supplier no longer sells a product. Orders written before keep their figures."""
    rows.delete(item, actor=actor, verb="remove what is sold", now=now)
