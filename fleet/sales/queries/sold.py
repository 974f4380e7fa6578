"""What was sold: intervals of machines and columns, and totals over periods."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any, Literal

from django.db.models import Count, F, Prefetch, Q, QuerySet, Sum
from django.db.models.functions import Trunc

from fleet.machines.models import Column, Machine

from ..models import MachineInterval, SaleInterval
from ..models.intervals import SOLD

Period = Literal["day", "week", "month", "quarter", "year"]
By = Literal["machine", "column", "product", "selection"]


def intervals_of(
    machine: Machine, *, since: datetime | None = None, until: datetime | None = None
) -> "QuerySet[MachineInterval]":
    """Intervals of one machine that touch `[since, until)`, latest first, with their lines."""
    rows = MachineInterval.objects.filter(_touches(since, until), machine=machine)
    return (
        rows.select_related("machine", "from_read", "to_read")
        .defer("from_read__raw", "to_read__raw")
        .prefetch_related(Prefetch("lines", queryset=lines_whole()))
        .order_by("-ends_at", "-pk")
    )


def intervals_awaiting_decision() -> "QuerySet[MachineInterval]":
    """Intervals in which a device starts afresh and nobody has said how to count it."""
    rows = MachineInterval.objects.filter(awaits_decision=True).select_related("machine")
    return rows.order_by("-ends_at", "-pk")


def lines_of(
    column: Column, *, since: datetime | None = None, until: datetime | None = None
) -> "QuerySet[SaleInterval]":
    """Sale intervals of one column that touch `[since, until)`, latest first."""
    rows = lines_whole().filter(_touches(since, until, "interval__"), column=column)
    return rows.select_related("interval", "set_up__product").order_by("-interval__ends_at", "-pk")


def lines_whole() -> "QuerySet[SaleInterval]":
    """Lines with the names that a screen shows."""
    return SaleInterval.objects.select_related(
        "column__position", "selection", "set_up__product"
    ).order_by("interval", "is_unassigned", "selection__order", "column__position__order", "pk")


@dataclass(frozen=True, slots=True)
class Total:
    """Sales that a period's reads tell, of one machine, column or product, in one currency.

    `starts` is the first moment of the period; `of` the key of what it is of, None for what no
    column or product accounts for. Money in minor units with `exponent` decimals; a figure is None
    if it is known of none of the intervals. `incomplete` counts intervals that do not add up or
    wait for a decision, so that what they hold back is not in here.
    """

    starts: datetime
    of: int | None
    label: str
    currency: str
    exponent: int
    intervals: int
    incomplete: int
    figures: dict[str, int | None]


def totals_by_period(
    *,
    period: Period,
    by: By,
    zone: tzinfo,
    since: datetime | None = None,
    until: datetime | None = None,
    machines: Iterable[int] | None = None,
) -> list[Total]:
    """Sales by the date of the read that tells them, in `zone`; `[since, until)` bounds that date.

    One query, added up by the database. By machine the machine's own totals, otherwise the lines.
    """
    if by == "machine":
        rows: QuerySet[Any] = MachineInterval.objects.all()
        prefix, key, label = "", F("machine"), F("machine__asset_tag")
    else:
        rows = SaleInterval.objects.all()
        prefix = "interval__"
        key, label = {
            "column": (F("column"), F("column__position__label")),
            "product": (F("set_up__product"), F("set_up__product__name")),
            "selection": (F("selection"), F("selection_code")),
        }[by]
    bounds = Q()
    if since is not None:
        bounds &= Q(**{f"{prefix}ends_at__gte": since})
    if until is not None:
        bounds &= Q(**{f"{prefix}ends_at__lt": until})
    if machines is not None:
        bounds &= Q(**{f"{prefix}machine__in": list(machines)})
    owed = Q(**{f"{prefix}sum_agrees": False}) | Q(**{f"{prefix}awaits_decision": True})
    found = (
        rows.filter(bounds)
        .annotate(
            starts=Trunc(f"{prefix}ends_at", period, tzinfo=zone),
            of=key,
            label=label,
            money=F(f"{prefix}currency"),
            decimals=F(f"{prefix}exponent"),
        )
        .order_by("starts", "label", "of", "money", "decimals")
        .values("starts", "of", "label", "money", "decimals")
        .annotate(
            met=Count(f"{prefix}pk", distinct=True),
            owed=Count(f"{prefix}pk", filter=owed, distinct=True),
            **{f"sum_{name}": Sum(name) for name in SOLD},
        )
    )
    return [
        Total(
            starts=row["starts"],
            of=row["of"],
            label=row["label"] or "",
            currency=row["money"],
            exponent=row["decimals"],
            intervals=row["met"],
            incomplete=row["owed"],
            figures={name: _whole(row[f"sum_{name}"]) for name in SOLD},
        )
        for row in found
    ]


def _whole(value: Any) -> int | None:
    return None if value is None else int(value)


def _touches(since: datetime | None, until: datetime | None, prefix: str = "") -> Q:
    bounds = Q()
    if since is not None:
        bounds &= Q(**{f"{prefix}ends_at__gt": since})
    if until is not None:
        bounds &= Q(**{f"{prefix}starts_at__lt": until})
    return bounds
