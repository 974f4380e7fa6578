"""How reliable machines and kinds of them were over a time, from tickets and from upkeep.

A failure is a ticket by which a machine, a selection or a way of paying was out, that did not come
back as an earlier one and was not dropped, joined to another, or closed with nothing wrong. A
machine's time is what it stood at hosts' sites.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Final

from django.db.models import Count, Q, Sum

from fleet.machines.models import Machine, Placement, Site
from service.compute import reliability
from service.compute.reliability import Alike, BetweenFailures, Share, Typical
from service.tickets.models import ServiceSettings, Ticket, WorkDone
from service.tickets.models.words import Urgency

from ..models import MaintenanceDone

OUT: Final = (Urgency.DOWN, Urgency.PART)
DAY_S: Final = 86_400
HOUR_S: Final = 3_600


@dataclass
class Raw:
    """What is counted of one machine, or of several together."""

    label: str
    key: int
    kind: int
    kind_name: str
    machines: int = 1
    days: float = 0.0
    failures: int = 0
    fixed_first: int = 0
    fixed: int = 0
    hours_to_fix: list[float] = field(default_factory=list)
    labour: Decimal = Decimal(0)
    parts: Decimal = Decimal(0)
    upkeep_minutes: int = 0


@dataclass(frozen=True)
class Figures:
    """The figures of one line, each with how far it is to be believed.

    `between` and `per_month` are None where no machine stood at a host's site; `per_month` is the
    cost of repairs (labour and parts) and of upkeep (labour) by machine and month.
    """

    of: Raw
    between: BetweenFailures | None
    to_fix: Typical
    first_time: Share
    upkeep_cost: Decimal
    cost: Decimal
    per_month: Decimal | None
    alike: Alike | None = None


def of_machines(
    since: datetime, until: datetime, *, kind: int | None = None, machine: int | None = None
) -> list[Raw]:
    """Each machine that stood at a host's site or failed in `[since, until)`; most failures first.

    A fixed number of queries, whatever the number of machines.
    """
    machines = Machine.objects.select_related("kind").order_by("asset_tag", "pk")
    if kind is not None:
        machines = machines.filter(kind=kind)
    if machine is not None:
        machines = machines.filter(pk=machine)
    found = {one.pk: Raw(one.asset_tag, one.pk, one.kind_id, one.kind.name) for one in machines}
    _add_time(found, since, until)
    _add_failures(found, since, until)
    _add_work(found, since, until)
    _add_upkeep(found, since, until)
    rows = [one for one in found.values() if one.days > 0 or one.failures or one.fixed]
    return sorted(rows, key=lambda one: (-one.failures, one.days, one.label))


def by_kind(machines: Iterable[Raw]) -> list[tuple[Raw, Alike]]:
    """The same added up by kind, with whether the machines of a kind fail alike; by name."""
    grouped: dict[int, list[Raw]] = defaultdict(list)
    for one in machines:
        grouped[one.kind].append(one)
    found: list[tuple[Raw, Alike]] = []
    for kind, several in grouped.items():
        name = several[0].kind_name
        total = Raw(name, kind, kind, name, machines=len(several))
        for one in several:
            total.days += one.days
            total.failures += one.failures
            total.fixed += one.fixed
            total.fixed_first += one.fixed_first
            total.hours_to_fix += one.hours_to_fix
            total.labour += one.labour
            total.parts += one.parts
            total.upkeep_minutes += one.upkeep_minutes
        alike = reliability.alike([one.failures for one in several], [one.days for one in several])
        found.append((total, alike))
    return sorted(found, key=lambda pair: pair[0].label)


def figures(
    of: Raw, *, labour_per_hour: Decimal | None = None, alike: Alike | None = None
) -> Figures:
    """The figures of a line. `labour_per_hour` is asked for once by whoever shows many."""
    rate = ServiceSettings.the().labour_per_hour if labour_per_hour is None else labour_per_hour
    upkeep = (rate * of.upkeep_minutes / 60).quantize(Decimal("0.01"))
    cost = of.labour + of.parts + upkeep
    stood = of.days > 0
    return Figures(
        of=of,
        between=reliability.between_failures(of.failures, of.days) if stood else None,
        to_fix=reliability.typical(of.hours_to_fix, unit="hours"),
        first_time=reliability.share(of.fixed_first, of.fixed),
        upkeep_cost=upkeep,
        cost=cost,
        per_month=reliability.per_month(cost, Decimal(str(round(of.days, 6)))) if stood else None,
        alike=alike,
    )


def _add_time(found: dict[int, Raw], since: datetime, until: datetime) -> None:
    rows = Placement.objects.filter(
        Q(ends_at__isnull=True) | Q(ends_at__gt=since),
        machine__in=list(found),
        starts_at__lt=until,
        site__purpose=Site.Purpose.HOST,
    )
    for machine, starts_at, ends_at in rows.values_list("machine", "starts_at", "ends_at"):
        spent = min(ends_at or until, until) - max(starts_at, since)
        found[machine].days += spent.total_seconds() / DAY_S


def _add_failures(found: dict[int, Raw], since: datetime, until: datetime) -> None:
    rows = (
        Ticket.objects.filter(
            machine__in=list(found),
            reported_at__gte=since,
            reported_at__lt=until,
            urgency__in=OUT,
            reopens__isnull=True,
        )
        .exclude(state__in=[Ticket.State.JOINED, Ticket.State.DROPPED])
        .exclude(work__cause__nothing_wrong=True)
        .order_by()
        .values("machine")
        .annotate(failures=Count("pk"))
    )
    for row in rows:
        found[row["machine"]].failures = row["failures"]


def _add_work(found: dict[int, Raw], since: datetime, until: datetime) -> None:
    rows = WorkDone.objects.filter(
        ticket__machine__in=list(found), done_at__gte=since, done_at__lt=until
    ).order_by("pk")
    for machine, reported_at, done_at, first_time, nothing_wrong, labour, parts in rows.values_list(
        "ticket__machine",
        "ticket__reported_at",
        "done_at",
        "first_time",
        "cause__nothing_wrong",
        "labour_cost",
        "parts_cost",
    ):
        one = found[machine]
        one.labour += labour
        one.parts += parts
        if nothing_wrong:
            continue  # the way there was paid for, but nothing was mended
        one.fixed += 1
        one.fixed_first += first_time
        one.hours_to_fix.append(max(0.0, (done_at - reported_at).total_seconds() / HOUR_S))


def _add_upkeep(found: dict[int, Raw], since: datetime, until: datetime) -> None:
    rows = (
        MaintenanceDone.objects.filter(
            machine__in=list(found),
            done_at__gte=since,
            done_at__lt=until,
            set_aside_at__isnull=True,
        )
        .order_by()
        .values("machine")
        .annotate(minutes=Sum("minutes"))
    )
    for row in rows:
        found[row["machine"]].upkeep_minutes = row["minutes"] or 0
