"""What service work cost: parts and labour by machine and month."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Count, Q, Sum
from django.db.models.functions import TruncMonth

from fleet.machines.models import Machine
from people.models import Business

from ..models import PartUsed, WorkDone


@dataclass(frozen=True)
class MonthCost:
    """One machine's closed tickets of one month, in the business's time and money."""

    machine: int
    month: date
    tickets: int
    minutes: int
    labour: Decimal
    parts: Decimal
    parts_without_cost: int
    """Tickets with a part whose cost is not known: what it took is more than is said."""

    @property
    def total(self) -> Decimal:
        return self.labour + self.parts


def costs(
    *,
    machines: Collection[Machine] | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
) -> list[MonthCost]:
    """Cost by machine and month of the work's end, in order; `until` is left out. One query."""
    works = WorkDone.objects.all()
    if machines is not None:
        works = works.filter(ticket__machine__in=[machine.pk for machine in machines])
    if since is not None:
        works = works.filter(done_at__gte=since)
    if until is not None:
        works = works.filter(done_at__lt=until)
    month = TruncMonth("done_at", tzinfo=Business.the().time_zone)
    unknown = PartUsed.objects.filter(unit_cost__isnull=True).values("work")
    rows = (
        works.order_by()
        .annotate(month=month)
        .values("ticket__machine", "month")
        .annotate(
            tickets=Count("pk"),
            spent=Sum("minutes"),
            labour=Sum("labour_cost"),
            material=Sum("parts_cost"),
            unknown=Count("pk", filter=Q(pk__in=unknown)),
        )
        .order_by("ticket__machine", "month")
    )
    return [
        MonthCost(
            machine=row["ticket__machine"],
            month=row["month"].date(),
            tickets=row["tickets"],
            minutes=row["spent"],
            labour=row["labour"],
            parts=row["material"],
            parts_without_cost=row["unknown"],
        )
        for row in rows
    ]
