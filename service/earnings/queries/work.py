"""Work at machines: visits with their share of the way, repairs, upkeep, refunds."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from django.db.models import F

from service.runs.models import Visit
from service.tickets.models import Refund, WorkDone
from service.upkeep.models import MaintenanceDone

ZERO: Final = Decimal(0)
#: What was done just after leaving was done at the visit.
JUST_AFTER: Final = timedelta(minutes=5)


@dataclass(frozen=True, slots=True)
class Driven:
    """One visit: who was where when, for how long, and its even share of the run's other time.

    `own_minutes` leaves out those that a ticket or maintenance at the visit tells of, which are
    paid for there.
    """

    machine: int
    driver: int
    driver_name: str
    at: datetime
    minutes: Decimal
    own_minutes: Decimal
    way_minutes: Decimal
    km: Decimal


@dataclass(frozen=True, slots=True)
class Job:
    """A cost at a machine at a moment: a repair, maintenance (minutes alone) or a refund."""

    machine: int
    at: datetime
    minutes: Decimal = ZERO
    amount: Decimal = ZERO


def repairs(since: datetime, until: datetime) -> list[Job]:
    """Labour and parts of tickets closed in `[since, until)`."""
    rows = WorkDone.objects.filter(done_at__gte=since, done_at__lt=until).order_by("pk")
    return [
        Job(machine, at, Decimal(minutes), labour + parts)
        for machine, at, minutes, labour, parts in rows.values_list(
            "ticket__machine", "done_at", "minutes", "labour_cost", "parts_cost"
        )
    ]


def upkeep(since: datetime, until: datetime) -> list[Job]:
    """Maintenance done; its minutes, where they were written down."""
    rows = MaintenanceDone.objects.filter(
        done_at__gte=since, done_at__lt=until, set_aside_at__isnull=True
    ).order_by("pk")
    return [
        Job(machine, at, Decimal(minutes or 0))
        for machine, at, minutes in rows.values_list("machine", "done_at", "minutes")
    ]


def refunds(since: datetime, until: datetime) -> list[Job]:
    """Money back that was paid."""
    rows = Refund.objects.filter(
        state=Refund.State.PAID, ended_at__gte=since, ended_at__lt=until
    ).order_by("pk")
    return [
        Job(machine, at, amount=amount)
        for machine, at, amount in rows.values_list("ticket__machine", "ended_at", "amount")
        if at is not None
    ]


def driven(since: datetime, until: datetime, jobs: Iterable[Job]) -> list[Driven]:
    """Visits that began in `[since, until)`. The time of a run beyond its visits, and its way as
    planned, are shared alike over all of its visits. One query."""
    of_run: dict[int, list[Mapping[str, Any]]] = defaultdict(list)
    begun = Visit.objects.filter(arrived_at__gte=since, arrived_at__lt=until)
    rows = Visit.objects.filter(run__in=begun.order_by().values("run")).order_by("run", "pk")
    for row in rows.values(
        "run",
        "machine",
        "driver",
        "arrived_at",
        "left_at",
        "ended_by",
        name=F("driver__name"),
        planned=F("stop__service_minutes"),
        starts=F("run__started_at"),
        ends=F("run__ended_at"),
        planned_start=F("run__planned_start"),
        planned_end=F("run__planned_end"),
        metres=F("run__planned_metres"),
    ):
        of_run[row["run"]].append(row)
    work = _by_machine(jobs)
    found = []
    for visits in of_run.values():
        lengths = [_length(one) for one in visits]
        first = visits[0]
        spent = _minutes(
            (first["ends"] or first["planned_end"]) - (first["starts"] or first["planned_start"])
        )
        way = max(spent - sum(lengths, ZERO), ZERO) / len(visits)
        km = Decimal(first["metres"]) / 1000 / len(visits)
        for visit, minutes in zip(visits, lengths, strict=True):
            if not since <= visit["arrived_at"] < until:
                continue
            until_then = visit["arrived_at"] + timedelta(minutes=float(minutes)) + JUST_AFTER
            told = sum(
                (
                    job.minutes
                    for job in work.get(visit["machine"], [])
                    if visit["arrived_at"] <= job.at <= until_then
                ),
                ZERO,
            )
            found.append(
                Driven(
                    machine=visit["machine"],
                    driver=visit["driver"],
                    driver_name=visit["name"],
                    at=visit["arrived_at"],
                    minutes=minutes,
                    own_minutes=max(minutes - told, ZERO),
                    way_minutes=way,
                    km=km,
                )
            )
    return found


def _length(row: Mapping[str, Any]) -> Decimal:
    """Of a visit whose end nobody told, as long as it was planned."""
    ended = row["left_at"] or row["ended_by"]
    if ended is None or ended < row["arrived_at"]:
        return Decimal(row["planned"] or 0)
    return _minutes(ended - row["arrived_at"])


def _minutes(spent: timedelta) -> Decimal:
    return Decimal(max(round(spent.total_seconds()), 0)) / 60


def _by_machine(jobs: Iterable[Job]) -> dict[int, list[Job]]:
    found: dict[int, list[Job]] = defaultdict(list)
    for job in jobs:
        found[job.machine].append(job)
    return found
