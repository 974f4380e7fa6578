"""Purchase orders: drafted, changed while they are drafts, placed, cancelled."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from fleet.machines.models import Product
from people import audit, rows
from people.errors import Unable, Unacceptable
from people.models import Business, Person

from ..models import OrderLine, PurchaseOrder, StockPlace, Supplier, SupplierItem


class UnableToOrder(Unable):
    """The order stands otherwise than the verb needs."""

    def __init__(self, order: PurchaseOrder, why: str) -> None:
        super().__init__(f"{order}: {why}", code="order_state")


@dataclass(frozen=True)
class Wanted:
    """So many cases of a product, and the figures that a suggestion of them stood on, if any."""

    product: Product
    cases: int
    suggestion: Mapping[str, Any] | None = None


@transaction.atomic
def draft(
    *,
    supplier: Supplier,
    place: StockPlace,
    lines: Sequence[Wanted],
    actor: Person,
    now: datetime,
    note: str = "",
    expected_on: date | None = None,
) -> PurchaseOrder:
    """Write an order that is not placed yet. Raises Unacceptable, naming the line."""
    _require_warehouse(place)
    if not supplier.active:
        raise Unacceptable(
            f"{supplier} is no longer bought from", fields={"supplier": "no longer bought from"}
        )
    made = _made(supplier, lines)
    order = rows.put(
        PurchaseOrder(supplier=supplier, place=place, created_at=now, created_by=actor),
        {"note": note, "expected_on": expected_on},
        actor=actor,
        verb="draft order",
        now=now,
    )
    _write(order, made, actor=actor, now=now)
    return order


@transaction.atomic
def rewrite(
    *,
    order: PurchaseOrder,
    actor: Person,
    now: datetime,
    lines: Sequence[Wanted] | None = None,
    changes: Mapping[str, Any] | None = None,
) -> PurchaseOrder:
    """Change a draft: its note and day by `changes`, and its lines, which are whole when given.

    Raises UnableToOrder when it is no draft any more, and Unacceptable.
    """
    order = _locked(order)
    if order.state != PurchaseOrder.State.DRAFT:
        raise UnableToOrder(order, f"it is {order.get_state_display()}, and only a draft changes")
    order = rows.put(order, changes or {}, actor=actor, verb="change order", now=now)
    if lines is not None:
        _write(order, _made(order.supplier, lines), actor=actor, now=now)
        PurchaseOrder.objects.filter(pk=order.pk).update(updated_at=now)
        order.updated_at = now
    return order


@transaction.atomic
def place(
    *, order: PurchaseOrder, actor: Person, now: datetime, expected_on: date | None = None
) -> PurchaseOrder:
    """The order has gone to the supplier.

    Without a day it is expected when the slowest of its products can be there. Raises
    UnableToOrder.
    """
    order = _locked(order)
    if order.state != PurchaseOrder.State.DRAFT:
        raise UnableToOrder(order, f"it is {order.get_state_display()} already")
    lines = list(order.lines.all())
    if not lines:
        raise UnableToOrder(order, "it asks for nothing; write at least one line first")
    today = now.astimezone(Business.the().time_zone).date()
    day = expected_on or order.expected_on
    if day is None:
        leads = SupplierItem.objects.filter(
            supplier=order.supplier, product__in=[line.product_id for line in lines]
        ).values_list("lead_time_days", flat=True)
        day = today + timedelta(days=max(leads, default=0))
    if day < today:
        message = f"{day} has passed; give today, {today}, or a later day"
        raise Unacceptable(message, fields={"expected_on": message})
    return rows.put(
        order,
        {
            "state": PurchaseOrder.State.PLACED,
            "placed_at": now,
            "placed_by": actor,
            "expected_on": day,
        },
        actor=actor,
        verb="place order",
        now=now,
    )


@transaction.atomic
def cancel(*, order: PurchaseOrder, reason: str, actor: Person, now: datetime) -> PurchaseOrder:
    """Nothing (more) of the order will come. Raises UnableToOrder, Unacceptable."""
    order = _locked(order)
    if order.state not in {PurchaseOrder.State.DRAFT, PurchaseOrder.State.PLACED}:
        raise UnableToOrder(order, f"it is {order.get_state_display()} already")
    if order.receipts.filter(taken_back_at__isnull=True).exists():
        raise UnableToOrder(
            order, "some of it has come; close it with its last delivery, or take those back first"
        )
    if not reason.strip():
        raise Unacceptable("say why it is cancelled", fields={"reason": "say why"})
    return rows.put(
        order,
        {"state": PurchaseOrder.State.CANCELLED, "ended_at": now, "ended_reason": reason.strip()},
        actor=actor,
        verb="cancel order",
        now=now,
        reason=reason.strip(),
    )


def _locked(order: PurchaseOrder) -> PurchaseOrder:
    return (
        PurchaseOrder.objects.select_for_update(of=("self",))
        .select_related("supplier", "place")
        .get(pk=order.pk)
    )


def _require_warehouse(place: StockPlace) -> None:
    if place.kind != StockPlace.Kind.WAREHOUSE or not place.active:
        message = f"{place} is no warehouse in use"
        raise Unacceptable(message, fields={"place": message})


def _made(supplier: Supplier, lines: Sequence[Wanted]) -> list[OrderLine]:
    """The lines with the case and cost of the day. Raises Unacceptable, naming the line."""
    wanted = [line.product.pk for line in lines]
    items = {
        item.product_id: item
        for item in SupplierItem.objects.filter(supplier=supplier, product__in=wanted)
    }
    made, wrong = [], {}
    for number, line in enumerate(lines):
        item = items.get(line.product.pk)
        if item is None:
            wrong[f"lines.{number}.product"] = (
                f"{supplier} does not sell {line.product}; write it into what they sell first"
            )
            continue
        if wanted.index(line.product.pk) < number:
            wrong[f"lines.{number}.product"] = f"{line.product} stands in the order twice"
        elif line.cases < item.minimum_cases:
            wrong[f"lines.{number}.cases"] = (
                f"{line.product}: {line.cases}; {supplier} takes {item.minimum_cases} or more"
            )
        made.append(
            OrderLine(
                product=line.product,
                code=item.code,
                cases=line.cases,
                units_per_case=item.units_per_case,
                case_cost=item.case_cost,
                suggestion=None if line.suggestion is None else dict(line.suggestion),
            )
        )
    if wrong:
        raise Unacceptable("; ".join(wrong.values()), fields=wrong)
    return made


def _write(order: PurchaseOrder, made: list[OrderLine], *, actor: Person, now: datetime) -> None:
    before = _said(order.lines.select_related("product"))
    for line in made:
        line.order = order
    if before == _said(made):
        return
    order.lines.all().delete()
    OrderLine.objects.bulk_create(made)
    audit.record(
        actor=actor,
        verb="write order lines",
        row=order,
        now=now,
        before={"lines": before},
        after={"lines": _said(made)},
    )


def _said(lines: Any) -> list[str]:
    return sorted(
        f"{line.cases} x {line.units_per_case} {line.product} at {line.case_cost:.4f} a case"
        for line in lines
    )
