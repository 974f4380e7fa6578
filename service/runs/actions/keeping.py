"""What planning stands on: depots, vehicles, drivers, days off, agreements, assumptions."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction

from fleet.inventory.actions import places
from fleet.machines.models import Site
from people import audit, rows
from people.errors import Unacceptable
from people.models import Person
from people.roles import Role

from ..models import (
    DayOff,
    Depot,
    DriverProfile,
    RunAssumptions,
    ServiceAgreement,
    Shift,
    Vehicle,
    WorkingDay,
)
from ..models.drivers import WEEKDAYS


@transaction.atomic
def save_depot(
    *, actor: Person, now: datetime, changes: Mapping[str, Any], depot: Depot | None = None
) -> Depot:
    """Add a depot at a warehouse of ours, or change one. Raises Unacceptable."""
    site = changes.get("site") or (None if depot is None else depot.site)
    if site is None or site.purpose != Site.Purpose.WAREHOUSE:
        message = f"{site or 'no site'} is no warehouse of ours; runs leave from a warehouse"
        raise Unacceptable(message, fields={"site": message})
    if site.latitude is None:
        message = f"{site} has no coordinates; nothing can be planned from it"
        raise Unacceptable(message, code="no_coordinates", fields={"site": message})
    verb = "add depot" if depot is None else "change depot"
    saved = rows.put(depot or Depot(), changes, actor=actor, verb=verb, now=now)
    places.warehouse(site)
    return saved


@transaction.atomic
def save_vehicle(
    *, actor: Person, now: datetime, changes: Mapping[str, Any], vehicle: Vehicle | None = None
) -> Vehicle:
    """Add a vehicle, with a place for the stock it carries, or change one. Raises Unacceptable."""
    row = vehicle or Vehicle()
    if vehicle is None:
        name = str(changes.get("name") or "").strip()
        if not name:
            raise Unacceptable("a vehicle needs a name", fields={"name": "give it a name"})
        if Vehicle.objects.filter(name=name).exists():
            message = f"there is a vehicle {name} already"
            raise Unacceptable(message, fields={"name": message})
        row.truck = places.truck(name)
    verb = "add vehicle" if vehicle is None else "change vehicle"
    return rows.put(row, changes, actor=actor, verb=verb, now=now)


@transaction.atomic
def save_driver(
    *,
    actor: Person,
    now: datetime,
    changes: Mapping[str, Any],
    shifts: Sequence[Mapping[str, Any]] | None = None,
    profile: DriverProfile | None = None,
) -> DriverProfile:
    """Add or change what planning knows of a driver. A given list of shifts is whole.

    Raises Unacceptable.
    """
    person = changes.get("person") or (None if profile is None else profile.person)
    if person is None or not person.has_role(Role.DRIVER):
        message = f"{person or 'nobody'} is no driver; give the person that role first"
        raise Unacceptable(message, fields={"person": message})
    verb = "add driver" if profile is None else "change driver"
    saved = rows.put(profile or DriverProfile(), changes, actor=actor, verb=verb, now=now)
    if shifts is not None:
        _replace_shifts(saved, shifts, actor=actor, now=now)
    return saved


def _replace_shifts(
    profile: DriverProfile, wanted: Sequence[Mapping[str, Any]], *, actor: Person, now: datetime
) -> None:
    fresh = [Shift(profile=profile, **one) for one in wanted]
    seen: set[int] = set()
    for index, shift in enumerate(fresh):
        if shift.ends <= shift.starts:
            message = f"ends at {shift.ends:%H:%M}, which is not after it starts"
            raise Unacceptable(message, fields={f"shifts.{index}.ends": message})
        if shift.weekday in seen:
            message = f"{WEEKDAYS[shift.weekday]} stands twice; a driver has one shift a day"
            raise Unacceptable(message, fields={f"shifts.{index}.weekday": message})
        seen.add(shift.weekday)
    before = sorted(str(shift) for shift in profile.shifts.all())
    after = sorted(str(shift) for shift in fresh)
    if before == after:
        return
    profile.shifts.all().delete()
    Shift.objects.bulk_create(fresh)
    DriverProfile.objects.filter(pk=profile.pk).update(updated_at=now)
    profile.updated_at = now
    audit.record(
        actor=actor,
        verb="change shifts",
        row=profile,
        now=now,
        before={"shifts": before},
        after={"shifts": after},
    )


def add_day_off(
    *, profile: DriverProfile | None, date: date, why: str, actor: Person, now: datetime
) -> DayOff:
    """A driver is off on a day, or nobody works (`profile` None). Raises Unacceptable."""
    changes = {"profile": profile, "date": date, "why": why}
    return rows.put(DayOff(), changes, actor=actor, verb="add day off", now=now)


def remove_day_off(*, day_off: DayOff, actor: Person, now: datetime) -> None:
    rows.delete(day_off, actor=actor, verb="remove day off", now=now)


def work_on(*, date: date, why: str, actor: Person, now: datetime) -> WorkingDay:
    """The business works on this public holiday all the same. Raises Unacceptable."""
    changes = {"date": date, "why": why}
    return rows.put(WorkingDay(), changes, actor=actor, verb="add working day", now=now)


def do_not_work_on(*, working_day: WorkingDay, actor: Person, now: datetime) -> None:
    rows.delete(working_day, actor=actor, verb="remove working day", now=now)


def save_agreement(
    *,
    actor: Person,
    now: datetime,
    changes: Mapping[str, Any],
    agreement: ServiceAgreement | None = None,
) -> ServiceAgreement:
    """Agree how often a machine is visited at least. Raises Unacceptable."""
    verb = "add agreement" if agreement is None else "change agreement"
    return rows.put(agreement or ServiceAgreement(), changes, actor=actor, verb=verb, now=now)


def remove_agreement(*, agreement: ServiceAgreement, actor: Person, now: datetime) -> None:
    rows.delete(agreement, actor=actor, verb="remove agreement", now=now)


def save_assumptions(
    *, changes: Mapping[str, Any], actor: Person | None, now: datetime
) -> RunAssumptions:
    """Change what planning assumes. Raises Unacceptable."""
    verb = "change run assumptions"
    return rows.put(RunAssumptions.the(), changes, actor=actor, verb=verb, now=now)
