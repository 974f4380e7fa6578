"""Runs that were driven without the service, written down afterwards: from notebooks, or another
system's export. What was counted, filled and taken out is told to the ledger beside it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from fleet.machines.models import Machine
from fleet.sales.models import Bag
from people import audit
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Person

from ..models import DriverProfile, Run, Visit


class UnableToWriteDown(Unable):
    """What is told of the past contradicts what is known of it."""


@dataclass(frozen=True)
class PastVisit:
    """A driver was at a machine. `seal_number` is of the bag of cash, empty where none was."""

    machine: Machine
    arrived_at: datetime
    left_at: datetime
    seal_number: str = ""


@transaction.atomic
def write_down(
    *,
    driver: DriverProfile,
    day: date,
    started_at: datetime,
    ended_at: datetime,
    visits: Sequence[PastVisit],
    actor: Person,
    now: datetime,
) -> Run:
    """Write down a day that was driven: a run that has ended, its visits and its bags.

    It had no plan, so it has no stops. Raises Unacceptable for times that cannot be, and
    UnableToWriteDown when the driver has a run on that day or a seal was used before.
    """
    if driver.vehicle is None:
        message = f"{driver} has no vehicle; say which is usually driven first"
        raise Unacceptable(message, fields={"driver": message})
    _require_times(started_at, ended_at, visits, now)
    _require_new(driver, day, visits)
    run = Run.objects.create(
        date=day,
        driver=driver.person,
        vehicle=driver.vehicle,
        depot=driver.depot,
        state=Run.State.ENDED,
        agreed=True,
        planned_start=started_at,
        planned_end=ended_at,
        shift_ends=ended_at,
        started_at=started_at,
        ended_at=ended_at,
        note="Written down afterwards.",
    )
    made = [
        Visit(
            run=run,
            machine=one.machine,
            driver=driver.person,
            vehicle=driver.vehicle,
            arrived_at=one.arrived_at,
            arrival_told=True,
            left_at=one.left_at,
        )
        for one in visits
    ]
    Visit.objects.bulk_create(made)
    bags = Bag.objects.bulk_create(
        Bag(
            seal_number=one.seal_number,
            machine=one.machine,
            sealed_at=one.left_at,
            recorded_at=now,
            sealed_by=driver.person,
        )
        for one in visits
        if one.seal_number
    )
    told = [("write down run", run), *(("write down visit", visit) for visit in made)]
    told += [("seal bag", bag) for bag in bags]
    AuditEntry.objects.bulk_create(
        AuditEntry(
            **audit.entry_values(actor=actor, verb=verb, row=row, now=now, after=audit.values(row))
        )
        for verb, row in told
    )
    return run


def _require_times(
    started_at: datetime, ended_at: datetime, visits: Sequence[PastVisit], now: datetime
) -> None:
    wrong: dict[str, str] = {}
    if not started_at <= ended_at <= now:
        wrong["ended_at"] = "give an end after the start, and not in the future"
    for index, one in enumerate(visits):
        if not started_at <= one.arrived_at <= one.left_at <= ended_at:
            wrong[f"visits.{index}.arrived_at"] = (
                f"{one.machine}: from {one.arrived_at.isoformat()} to {one.left_at.isoformat()} is "
                "not within the day told"
            )
    if wrong:
        raise Unacceptable("; ".join(wrong.values()), fields=wrong)


def _require_new(driver: DriverProfile, day: date, visits: Sequence[PastVisit]) -> None:
    if Run.objects.filter(driver=driver.person, date=day, agreed=True).exists():
        raise UnableToWriteDown(f"{driver} has a run on {day} already", code="run_exists")
    seals = [one.seal_number for one in visits if one.seal_number]
    used = Bag.objects.filter(seal_number__in=seals).values_list("seal_number", flat=True).first()
    if used is not None or len(set(seals)) < len(seals):
        raise UnableToWriteDown(
            f"seal {used or 'twice in the list'} is on another bag; read the number again",
            code="seal_used",
        )
