"""The gatekeepers of runs: a driver sees and touches only the own agreed runs, the desk all.

What is missing and what is not yours look alike (NotFound).
"""

from typing import TypeVar

from django.db.models import Model, QuerySet

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import (
    DayOff,
    DayPlan,
    Depot,
    DriverProfile,
    Run,
    RunAssumptions,
    ServiceAgreement,
    Stop,
    Vehicle,
    WorkingDay,
)

Row = TypeVar("Row", bound=Model)
DESK = (Role.OWNER, Role.DISPATCHER)
NEEDED_BY_ACTS = ("run__vehicle__truck", "run__depot__site", "machine")
OF_THEM = (
    "run__vehicle__name",
    "run__vehicle__truck__kind",
    "run__vehicle__truck__name",
    "run__vehicle__truck__active",
    "run__depot__site__name",
    "run__depot__site__time_zone",
    "machine__asset_tag",
)


def runs_seen_by(person: Person) -> "QuerySet[Run]":
    """The desk sees every run, a driver the own ones once they are agreed."""
    runs = Run.objects.select_related("driver", "vehicle__truck", "depot__site", "plan")
    if person.has_role(*DESK):
        return runs
    if person.has_role(Role.DRIVER):
        return runs.filter(driver=person, agreed=True)
    return runs.none()


def run_for(person: Person, pk: int) -> Run:
    """Whoever sees a run may carry it out; planning is the desk's by policy."""
    return _found(runs_seen_by(person), pk)


def stops_seen_by(person: Person) -> "QuerySet[Stop]":
    stops = Stop.objects.select_related(
        "run__driver", "run__vehicle__truck", "run__depot__site", "machine__kind", "site"
    )
    if person.has_role(*DESK):
        return stops
    if person.has_role(Role.DRIVER):
        return stops.filter(run__driver=person, run__agreed=True)
    return stops.none()


def stop_for(person: Person, pk: int) -> Stop:
    return _found(stops_seen_by(person), pk)


def stop_to_act_on(person: Person, pk: int) -> Stop:
    """As `stop_for`, with no more of its neighbours than an act needs; the rest comes when asked.

    A driver at a machine waits for this one.
    """
    stops = stops_seen_by(person).select_related(None).select_related(*NEEDED_BY_ACTS)
    return _found(stops.only(*OF_THEM), pk)


def plan_for(person: Person, pk: int, *, write: bool = False) -> DayPlan:
    return _gate(DayPlan.objects.select_related("made_by", "agreed_by"), person, pk, write=write)


def depot_for(person: Person, pk: int, *, write: bool = False) -> Depot:
    return _gate(Depot.objects.select_related("site"), person, pk, write=write)


def vehicle_for(person: Person, pk: int, *, write: bool = False) -> Vehicle:
    return _gate(Vehicle.objects.select_related("truck", "depot__site"), person, pk, write=write)


def driver_for(person: Person, pk: int, *, write: bool = False) -> DriverProfile:
    rows = DriverProfile.objects.select_related("person", "depot__site", "vehicle")
    return _gate(rows.prefetch_related("shifts"), person, pk, write=write)


def day_off_for(person: Person, pk: int, *, write: bool = False) -> DayOff:
    return _gate(DayOff.objects.select_related("profile__person"), person, pk, write=write)


def working_day_for(person: Person, pk: int, *, write: bool = False) -> WorkingDay:
    return _gate(WorkingDay.objects.all(), person, pk, write=write)


def agreement_for(person: Person, pk: int, *, write: bool = False) -> ServiceAgreement:
    return _gate(ServiceAgreement.objects.select_related("machine"), person, pk, write=write)


def assumptions_for(person: Person, pk: int, *, write: bool = False) -> RunAssumptions:
    RunAssumptions.the()
    return _gate(RunAssumptions.objects.all(), person, pk, write=write)


def _found(rows: "QuerySet[Row]", pk: int) -> Row:
    # Without the order of the model, which would join its way to names for one row.
    row = rows.order_by().filter(pk=pk).first()
    if row is None:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    return row


def _gate(rows: "QuerySet[Row]", person: Person, pk: int, *, write: bool) -> Row:
    if not person.has_role(*DESK, Role.ACCOUNTANT):
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    row = _found(rows, pk)
    if write and not person.has_role(*DESK):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row
