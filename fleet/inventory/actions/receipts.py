"""Deliveries: taken into stock with every difference kept, or taken back out again."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from fleet.machines.models import Product
from people import audit, rows
from people.errors import Unable, Unacceptable
from people.models import Business, Person

from ..models import (
    Movement,
    OrderLine,
    PurchaseOrder,
    Receipt,
    ReceiptLine,
    StockPlace,
    Supplier,
    SupplierItem,
)
from ..posting import lock_keys
from ..queries.orders import owed
from . import costs, ledger
from .differences import Came, differences_of
from .lots import lot_of
from .orders import UnableToOrder


@dataclass(frozen=True)
class Received:
    """What came of one product and lot. Several lines may name the same product.

    Without `unit_cost` it is what the order says, else what the supplier asks, else what the
    product cost before. `stated_best_before` is what the paper says, where it says a date.
    """

    product: Product
    units: int
    code: str = ""
    best_before: date | None = None
    unit_cost: Decimal | None = None
    refused_units: int = 0
    stated_best_before: date | None = None
    why: str = ""


class UnableToReceive(Unable):
    """The delivery cannot be taken in, or taken back, as things stand."""


@transaction.atomic
def receive(
    *,
    place: StockPlace,
    lines: Sequence[Received],
    received_at: datetime,
    actor: Person,
    now: datetime,
    order: PurchaseOrder | None = None,
    supplier: Supplier | None = None,
    delivery_note: str = "",
    note: str = "",
    closes: bool = False,
    key: str | None = None,
) -> Receipt:
    """Take a delivery in: stock, average costs, and what of the order is still owed.

    Give the order, or the supplier where none was written. With `closes` nothing more of the order
    will come, and what is owed is kept as short; else the order stays open while something is owed.
    The same key again gives the same receipt and takes no second effect. Raises UnableToOrder when
    the order is not placed, and Unacceptable, naming the line.
    """
    if (done := _received_before(actor, key)) is not None:
        return done
    if order is not None:
        order = _locked_placed(order)
        supplier = order.supplier
    if supplier is None:
        raise Unacceptable("say which supplier it came from", fields={"supplier": "say which"})
    _checked(lines, place=place, order=order, received_at=received_at, now=now)
    # Products before levels, by key: two deliveries of the same products wait for one another.
    products = {
        one.pk: one
        for one in Product.objects.select_for_update(no_key=True)
        .filter(pk__in={line.product.pk for line in lines})
        .order_by("pk")
    }
    held = {pk: costs.held_by_the_business(one) for pk, one in products.items()}
    made = _made(
        lines,
        order=order,
        supplier=supplier,
        day=received_at.astimezone(Business.the().time_zone).date(),
        closes=closes,
    )
    receipt = Receipt(
        supplier=supplier,
        order=order,
        place=place,
        recorded_at=now,
        actor=actor,
        movement=_posted(
            made, supplier=supplier, place=place, at=received_at, actor=actor, now=now, key=key
        ),
    )
    receipt = rows.put(
        receipt,
        {"received_at": received_at, "delivery_note": delivery_note, "note": note},
        actor=actor,
        verb="receive",
        now=now,
    )
    for line in made:
        line.receipt = receipt
        line.save()
        if line.units:
            costs.took_in(
                product=products[line.product_id],
                units=line.units,
                unit_cost=line.unit_cost,
                held_units=held[line.product_id],
                receipt_line=line,
                actor=actor,
                now=now,
            )
            held[line.product_id] += line.units
    if order is not None and (closes or not any(owed([order])[order.pk].values())):
        rows.put(
            order,
            {
                "state": PurchaseOrder.State.RECEIVED,
                "ended_at": now,
                "ended_reason": "closed with less than ordered" if closes and _short(made) else "",
            },
            actor=actor,
            verb="close order",
            now=now,
        )
    audit.record(
        actor=actor,
        verb="write receipt lines",
        row=receipt,
        now=now,
        before={"lines": []},
        after={"lines": [_said(line) for line in made]},
    )
    return receipt


@transaction.atomic
def take_back(*, receipt: Receipt, reason: str, actor: Person, now: datetime) -> Receipt:
    """Undo a receipt that was recorded wrongly: stock, average costs and what is owed.

    An order that it closed is open again. Raises UnableToReceive when it was taken back already,
    Unable (not_enough) when what came is no longer there, and Unacceptable without a reason.
    """
    if not reason.strip():
        raise Unacceptable("say why it is taken back", fields={"reason": "say why"})
    receipt = (
        Receipt.objects.select_for_update(of=("self",))
        .select_related("movement", "order__supplier", "supplier")
        .get(pk=receipt.pk)
    )
    if receipt.taken_back_at is not None:
        raise UnableToReceive(f"{receipt} was taken back already", code="taken_back")
    lines = list(receipt.lines.select_related("product", "receipt__supplier").order_by("-pk"))
    products = {
        one.pk: one
        for one in Product.objects.select_for_update(no_key=True)
        .filter(pk__in={line.product_id for line in lines})
        .order_by("pk")
    }
    held = {pk: costs.held_by_the_business(one) for pk, one in products.items()}
    if receipt.movement is not None:
        ledger.correct(movement=receipt.movement, actor=actor, now=now, note=reason.strip())
    for line in lines:
        if line.units:
            line.product = products[line.product_id]
            costs.took_back(
                receipt_line=line, held_units=held[line.product_id], actor=actor, now=now
            )
            held[line.product_id] -= line.units
    if receipt.order is not None and receipt.order.state == PurchaseOrder.State.RECEIVED:
        rows.put(
            receipt.order,
            {"state": PurchaseOrder.State.PLACED, "ended_at": None, "ended_reason": ""},
            actor=actor,
            verb="open order again",
            now=now,
            reason=f"{receipt} taken back",
        )
    return rows.put(
        receipt,
        {"taken_back_at": now, "taken_back_reason": reason.strip()},
        actor=actor,
        verb="take receipt back",
        now=now,
        reason=reason.strip(),
    )


def _received_before(actor: Person, key: str | None) -> Receipt | None:
    if key is None:
        return None
    # Held until the end, so that a twin waits and then finds what the first one received.
    lock_keys(actor, [key])
    return Receipt.objects.filter(movement__actor=actor, movement__key=key).first()


def _locked_placed(order: PurchaseOrder) -> PurchaseOrder:
    order = (
        PurchaseOrder.objects.select_for_update(of=("self",))
        .select_related("supplier", "place")
        .get(pk=order.pk)
    )
    if order.state != PurchaseOrder.State.PLACED:
        raise UnableToOrder(
            order, f"it is {order.get_state_display()}; only what was placed is received"
        )
    return order


def _checked(
    lines: Sequence[Received],
    *,
    place: StockPlace,
    order: PurchaseOrder | None,
    received_at: datetime,
    now: datetime,
) -> None:
    wrong: dict[str, str] = {}
    if place.kind != StockPlace.Kind.WAREHOUSE or not place.active:
        wrong["place"] = f"{place} is no warehouse in use"
    if received_at > now:
        wrong["received_at"] = "lies in the future; give the moment when it came"
    # People tell the minute, not the second.
    if order is not None and received_at < order.created_at.replace(second=0, microsecond=0):
        wrong["received_at"] = f"is before {order} was written"
    if not lines:
        wrong["lines"] = "give at least one line"
    for number, line in enumerate(lines):
        if line.units < 0 or line.refused_units < 0:
            wrong[f"lines.{number}.units"] = f"{line.product}: not below zero"
        elif line.units + line.refused_units == 0:
            wrong[f"lines.{number}.units"] = f"{line.product}: say how many came"
        if line.unit_cost is not None and line.unit_cost < 0:
            wrong[f"lines.{number}.unit_cost"] = f"{line.product}: not below zero"
    if wrong:
        raise Unacceptable("; ".join(wrong.values()), fields=wrong)


def _made(
    lines: Sequence[Received],
    *,
    order: PurchaseOrder | None,
    supplier: Supplier,
    day: date,
    closes: bool,
) -> list[ReceiptLine]:
    ordered = {} if order is None else {line.product_id: line for line in order.lines.all()}
    outstanding = defaultdict(int) if order is None else dict(owed([order])[order.pk])
    items = {item.product_id: item for item in supplier.items.all()}
    last = {line.product.pk: number for number, line in enumerate(lines)}
    came_before: dict[int, int] = defaultdict(int)
    made = []
    for number, line in enumerate(lines):
        pk = line.product.pk
        order_line, item = ordered.get(pk), items.get(pk)
        unit_cost, agreed = _unit_cost(line, order_line, item, number)
        # What is owed is told apart line by line only in sum: the last line of a product bears it.
        expected = max(outstanding.get(pk, 0) - came_before[pk], 0)
        came_before[pk] += line.units
        came = Came(
            ordered=order_line is not None or order is None,
            expected_units=expected if number == last[pk] else min(expected, line.units),
            units=line.units,
            refused_units=line.refused_units,
            best_before=line.best_before,
            stated_best_before=line.stated_best_before,
            least_days_left=None if item is None else item.least_days_left,
            day=day,
            unit_cost=unit_cost,
            agreed_unit_cost=agreed,
            more_may_come=not closes,
        )
        made.append(
            ReceiptLine(
                order_line=order_line,
                product=line.product,
                lot=lot_of(line.product, line.code, line.best_before),
                expected_units=came.expected_units,
                units=line.units,
                refused_units=line.refused_units,
                unit_cost=unit_cost,
                stated_best_before=line.stated_best_before,
                differences=differences_of(came) if order is not None else differences_alone(came),
                why=line.why,
            )
        )
    return made + (_nothing_came(order, outstanding, last) if closes and order else [])


def differences_alone(came: Came) -> list[dict[str, str]]:
    """The differences of a delivery without an order: none of its quantities was agreed."""
    of_quantity = {ReceiptLine.Difference.SHORT, ReceiptLine.Difference.OVER}
    return [one for one in differences_of(came) if one["code"] not in of_quantity]


def _nothing_came(
    order: PurchaseOrder, outstanding: dict[int, int], came: Iterable[int]
) -> list[ReceiptLine]:
    """A line for each product of a closed order of which nothing came, so that it is not hidden."""
    return [
        ReceiptLine(
            order_line=line,
            product=line.product,
            expected_units=outstanding[line.product_id],
            units=0,
            unit_cost=line.case_cost / line.units_per_case,
            differences=[
                {
                    "code": ReceiptLine.Difference.SHORT.value,
                    "said": f"none of {outstanding[line.product_id]} came",
                }
            ],
        )
        for line in order.lines.select_related("product")
        if line.product_id not in set(came) and outstanding.get(line.product_id, 0) > 0
    ]


def _unit_cost(
    line: Received, order_line: OrderLine | None, item: SupplierItem | None, number: int
) -> tuple[Decimal, Decimal | None]:
    """What a unit cost, and what was agreed. Raises Unacceptable when nothing says it."""
    agreed = None
    if order_line is not None:
        agreed = order_line.case_cost / order_line.units_per_case
    elif item is not None:
        agreed = item.unit_cost
    found = next(
        (one for one in (line.unit_cost, agreed, line.product.cost) if one is not None), None
    )
    if found is None:
        message = f"{line.product}: say what a unit costs; nothing kept here tells"
        raise Unacceptable(message, fields={f"lines.{number}.unit_cost": message})
    millionth = Decimal("0.000001")
    return found.quantize(millionth), None if agreed is None else agreed.quantize(millionth)


def _posted(
    made: Sequence[ReceiptLine],
    *,
    supplier: Supplier,
    place: StockPlace,
    at: datetime,
    actor: Person,
    now: datetime,
    key: str | None,
) -> Movement | None:
    """The movement into stock; None when all of it was refused."""
    lines = [
        ledger.Line(
            product=line.product,
            quantity=line.units,
            from_place=supplier.stock_place,
            to_place=place,
            lot=line.lot,
            unit_cost=line.unit_cost.quantize(Decimal("0.0001")),
        )
        for line in made
        if line.units
    ]
    if not lines:
        return None
    return ledger.post(
        reason=Movement.Reason.RECEIPT,
        lines=lines,
        actor=actor,
        happened_at=at,
        now=now,
        key=key,
    )


def _short(made: Sequence[ReceiptLine]) -> bool:
    return any(
        one["code"] == ReceiptLine.Difference.SHORT for line in made for one in line.differences
    )


def _said(line: ReceiptLine) -> str:
    lot = f", {line.lot}," if line.lot else ""
    differences = "; ".join(one["said"] for one in line.differences)
    told = f"{line.units} {line.product}{lot} at {line.unit_cost:.4f}"
    return f"{told} ({differences})" if differences else told
