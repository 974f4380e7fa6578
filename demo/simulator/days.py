"""The days of the whole business: machines, trucks and warehouses, in the order of time."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from functools import partial
from operator import itemgetter
from random import Random
from zoneinfo import ZoneInfo

from demo.business.shapes import Business, Machine
from demo.simulator.cases import CASES, ORDINARY, stranger
from demo.simulator.files import SimulatedFile
from demo.simulator.happenings import Happening, Round
from demo.simulator.rounds import Stop, Way, way_of
from demo.simulator.trucks import Supply, Truck
from demo.simulator.truth import Truth
from demo.simulator.warehouses import Warehouse
from demo.simulator.weeks import Act, MachineWeeks

_UNLOADED_ON = 4
_COUNTING = timedelta(minutes=10)


class Days:
    """Simulates a business from `first_day` up to dawn of `until`."""

    def __init__(self, business: Business, first_day: date, until: date, seed: int) -> None:
        self._business = business
        self._first_day = first_day
        self._until = until
        self._seed = seed
        self._sites = {site.code: site for site in business.sites}
        self._columns = {kind.name: len(kind.positions) for kind in business.kinds}
        self._warehouses = self._stores()
        self._trucks = self._lorries()
        self._books = frozenset(machine.asset_tag for machine in business.machines)
        self._happenings: list[Happening] = []
        self._ways = Random(f"{seed}:ways")
        self.weeks = list(self._machines())
        self._by_tag = {one.machine.asset_tag: one for one in self.weeks}

    def files(self) -> Iterator[SimulatedFile]:
        """Every file, day by day; the truth grows beside them."""
        day = self._first_day
        while day <= self._until:
            # The sort is stable: at one moment each keeps the order in which it told its acts.
            for _, act in sorted(self._acts(day), key=itemgetter(0)):
                act()
            for one in self.weeks:
                yield from one.take_files()
            day += timedelta(days=1)
        for one in self.weeks:
            one.end()

    def truth(self) -> Truth:
        """What happened, once all files have been taken."""
        places: list[Warehouse | Truck] = [*self._warehouses.values(), *self._trucks.values()]
        told = [*self._happenings, *(one for place in places for one in place.happenings)]
        return Truth(
            machines={one.machine.asset_tag: one.cabinet.truth for one in self.weeks},
            happenings=tuple(sorted(told, key=_moment)),
            left={place.place: place.pile.lines() for place in places},
        )

    def _acts(self, day: date) -> list[Act]:
        acts: list[Act] = []
        if day < self._until:
            for warehouse in self._warehouses.values():
                acts.append((_at(day, time(5, 30), warehouse.zone), partial(warehouse.day_of, day)))
                late = _at(day, time(9, 45), warehouse.zone)
                acts.append((late, partial(warehouse.order_and_receive, day)))
        stops: dict[str, Stop] = {}
        if day < self._until:
            for truck in self._trucks.values():
                way = self._way(truck, day)
                if way is not None:
                    stops |= {stop.asset_tag: stop for stop in way.stops}
                    acts += self._drive(truck, day, way)
        for one in self.weeks:
            if one.first_day <= day:
                acts += one.acts(day, stops.get(one.machine.asset_tag))
        return acts

    def _way(self, truck: Truck, day: date) -> Way | None:
        machines = [
            one.machine
            for one in self.weeks
            if one.first_day <= day
            and one.machine.driver_email == truck.driver_email
            and day.weekday() in one.machine.visit_weekdays
            and not one.is_shut(day)
        ]
        shift = next(s for s in self._business.shifts if s.vehicle_name == truck.name)
        if not machines or day.weekday() not in shift.weekdays:
            return None
        return way_of(
            day,
            shift=shift,
            warehouse=self._business.warehouse(truck.warehouse.code),
            machines=machines,
            sites=self._sites,
            columns=self._columns,
            random=self._ways,
        )

    def _drive(self, truck: Truck, day: date, way: Way) -> Iterator[Act]:
        zone = truck.warehouse.zone
        ours = [tag for tag in (stop.asset_tag for stop in way.stops) if tag in self._books]
        back = way.back.replace(tzinfo=zone)
        starts = way.starts.replace(tzinfo=zone)
        selling = {tag: self._by_tag[tag].selling(day) for tag in ours}
        yield (
            starts + timedelta(minutes=5),
            partial(truck.load, starts + timedelta(minutes=5), selling),
        )
        counts = back + _COUNTING
        yield (
            counts,
            partial(
                truck.end_day,
                counts,
                self._sold_by(truck, day),
                unload=day.weekday() == _UNLOADED_ON,
            ),
        )
        self._happenings.append(
            Round(
                day=day,
                driver_email=truck.driver_email,
                truck=truck.name,
                starts=starts,
                leaves=way.leaves.replace(tzinfo=zone),
                back=back,
                asset_tags=tuple(ours),
            )
        )

    def _sold_by(self, truck: Truck, day: date) -> set[str]:
        return {
            product_code
            for one in self.weeks
            if one.machine.driver_email == truck.driver_email
            and one.machine.asset_tag in self._books
            for product_code, _ in one.selling(day).values()
        }

    def _stores(self) -> dict[str, Warehouse]:
        capacities: dict[str, Counter[str]] = defaultdict(Counter)
        for machine in self._business.machines:
            code = self._sites[machine.site_code].warehouse_code
            capacities[code].update(self._capacity([machine]))
        return {
            one.code: Warehouse(
                self._business,
                code=one.code,
                capacities=capacities[one.code],
                first_day=self._first_day,
                seed=self._seed,
            )
            for one in self._business.warehouses
        }

    def _lorries(self) -> dict[str, Truck]:
        trucks = {}
        for number, shift in enumerate(self._business.shifts, start=1):
            vehicle = self._business.vehicle(shift.vehicle_name)
            warehouse = self._warehouses[vehicle.warehouse_code]
            truck = Truck(shift=shift, warehouse=warehouse, number=number, seed=self._seed)
            served = [m for m in self._business.machines if m.driver_email == shift.driver_email]
            truck.open(_at(self._first_day, time(), warehouse.zone), self._capacity(served))
            trucks[shift.driver_email] = truck
        return trucks

    def _capacity(self, machines: Iterable[Machine]) -> Counter[str]:
        """Of all columns that hold a product on the first day, by product."""
        capacity: Counter[str] = Counter()
        for machine in machines:
            for set_up in self._business.set_ups_of(machine.asset_tag):
                if set_up.ends is None or set_up.ends > self._first_day:
                    capacity[set_up.product_code] += set_up.capacity
        return capacity

    def _machines(self) -> Iterator[MachineWeeks]:
        for machine in self._business.machines:
            yield MachineWeeks(
                business=self._business,
                machine=machine,
                case=CASES.get(machine.asset_tag, ORDINARY),
                set_ups=self._business.set_ups_of(machine.asset_tag),
                first_day=self._first_day,
                until=self._until,
                seed=self._seed,
                supply=self._trucks[machine.driver_email],
            )
        unknown = stranger(self._until)
        tag = unknown.machine.asset_tag
        placed_on = unknown.machine.placed_on
        yield MachineWeeks(
            business=self._business,
            machine=unknown.machine,
            case=ORDINARY,
            set_ups=tuple(
                replace(set_up, asset_tag=tag, starts=placed_on)
                for set_up in self._business.set_ups_of(unknown.like)
                if set_up.ends is None
            ),
            first_day=max(self._first_day, placed_on),
            until=self._until,
            seed=self._seed,
            # Its goods came with it; they are in nobody's books.
            supply=Supply(Random(f"{self._seed}:{tag}:supply"), self._until + timedelta(days=60)),
        )


def _at(day: date, at: time, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, at, tzinfo=zone)


def _moment(happening: Happening) -> float:
    at = happening.starts if isinstance(happening, Round) else happening.at
    return at.timestamp()
