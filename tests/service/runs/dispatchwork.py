"""Drivers with runs on one day, and tickets that somebody has to go to."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from fleet.machines.models import Machine
from people.models import Person
from people.roles import Role
from service.runs.actions import byhand, dispatch, keeping
from service.runs.models import DriverProfile, Run, Stop
from service.tickets.actions import reporting
from service.tickets.models import Symptom, Ticket
from tests.cast import join
from tests.service.runs.roadwork import SHIFT, RoadWork, roadwork
from tests.service.runs.roadwork import site as site_at
from tests.world import World

NAMES = ["Tobin Ashgrove", "Wren Halloway", "Ilse Marchbank", "Pavel Underhill", "Mina Orchard"]


@dataclass
class DispatchWork:
    """Rows by plain names, and acts told in one line."""

    road: RoadWork
    dispatcher: Person
    day: date
    now: datetime
    profiles: list[DriverProfile]
    runs: list[Run] = field(default_factory=list)

    @property
    def machines(self) -> list[Machine]:
        return self.road.machines

    def ticket(self, machine: Machine, code: str = "warm", **more: Any) -> Ticket:
        given: dict[str, Any] = {
            "machine": machine,
            "symptom": Symptom.objects.get(code=code),
            "source": Ticket.Source.DESK,
            "actor": self.dispatcher,
            "now": self.now,
        }
        if given["symptom"].asks_column:
            given["column"] = self.road.world.column(machine, "1")
        return reporting.report(**(given | more)).ticket

    def assign(self, ticket: Ticket, run: Run | None = None, **more: Any) -> dispatch.Assigned:
        given: dict[str, Any] = {"ticket": ticket, "actor": self.dispatcher, "now": self.now}
        return dispatch.assign(**(given | {"run": run} | more))

    def order(self, run: Run) -> list[str]:
        stops = Stop.objects.filter(run=run).order_by("sequence")
        return list(stops.values_list("machine__asset_tag", flat=True))

    def fresh(self, ticket: Ticket) -> Ticket:
        return Ticket.objects.select_related("machine", "symptom", "given_to", "site").get(
            pk=ticket.pk
        )


def dispatchwork(
    world: World,
    dispatcher: Person,
    driver: Person,
    *,
    day: date,
    now: datetime,
    others: list[Person] | None = None,
    machines: int = 8,
    each: int = 3,
) -> DispatchWork:
    """Each driver has a van and a run of `each` machines; the machines left over are on none."""
    road = roadwork(world, driver, machines=machines)
    profiles = [road.profile]
    for number, person in enumerate(others or [], start=2):
        changes: dict[str, Any] = {"name": f"Van {number}", "depot": road.depot}
        van = keeping.save_vehicle(changes=changes, actor=world.owner, now=world.now)
        changes = {"person": person, "depot": road.depot, "vehicle": van}
        profiles.append(
            keeping.save_driver(changes=changes, shifts=SHIFT, actor=world.owner, now=world.now)
        )
    work = DispatchWork(road, dispatcher, day, now, profiles)
    left = list(road.machines)
    for profile in profiles:
        chosen, left = left[:each], left[each:]
        if chosen:
            work.runs.append(
                byhand.add_run(date=day, driver=profile, machines=chosen, actor=dispatcher, now=now)
            )
    return work


def more_drivers(count: int) -> list[Person]:
    return [join(name, Role.DRIVER) for name in NAMES[:count]]


def spread(world: World, work: DispatchWork, count: int) -> list[Machine]:
    """So many machines more, each at a site of its own around the depot."""
    kind = work.machines[0].kind
    made = []
    for number in range(count):
        east = Decimal(number % 9 - 4) / 40
        place = site_at(world, f"Yard {number + 1}", 1 + number * 7 % 23)
        place.longitude += east
        place.save()
        made.append(world.machine(f"Y-{number + 1}", kind, site=place))
    return made


def minutes_after(now: datetime, minutes: int) -> datetime:
    return now + timedelta(minutes=minutes)
