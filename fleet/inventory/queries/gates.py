"""The gatekeepers of stock and buying: a row reaches a door only through one of these.

The whole staff sees stock and orders. Drivers move and count stock; the desk buys. What is missing
and what is not yours look alike.
"""

from typing import TypeVar

from django.db.models import Model, Prefetch, QuerySet

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import (
    CountLine,
    Lot,
    Movement,
    OrderLine,
    PurchaseOrder,
    Receipt,
    ReceiptLine,
    StockCount,
    StockPlace,
    Supplier,
    SupplierItem,
)
from .stock import movements_whole

Row = TypeVar("Row", bound=Model)
DESK = (Role.OWNER, Role.DISPATCHER)
ROAD = (*DESK, Role.DRIVER)


def place_for(person: Person, pk: int, *, write: bool = False) -> StockPlace:
    rows = StockPlace.objects.select_related("site", "supplier", "column__machine")
    return _gate(rows, person, pk, write=write, writers=ROAD)


def lot_for(person: Person, pk: int) -> Lot:
    return _gate(Lot.objects.select_related("product"), person, pk, write=False, writers=())


def movement_for(person: Person, pk: int, *, write: bool = False) -> Movement:
    return _gate(movements_whole(), person, pk, write=write, writers=DESK)


def count_for(person: Person, pk: int) -> StockCount:
    return _gate(counts_whole(), person, pk, write=False, writers=())


def counts_whole() -> "QuerySet[StockCount]":
    lines = CountLine.objects.select_related("product", "lot").order_by("product__name", "pk")
    return StockCount.objects.select_related("place", "actor").prefetch_related(
        Prefetch("lines", queryset=lines)
    )


def supplier_for(person: Person, pk: int, *, write: bool = False) -> Supplier:
    items = SupplierItem.objects.select_related("product").order_by("product__name", "pk")
    rows = Supplier.objects.prefetch_related(Prefetch("items", queryset=items))
    return _gate(rows, person, pk, write=write, writers=DESK)


def item_for(person: Person, pk: int, *, write: bool = False) -> SupplierItem:
    return _gate(items_whole(), person, pk, write=write, writers=DESK)


def items_whole() -> "QuerySet[SupplierItem]":
    return SupplierItem.objects.select_related("supplier", "product").order_by(
        "supplier__name", "product__name", "pk"
    )


def order_for(person: Person, pk: int, *, write: bool = False) -> PurchaseOrder:
    return _gate(orders_whole(), person, pk, write=write, writers=DESK)


def orders_whole() -> "QuerySet[PurchaseOrder]":
    lines = OrderLine.objects.select_related("product").order_by("product__name", "pk")
    return PurchaseOrder.objects.select_related(
        "supplier", "place", "created_by", "placed_by"
    ).prefetch_related(Prefetch("lines", queryset=lines))


def receipt_for(person: Person, pk: int, *, write: bool = False) -> Receipt:
    return _gate(receipts_whole(), person, pk, write=write, writers=DESK)


def receipts_whole() -> "QuerySet[Receipt]":
    lines = ReceiptLine.objects.select_related("product", "lot").order_by("product__name", "pk")
    return Receipt.objects.select_related(
        "supplier", "order__supplier", "place", "actor"
    ).prefetch_related(Prefetch("lines", queryset=lines))


def _gate(
    rows: "QuerySet[Row]", person: Person, pk: int, *, write: bool, writers: tuple[Role, ...]
) -> Row:
    row = rows.filter(pk=pk).first() if person.has_role(*Role) else None
    if row is None:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    if write and not person.has_role(*writers):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row
