"""What hosts and card processors got: statements issued, and settlements, as far as they reach."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Final

from django.db.models import F, Q, Sum

from fleet.machines.models import Machine
from fleet.sales.models import Agreement, SettlementLine, Statement

from .goods import Place
from .stays import Stay

ZERO: Final = Decimal(0)


def commission(
    starts_on: date, ends_on: date, where: Sequence[Stay]
) -> tuple[dict[Place, Decimal], set[int]]:
    """Commission by machine and site, and the sites of which a part of it is not known.

    An issued statement's amount is spread evenly over its days. Days with an agreement and without
    a statement are not known, nor those of a statement that names a machine which has another tag
    now; a site without an agreement gets nothing. Three queries.
    """
    found: dict[Place, Decimal] = defaultdict(lambda: ZERO)
    at = {one.site for one in where if one.site is not None}
    tags = {tag: key for key, tag in Machine.objects.order_by().values_list("pk", "asset_tag")}
    issued: dict[int, int] = defaultdict(int)
    touching = Q(starts_on__lt=ends_on, ends_on__gt=starts_on, site__in=at)
    rows = Statement.objects.filter(touching).order_by("pk")
    for site, starts, ends, figures in rows.values_list("site", "starts_on", "ends_on", "figures"):
        days = (min(ends, ends_on) - max(starts, starts_on)).days
        part = Decimal(days) / (ends - starts).days
        if all(one["machine"] in tags for one in figures["machines"]):
            issued[site] += days
        for one in figures["machines"]:
            machine = tags.get(one["machine"])
            if machine is not None:
                found[machine, site] += Decimal(one["amount"]) * part
    promised: dict[int, int] = defaultdict(int)
    running = Agreement.objects.filter(
        Q(ends_on__isnull=True) | Q(ends_on__gt=starts_on), starts_on__lt=ends_on, site__in=at
    )
    for site, since, until in running.order_by("pk").values_list("site", "starts_on", "ends_on"):
        promised[site] += (min(until or ends_on, ends_on) - max(since, starts_on)).days
    return dict(found), {site for site, days in promised.items() if issued[site] < days}


def fees(starts_on: date, ends_on: date) -> dict[int, Decimal]:
    """Fees of card payments by machine, of the machines that settlements tell of. One query."""
    rows = SettlementLine.objects.filter(
        day__gte=starts_on, day__lt=ends_on, machine__isnull=False
    ).order_by()
    told = rows.values(of=F("machine")).annotate(fees=Sum("fee"))
    return {row["of"]: row["fees"] for row in told}
