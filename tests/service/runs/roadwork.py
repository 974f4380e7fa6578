"""A depot, a truck, a driver with shifts, machines at three sites, and a run that is agreed."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

import pytest

from fleet.inventory.actions import counts, ledger, places
from fleet.inventory.models import StockLevel, StockPlace
from fleet.machines.models import Kind, Machine, Product, Site
from people.models import Person
from service.runs.actions import byhand, keeping, road
from service.runs.models import Depot, DriverProfile, Run, Stop, Vehicle
from tests.cast import NOW
from tests.world import World

DAY = NOW.date()
"""A Monday."""
SHIFT = [{"weekday": weekday, "starts": time(7), "ends": time(15, 30)} for weekday in range(5)]


def clock(hour: int, minute: int = 0, second: int = 0) -> datetime:
    """A moment of the day in New York, which is five hours behind UTC on that Monday."""
    return datetime(2026, 3, 2, hour + 5, minute, second, tzinfo=UTC)


@dataclass
class RoadWork:
    """The rows of a small depot, and acts told in one line."""

    world: World
    driver: Person
    depot: Depot
    vehicle: Vehicle
    profile: DriverProfile
    machines: list[Machine]
    cola: Product
    tea: Product
    keys: Any = field(default_factory=lambda: count(1))

    @property
    def owner(self) -> Person:
        return self.world.owner

    @property
    def truck(self) -> StockPlace:
        return self.vehicle.truck

    @property
    def warehouse(self) -> StockPlace:
        return places.warehouse(self.depot.site)

    def sent(self, at: datetime, key: str | None = None) -> road.Sent:
        return road.Sent(key or f"key-{next(self.keys)}", at)

    def run(self, *machines: Machine, **more: Any) -> Run:
        """A run of these machines (or all) on DAY."""
        given: dict[str, Any] = {
            "date": DAY,
            "driver": self.profile,
            "machines": machines or self.machines,
            "actor": self.owner,
            "now": clock(6),
        }
        return byhand.add_run(**(given | more))

    def stop(self, run: Run, machine: Machine | None = None) -> Stop:
        stops = Stop.objects.select_related(
            "run__driver", "run__vehicle__truck", "run__depot__site", "machine", "site"
        )
        return stops.get(run=run, machine=machine or self.machines[0])

    def start(self, run: Run, at: datetime | None = None) -> road.Answer:
        at = at or clock(7, 30)
        return road.start(run=run, sent=self.sent(at), actor=self.driver, now=at)

    def out(self, *machines: Machine) -> Run:
        """A run that has started."""
        run = self.run(*machines)
        self.start(run)
        return Run.objects.select_related("driver", "vehicle__truck", "depot__site").get(pk=run.pk)

    def stock(self, product: Product, units: int, place: StockPlace | None = None) -> None:
        """So many are in a place (the truck) from the day before on."""
        ledger.post(
            reason="opening",
            lines=[
                ledger.Line(product, units, places.the("unexplained"), place or self.truck, None)
            ],
            actor=self.owner,
            happened_at=NOW - timedelta(days=1),
            now=NOW - timedelta(days=1),
        )

    def held(self, place: StockPlace, product: Product) -> int:
        return sum(
            StockLevel.objects.filter(place=place, product=product).values_list(
                "quantity", flat=True
            )
        )

    def in_column(self, label: str = "1", machine: Machine | None = None) -> int:
        column = self.world.column(machine or self.machines[0], label)
        return sum(
            StockLevel.objects.filter(place=places.column_place(column)).values_list(
                "quantity", flat=True
            )
        )

    def filled(self, label: str, product: Product, quantity: int, at: int = 0) -> road.Filled:
        return road.Filled(self.world.column(self.machines[at], label), product, quantity)

    def do(self, verb: Any, at: datetime, key: str | None = None, **given: Any) -> road.Answer:
        return verb(sent=self.sent(at, key), actor=self.driver, now=clock(18), **given)


def site(world: World, name: str, north_km: float, **more: Any) -> Site:
    """A site so far north of the depot: a degree of latitude is about 111.2 km."""
    return world.site(
        name,
        latitude=(Decimal("40.7") + Decimal(str(north_km)) / Decimal("111.2")).quantize(
            Decimal("0.000001")
        ),
        longitude=Decimal("-74.0"),
        **more,
    )


@pytest.fixture
def work(world: World, driver: Person) -> "RoadWork":
    """Three machines north of a depot, a driver with a van."""
    return roadwork(world, driver)


def roadwork(world: World, driver: Person, machines: int = 3) -> RoadWork:
    """Build it."""
    store = site(world, "Marl Street store", 0, purpose="warehouse")
    owner, now = world.owner, world.now
    depot = keeping.save_depot(changes={"site": store}, actor=owner, now=now)
    vehicle = keeping.save_vehicle(
        changes={"name": "Van 1", "depot": depot, "volume_l": 6000}, actor=owner, now=now
    )
    profile = keeping.save_driver(
        changes={"person": driver, "depot": depot, "vehicle": vehicle},
        shifts=SHIFT,
        actor=owner,
        now=now,
    )
    # A test may have another machine of these already.
    kind = Kind.objects.filter(name="two-sided stack").first() or world.kind()
    cola = Product.objects.filter(name="Cola").first() or world.product(
        "Cola", world.can("can of the halls", volume_ml=Decimal(355), weight_g=Decimal(370))
    )
    tea = Product.objects.filter(name="Tea").first() or world.product(
        "Tea", world.bottle("bottle of the halls", volume_ml=Decimal(591), weight_g=Decimal(620))
    )
    stop, run_on = kind.programs.get(name="stop"), kind.programs.get(name="run on")
    made = []
    for number in range(machines):
        machine = world.machine(
            f"R-{number + 1}", kind, site=site(world, f"Hall {number + 1}", 3 * (number + 1))
        )
        world.set_up(world.column(machine, "1"), cola, deep=2, front_setting=20, program=stop)
        world.set_up(world.column(machine, "2"), tea, front_setting=10, program=run_on)
        made.append(machine)
    return RoadWork(world, driver, depot, vehicle, profile, made, cola, tea)


def count_all(work: RoadWork, units: int, at: datetime) -> None:
    """Every column held so many at that moment."""
    for machine in work.machines:
        counts.count_columns(
            counts=[
                counts.ColumnCount(work.world.column(machine, label), units) for label in ("1", "2")
            ],
            actor=work.owner,
            counted_at=at,
            now=at,
        )
