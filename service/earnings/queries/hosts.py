"""What hosts and card processors got: statements issued, and settlements, as far as they reach."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Final

from django.db.models import F, Q, Sum

from fleet.machines.models import Machine, Placement
from fleet.sales.models import Agreement, SettlementLine, Statement, StatementCorrection

from .goods import Place
from .stays import Stay

ZERO: Final = Decimal(0)


def commission(
    starts_on: date, ends_on: date, where: Sequence[Stay]
) -> tuple[dict[Place, Decimal], set[int]]:
    """Commission by machine and site, and the sites of which a part of it is not known.

    An issued statement's amount, with what corrected it later, is spread evenly over its days, a
    correction over its machines by their amounts, and a minimum that no machine earned alike over
    those that stood there. Days with an agreement and without a statement are not known, nor those
    of a statement that names a machine which has another tag now; a site without an agreement gets
    nothing. Four queries, and one a statement without machines.
    """
    found: dict[Place, Decimal] = defaultdict(lambda: ZERO)
    at = {one.site for one in where if one.site is not None}
    tags = {tag: key for key, tag in Machine.objects.order_by().values_list("pk", "asset_tag")}
    issued: dict[int, int] = defaultdict(int)
    touching = Q(starts_on__lt=ends_on, ends_on__gt=starts_on, site__in=at)
    rows = Statement.objects.filter(touching).order_by("pk")
    corrected = dict(
        StatementCorrection.objects.filter(statement__in=rows.order_by().values("pk"))
        .order_by()
        .values_list("statement")
        .annotate(sum=Sum("amount"))
    )
    for key, site, starts, ends, figures, whole in rows.values_list(
        *("pk", "site", "starts_on", "ends_on", "figures", "amount")
    ):
        days = (min(ends, ends_on) - max(starts, starts_on)).days
        part = Decimal(days) / (ends - starts).days
        amounts = {one["machine"]: Decimal(one["amount"]) for one in figures["machines"]}
        if not amounts:
            there = _stood(site, where)
            amounts = {tag: whole / len(there) for tag in there}
        if all(tag in tags for tag in amounts):
            issued[site] += days
        for tag, amount in _with(corrected.get(key, ZERO), amounts).items():
            if tag in tags:
                found[tags[tag], site] += amount * part
    promised: dict[int, int] = defaultdict(int)
    running = Agreement.objects.filter(
        Q(ends_on__isnull=True) | Q(ends_on__gt=starts_on), starts_on__lt=ends_on, site__in=at
    )
    for site, since, until in running.order_by("pk").values_list("site", "starts_on", "ends_on"):
        promised[site] += (min(until or ends_on, ends_on) - max(since, starts_on)).days
    return dict(found), {site for site, days in promised.items() if issued[site] < days}


def _stood(site: int, where: Sequence[Stay]) -> list[str]:
    """Tags of the machines that stood at a site in the time of these stays, whoever they are of."""
    since, until = min(one.since for one in where), max(one.until for one in where)
    rows = Placement.objects.filter(site=site, starts_at__lt=until).exclude(ends_at__lte=since)
    return list(
        rows.order_by("machine__asset_tag").values_list("machine__asset_tag", flat=True).distinct()
    )


def _with(correction: Decimal, amounts: dict[str, Decimal]) -> dict[str, Decimal]:
    """Amounts by machine with a correction of their sum: by their size, alike where it is 0."""
    whole = sum(amounts.values(), ZERO)
    if whole:
        return {tag: amount + correction * amount / whole for tag, amount in amounts.items()}
    return {tag: amount + correction / len(amounts) for tag, amount in amounts.items()}


def fees(starts_on: date, ends_on: date) -> dict[int, Decimal]:
    """Fees of card payments by machine, of the machines that settlements tell of. One query."""
    rows = SettlementLine.objects.filter(
        day__gte=starts_on, day__lt=ends_on, machine__isnull=False
    ).order_by()
    told = rows.values(of=F("machine")).annotate(fees=Sum("fee"))
    return {row["of"]: row["fees"] for row in told}
