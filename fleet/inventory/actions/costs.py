"""The average cost of a product, moved by each receipt, with how it came about."""

from datetime import datetime
from decimal import ROUND_HALF_EVEN, Decimal

from django.db.models import Sum

from fleet.compute import average_cost
from fleet.machines.models import Product
from people import rows
from people.models import Business, Person

from ..models import CostChange, ReceiptLine, StockLevel, StockPlace


def took_in(
    *,
    product: Product,
    units: int,
    unit_cost: Decimal,
    held_units: int,
    receipt_line: ReceiptLine,
    actor: Person,
    now: datetime,
) -> CostChange:
    """Move the average by units that came in. The product is locked by the caller.

    `held_units` is what the business held just before.
    """
    before = _standing(product, held_units=held_units, actor=actor, now=now)
    average = average_cost.with_more(held_units, before, units, unit_cost)
    return _kept(
        CostChange(
            product=product,
            at=now,
            cause=CostChange.Cause.RECEIPT,
            receipt_line=receipt_line,
            held_units=held_units,
            average_before=before,
            units=units,
            unit_cost=unit_cost,
            average=average,
            actor=actor,
        ),
        reason=f"{receipt_line.receipt}",
    )


def took_back(
    *, receipt_line: ReceiptLine, held_units: int, actor: Person, now: datetime
) -> CostChange:
    """Move the average back by the units of a receipt that is taken back.

    `held_units` is what the business held just before. The product is locked by the caller.
    """
    product = receipt_line.product
    before = _standing(product, held_units=held_units, actor=actor, now=now)
    before = receipt_line.unit_cost if before is None else before
    units, unit_cost = receipt_line.units, receipt_line.unit_cost
    return _kept(
        CostChange(
            product=product,
            at=now,
            cause=CostChange.Cause.TAKEN_BACK,
            receipt_line=receipt_line,
            held_units=held_units,
            average_before=before,
            units=-units,
            unit_cost=unit_cost,
            average=average_cost.without(held_units, before, units, unit_cost),
            actor=actor,
        ),
        reason=f"{receipt_line.receipt} taken back",
    )


def held_by_the_business(product: Product) -> int:
    """Units in warehouses, trucks and columns. A column below zero counts as empty."""
    held = StockLevel.objects.filter(
        product=product, quantity__gt=0, place__kind__in=StockPlace.HELD
    )
    return held.aggregate(units=Sum("quantity"))["units"] or 0


def average_of(product: Product) -> Decimal | None:
    """What a unit costs, to a millionth: the last average, or what was set by hand since."""
    last = CostChange.objects.filter(product=product).order_by("-pk").first()
    if last is not None and product.cost == to_the_smallest_unit(last.average):
        return last.average
    return product.cost


def to_the_smallest_unit(amount: Decimal) -> Decimal:
    """An amount as money of the business's currency, halves to the even."""
    step = Decimal(1).scaleb(-Business.the().currency_exponent)
    return amount.quantize(step, rounding=ROUND_HALF_EVEN)


def _standing(product: Product, *, held_units: int, actor: Person, now: datetime) -> Decimal | None:
    """The average to start from, with a row for what is not in the history yet."""
    last = CostChange.objects.filter(product=product).order_by("-pk").first()
    standing = average_of(product)
    if standing is None or (last is not None and last.average == standing):
        return standing
    CostChange.objects.create(
        product=product,
        at=now,
        cause=CostChange.Cause.FIRST if last is None else CostChange.Cause.BY_HAND,
        held_units=held_units,
        average_before=None if last is None else last.average,
        units=0,
        unit_cost=standing,
        average=standing,
        actor=None if last is None else actor,
    )
    return standing


def _kept(change: CostChange, *, reason: str) -> CostChange:
    change.save()
    rows.put(
        change.product,
        {"cost": to_the_smallest_unit(change.average)},
        actor=change.actor,
        verb="change product",
        now=change.at,
        reason=f"average cost after {reason}",
    )
    return change
