"""Where machines stood in a period: pieces of time that leave no gap, so that parts add up."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db.models import Q

from fleet.machines.models import Machine, Placement

DAY_S: Final = 86_400


@dataclass(frozen=True, slots=True)
class Stay:
    """A machine at a site in `[since, until)`; no site where its record names none."""

    machine: int
    site: int | None
    since: datetime
    until: datetime

    @property
    def days(self) -> float:
        return (self.until - self.since).total_seconds() / DAY_S


def stays(since: datetime, until: datetime, *, machines: Sequence[int] | None = None) -> list[Stay]:
    """The whole of `[since, until)` for every machine, cut where it moved. Two queries."""
    known = Machine.objects.order_by("pk")
    rows = Placement.objects.filter(
        Q(ends_at__isnull=True) | Q(ends_at__gt=since), starts_at__lt=until
    )
    if machines is not None:
        known, rows = known.filter(pk__in=machines), rows.filter(machine__in=machines)
    placed: dict[int, list[tuple[datetime, datetime, int]]] = defaultdict(list)
    for machine, site, starts, ends in rows.order_by("machine", "starts_at").values_list(
        "machine", "site", "starts_at", "ends_at"
    ):
        placed[machine].append((max(starts, since), min(ends or until, until), site))
    found: list[Stay] = []
    for machine in known.values_list("pk", flat=True):
        at = since
        for starts, ends, site in placed[machine]:
            if starts > at:
                found.append(Stay(machine, None, at, starts))
            found.append(Stay(machine, site, starts, ends))
            at = ends
        if at < until:
            found.append(Stay(machine, None, at, until))
    return found
