"""What went to waste, why, and what it had cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db.models import Case, F, IntegerField, Q, Sum, Value, When
from django.db.models.functions import Coalesce

from ..models import Movement, MovementLine, StockPlace


@dataclass(frozen=True)
class Wasted:
    """Units of one product wasted for one reason in a period, at what they cost.

    `cost` counts each unit at the cost its movement kept, else at what the product costs now;
    `units_priced_now` says of how many the latter holds, `units_without_cost` of how many no cost
    is known at all.
    """

    reason: str
    product: int
    product_name: str
    units: int
    cost: Decimal
    units_priced_now: int
    units_without_cost: int

    @property
    def reason_said(self) -> str:
        return str(Movement.WasteReason(self.reason).label)


def wasted(*, since: datetime, until: datetime) -> Sequence[Wasted]:
    """Waste of movements that happened in [since, until), by reason and product, dearest first.

    What was corrected is taken off again under the reason and at the moment that it was wasted by.
    """
    waste = StockPlace.Kind.WASTE
    # A correction bears no reason of waste of its own: it is the other side of what it corrects.
    lines = MovementLine.objects.filter(Q(to_place__kind=waste) | Q(from_place__kind=waste))
    lines = lines.annotate(
        why=Case(
            When(movement__corrects__isnull=False, then=F("movement__corrects__waste_reason")),
            default=F("movement__waste_reason"),
        ),
        at=Coalesce("movement__corrects__happened_at", "happened_at"),
        signed=Case(
            When(to_place__kind=waste, then=F("quantity")),
            default=Value(0) - F("quantity"),
            output_field=IntegerField(),
        ),
        cost_each=Coalesce("unit_cost", "product__cost"),
    ).filter(at__gte=since, at__lt=until)
    found = (
        lines.values("why", "product", "product__name")
        .annotate(
            units=Sum("signed"),
            cost=Sum(F("signed") * F("cost_each")),
            priced_now=Sum("signed", filter=Q(unit_cost__isnull=True, cost_each__isnull=False)),
            without=Sum("signed", filter=Q(cost_each__isnull=True)),
        )
        .order_by("why", "product__name", "product")
    )
    rows = [
        Wasted(
            reason=one["why"],
            product=one["product"],
            product_name=one["product__name"],
            units=one["units"],
            cost=one["cost"] or Decimal(0),
            units_priced_now=one["priced_now"] or 0,
            units_without_cost=one["without"] or 0,
        )
        for one in found
        if one["units"]
    ]
    return sorted(rows, key=lambda row: (-row.cost, row.reason, row.product_name, row.product))
