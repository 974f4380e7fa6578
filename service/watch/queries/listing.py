"""Findings as lists show them."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Q, QuerySet

from fleet.machines.models import Machine

from ..models import Finding, Look, WatchLimits
from ..sifting import Learned, learned, least_strength
from .gates import findings_whole

LIVE = (Finding.State.OPEN, Finding.State.TICKETED)


def listed(
    *, state: str = "", kind: str = "", search: str = "", machine: int | None = None
) -> "QuerySet[Finding]":
    """Findings, the strongest first; without a state those that are live."""
    rows = findings_whole()
    rows = rows.filter(state=state) if state else rows.filter(state__in=LIVE)
    if kind:
        rows = rows.filter(kind=kind)
    if machine is not None:
        rows = rows.filter(machine=machine)
    if search:
        rows = rows.filter(
            Q(machine__asset_tag__icontains=search)
            | Q(product__name__icontains=search)
            | Q(machine__placements__ends_at__isnull=True)
            & Q(machine__placements__site__name__icontains=search)
        ).distinct()
    return rows.order_by("-strength", "pk")


def counts() -> dict[str, int]:
    """How many findings are open, by kind. One query."""
    rows = Finding.objects.filter(state=Finding.State.OPEN).order_by().values_list("kind")
    return Counter(dict(rows.annotate(Count("pk"))))


def of_machine(machine: Machine, *, ended: int = 5) -> list[Finding]:
    """Live findings of a machine, the strongest first, then the last that ended. Two queries."""
    rows = findings_whole().filter(machine=machine)
    live = rows.filter(state__in=LIVE).order_by("-strength", "pk")
    over = rows.exclude(state__in=LIVE).order_by("-opened_at", "-pk")
    return [*live, *over[:ended]]


def findings_of(machines: Iterable[int]) -> dict[int, int]:
    """How many findings are live at each machine. One query."""
    rows = Finding.objects.filter(machine__in=list(machines), state__in=LIVE).order_by()
    return dict(rows.values_list("machine").annotate(Count("pk")))


@dataclass(frozen=True)
class Taught:
    """What dismissals ask of the next finding of one place and kind."""

    learned: Learned
    least: float
    needed: float


def taught(finding: Finding, *, now: datetime) -> Taught | None:
    """How strong the next finding like this one must be, after what was dismissed; None: nothing
    was. Two queries."""
    place = (finding.machine_id, finding.column_id, finding.kind, finding.key)
    known = learned([finding.machine_id], now=now).get(place)
    if known is None:
        return None
    last = last_whole()
    mark = last.mark if last is not None and last.mark else float(WatchLimits.the().false_share)
    least = least_strength(finding.kind, mark, WatchLimits.the())
    return Taught(known, least, least + known.bar)


def last_whole() -> Look | None:
    """The last look over the whole fleet that ended well."""
    return (
        Look.objects.filter(state=Look.State.DONE)
        .exclude(over=Look.Over.NEWS)
        .select_related("asked_by")
        .order_by("-pk")
        .first()
    )
