"""Lists of stock and buying as tables for a file, the same at either door."""

from collections.abc import Iterable, Sequence
from zoneinfo import ZoneInfo

from people.exports import Cell, Table

from .models import MovementLine, PurchaseOrder, Receipt, StockLevel, StockPlace, SupplierItem
from .queries.waste import Wasted


def places(rows: Iterable[StockPlace], zone: ZoneInfo) -> Table:
    """Of `queries.stock.places_listed`."""
    head = ("kind", "place", "in use", "units", "products", "first best before")
    return Table(
        "Places",
        head,
        (
            (
                one.get_kind_display(),
                one.name,
                one.active,
                one.units,  # type: ignore[attr-defined]
                one.products,  # type: ignore[attr-defined]
                one.first_best_before,  # type: ignore[attr-defined]
            )
            for one in rows
        ),
        zone,
    )


def levels(rows: Iterable[StockLevel], zone: ZoneInfo, *, name: str = "Stock levels") -> Table:
    head = (
        *("place kind", "place", "product", "GTIN", "lot", "best before", "units"),
        *("unit cost", "cost"),
    )
    return Table(
        name,
        head,
        (
            (
                one.place.get_kind_display(),
                one.place.name,
                one.product.name,
                one.product.gtin,
                one.lot.code if one.lot else None,
                one.lot.best_before if one.lot else None,
                one.quantity,
                one.product.cost,
                None if one.product.cost is None else one.product.cost * one.quantity,
            )
            for one in rows
        ),
        zone,
        money=("unit cost", "cost"),
    )


def movement_lines(rows: Iterable[MovementLine], zone: ZoneInfo) -> Table:
    head = (
        *("movement", "reason", "why wasted", "happened at", "recorded at", "by", "product"),
        *("lot", "best before", "from", "to", "units", "unit cost", "corrects", "note"),
    )
    lines = (_movement_line(one) for one in rows)
    return Table("Movements", head, lines, zone, money=("unit cost",))


def _movement_line(one: MovementLine) -> Sequence[Cell]:
    movement = one.movement
    return (
        movement.pk,
        movement.get_reason_display(),
        movement.get_waste_reason_display() if movement.waste_reason else None,
        one.happened_at,
        movement.recorded_at,
        movement.actor.name if movement.actor else "the service",
        one.product.name,
        one.lot.code if one.lot else None,
        one.lot.best_before if one.lot else None,
        one.from_place.name,
        one.to_place.name,
        one.quantity,
        one.unit_cost,
        movement.corrects_id,
        movement.note,
    )


def waste(rows: Iterable[Wasted], zone: ZoneInfo) -> Table:
    head = ("why", "product", "units", "cost", "units at the cost of today", "units without cost")
    return Table(
        "Waste",
        head,
        (
            (
                one.reason_said,
                one.product_name,
                one.units,
                one.cost,
                one.units_priced_now,
                one.units_without_cost,
            )
            for one in rows
        ),
        zone,
        money=("cost",),
    )


def items(rows: Iterable[SupplierItem], zone: ZoneInfo) -> Table:
    head = (
        *("supplier", "product", "their code", "units a case", "case cost", "lead time, days"),
        *("fewest cases", "preferred"),
    )
    return Table(
        "What suppliers sell",
        head,
        (
            (
                one.supplier.name,
                one.product.name,
                one.code,
                one.units_per_case,
                one.case_cost,
                one.lead_time_days,
                one.minimum_cases,
                one.preferred,
            )
            for one in rows
        ),
        zone,
        money=("case cost",),
    )


def orders(rows: Iterable[PurchaseOrder], zone: ZoneInfo) -> Table:
    """A row a line of each order."""
    head = (
        *("order", "supplier", "delivered to", "state", "placed at", "expected on"),
        *("product", "their code", "cases", "units a case", "units", "case cost", "cost"),
    )
    return Table(
        "Orders",
        head,
        (
            (
                order.pk,
                order.supplier.name,
                order.place.name,
                order.get_state_display(),
                order.placed_at,
                order.expected_on,
                line.product.name,
                line.code,
                line.cases,
                line.units_per_case,
                line.units,
                line.case_cost,
                line.cost,
            )
            for order in rows
            for line in order.lines.all()
        ),
        zone,
        money=("case cost", "cost"),
    )


def receipts(rows: Iterable[Receipt], zone: ZoneInfo) -> Table:
    """A row a line of each receipt, with its differences in words."""
    head = (
        *("receipt", "supplier", "order", "place", "delivery note", "received at", "by"),
        *("taken back at", "product", "lot", "best before", "expected", "units", "refused"),
        *("unit cost", "differences", "why"),
    )
    return Table(
        "Receipts",
        head,
        (
            (
                one.pk,
                one.supplier.name,
                one.order_id,
                one.place.name,
                one.delivery_note,
                one.received_at,
                one.actor.name,
                one.taken_back_at,
                line.product.name,
                line.lot.code if line.lot else None,
                line.lot.best_before if line.lot else None,
                line.expected_units,
                line.units,
                line.refused_units,
                line.unit_cost,
                "; ".join(said["said"] for said in line.differences),
                line.why,
            )
            for one in rows
            for line in one.lines.all()
        ),
        zone,
        money=("unit cost",),
    )
