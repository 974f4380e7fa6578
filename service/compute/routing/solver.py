"""The search, handed to PyVRP (iterated local search over prizes, windows, shifts and loads).

PyVRP knows integers only, one window a client, and one matrix a vehicle type. So: a stop with
several windows, or several days, is a group of clients of which one at most is visited; money is
multiplied until hourly costs are whole numbers a second; the cost of a way stands in the matrix
of distances; and a stop that a vehicle may not visit is too far away for it.
The method: Wouda, Lan & Kool 2024, INFORMS Journal on Computing 36(4), 943-955.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyvrp
from pyvrp import SolveParams
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.search import PerturbationParams
from pyvrp.stop import MaxIterations

from .problem import Matrix, Problem, Stop, Vehicle
from .road import Outset

# A way that nobody may take: longer than any week, short of PyVRP's own bound.
NEVER_S = 10_000_000
# Money inside the solver is kept to about this much, where its penalties work best.
ABOUT_MONEY = 2_000_000
# After a search that changes up to 25 things at once, one that changes up to 8: it takes a third of
# the time a round, and finds what the first has missed (measured over invented days of 200 stops).
NEAR = SolveParams(perturbation=PerturbationParams(min_perturbations=1, max_perturbations=8))
# An hourly cost may be this wrong a second, in parts, before money is multiplied further.
RATE_WRONG = 0.0005


@dataclass(frozen=True)
class Day:
    """One day of a search: its problem, where its vehicles stand, and which stops are in question.

    `tied` names stops that only one vehicle may visit.
    """

    problem: Problem
    outsets: Mapping[str, Outset]
    stops: tuple[Stop, ...]
    must: frozenset[str] = frozenset()
    tied: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Found:
    """The routes found, `{vehicle: stops in order}` a day. `feasible` when they keep every rule
    and visit every required stop."""

    days: tuple[dict[str, tuple[str, ...]], ...]
    feasible: bool


def search(
    days: Sequence[Day],
    *,
    seed: int,
    iterations: int,
    warm: Sequence[Mapping[str, Sequence[str]]] | None = None,
    must_worth: int = 0,
) -> Found:
    """The best routes found in so many iterations, and half as many wider ones before them.

    The same question gives the same answer.

    Stops named on several days are visited on one of them at most. A stop that is a must on any
    day has to be visited; with `must_worth` (minor units) it need not, but is worth that much more,
    for days on which not every one of them can be served. `warm` is where the search begins.
    """
    if not any(day.stops and day.problem.vehicles for day in days):
        return Found(tuple({} for _ in days), not any(day.must for day in days))
    model = _Model(days, must_worth)
    first = model.solution(warm) if warm is not None else None
    wide = model.solved(seed, 1 + iterations // 2, SolveParams(), first)
    return model.found(model.solved(seed, iterations, NEAR, wide))


class _Model:
    """The question as PyVRP holds it, and the way back."""

    def __init__(self, days: Sequence[Day], must_worth: int) -> None:
        self.days = days
        self.scale = _scale(days)
        self.must_worth = must_worth
        # Days lie one after another, each as long as the longest run needs, so that no run of
        # one day can visit a stop of the next.
        self.day_s = 1 + max(
            (vehicle.ends_s for day in days for vehicle in day.problem.vehicles), default=0
        )
        self.places: list[int] = []  # of each location, its row in the matrix
        self.depots: dict[tuple[int, int], int] = {}  # (place, loading) -> depot
        self.clients: list[pyvrp.Client] = []
        self.client_of: list[tuple[int, str]] = []  # (day, stop)
        self.groups: list[pyvrp.ClientGroup] = []
        self._depot_list: list[pyvrp.Depot] = []
        for day in days:
            self._depots_of(day)
        self.location_of = self._locate()
        self._add_clients()
        self.types: list[pyvrp.VehicleType] = []
        self.names: list[tuple[int, list[str]]] = []  # of each type: day, vehicles
        self.profiles: dict[tuple[int, frozenset[str]], int] = {}
        self._add_vehicles()
        self.data = self._data()

    # Where things are

    def _depots_of(self, day: Day) -> None:
        for vehicle in _sorted(day.problem.vehicles):
            outset = day.outsets[vehicle.name]
            self._depot(outset.place, outset.loading_s)
            self._depot(day.problem.depot_named[vehicle.end_depot].place, 0)

    def _depot(self, place: int, loading_s: int) -> int:
        if (place, loading_s) not in self.depots:
            self.depots[place, loading_s] = len(self._depot_list)
            self._depot_list.append(
                pyvrp.Depot(location=len(self.places), service_duration=loading_s)
            )
            self.places.append(place)
        return self.depots[place, loading_s]

    def _locate(self) -> dict[str, int]:
        """A location for each stop of its own, since who may go there is a matter of the way."""
        located: dict[str, int] = {}
        for name, place in sorted({(s.name, s.place) for day in self.days for s in day.stops}):
            located[name] = len(self.places)
            self.places.append(place)
        return located

    # Stops

    def _add_clients(self) -> None:
        must = {name for day in self.days for name in day.must}
        copies: dict[str, list[tuple[int, Stop]]] = {}
        for number, day in enumerate(self.days):
            for stop in day.stops:
                copies.setdefault(stop.name, []).append((number, stop))
        for name in sorted(copies):
            wanted = [
                (number, stop, opens_s, closes_s)
                for number, stop in copies[name]
                for opens_s, closes_s in self._begins(number, stop)
            ]
            required = name in must and not self.must_worth
            group = None
            if len(wanted) > 1:
                group = len(self.groups)
                first = len(self.clients)
                members = list(range(first, first + len(wanted)))
                self.groups.append(pyvrp.ClientGroup(members, required=required))
            for number, stop, opens_s, closes_s in wanted:
                worth = stop.prize + (self.must_worth if name in must else 0)
                self.clients.append(
                    pyvrp.Client(
                        location=self.location_of[name],
                        delivery=[value for _, value in stop.load.parts()],
                        service_duration=stop.service_s,
                        tw_early=opens_s,
                        tw_late=closes_s,
                        prize=worth * self.scale,
                        required=required and group is None,
                        group=group,
                    )
                )
                self.client_of.append((number, name))

    def _begins(self, number: int, stop: Stop) -> list[tuple[int, int]]:
        """When the visit may begin, once for each window that it fits into."""
        offset = number * self.day_s
        if not stop.windows:
            return [(offset, offset + self.day_s)]
        return [
            (offset + opens_s, offset + closes_s)
            for opens_s, closes_s in sorted(
                {(one.opens_s, one.closes_s - stop.service_s) for one in stop.windows}
            )
            if opens_s <= closes_s and opens_s < self.day_s
        ]

    # Vehicles

    def _add_vehicles(self) -> None:
        for number, day in enumerate(self.days):
            alike: dict[tuple[object, ...], list[str]] = {}
            for vehicle in _sorted(day.problem.vehicles):
                kind = self._kind(day, vehicle)
                alike.setdefault(kind, []).append(vehicle.name)
            for names in alike.values():
                vehicle = day.problem.vehicle_named[names[0]]
                self.types.append(self._type(day, number, vehicle, len(names)))
                self.names.append((number, names))

    def _forbidden(self, day: Day, vehicle: Vehicle) -> frozenset[str]:
        skills = set(vehicle.skills)
        return frozenset(
            stop.name
            for stop in day.stops
            if not skills.issuperset(stop.skills)
            or day.tied.get(stop.name, vehicle.name) != vehicle.name
        )

    def _kind(self, day: Day, vehicle: Vehicle) -> tuple[object, ...]:
        """What makes two vehicles the same to the search."""
        return (
            day.outsets[vehicle.name],
            vehicle.end_depot,
            (vehicle.starts_s, vehicle.ends_s, vehicle.shift_s, vehicle.overtime_s),
            (vehicle.cost, vehicle.cost_per_km),
            (vehicle.cost_per_hour, vehicle.overtime_cost_per_hour),
            self._forbidden(day, vehicle),
        )

    def _type(self, day: Day, number: int, vehicle: Vehicle, count: int) -> pyvrp.VehicleType:
        outset, offset = day.outsets[vehicle.name], number * self.day_s
        begun = outset.began_s is not None
        worked_s = outset.earliest_s - outset.began_s if outset.began_s is not None else 0
        shift_s = max(0, vehicle.shift_s - worked_s)
        overtime_s = vehicle.shift_s + vehicle.overtime_s - worked_s - shift_s
        profile = (vehicle.cost_per_km, self._forbidden(day, vehicle))
        number_of = self.profiles.setdefault(profile, len(self.profiles))
        limits = [
            sum(dict(stop.load.parts())[what] for stop in day.stops) if most is None else most
            for what, most in outset.capacity.parts()
        ]
        early_s = min(outset.earliest_s, self.day_s)
        return pyvrp.VehicleType(
            num_available=count,
            capacity=limits,
            start_depot=self._depot(outset.place, outset.loading_s),
            end_depot=self._depot(day.problem.depot_named[vehicle.end_depot].place, 0),
            fixed_cost=0 if begun else vehicle.cost * self.scale,
            tw_early=offset + early_s,
            tw_late=offset + max(early_s, vehicle.ends_s),
            start_late=offset + early_s if begun else None,
            shift_duration=shift_s,
            unit_distance_cost=1,
            unit_duration_cost=_a_second(vehicle.cost_per_hour, self.scale),
            profile=number_of,
            max_overtime=max(0, overtime_s),
            unit_overtime_cost=_a_second(vehicle.overtime_cost_per_hour, self.scale),
        )

    # There and back

    def _data(self) -> pyvrp.ProblemData:
        matrix = self.days[0].problem.matrix
        rows = np.ix_(self.places, self.places)
        seconds = np.array(matrix.seconds, dtype=np.int64)[rows]
        metres = np.array(matrix.metres, dtype=np.int64)[rows]
        np.fill_diagonal(seconds, 0)
        np.fill_diagonal(metres, 0)
        distances: list[Any] = []  # PyVRP's own types speak of an array of no shape
        durations: list[Any] = []
        for cost_per_km, forbidden in self.profiles:
            distances.append((2 * metres * cost_per_km * self.scale + 1000) // 2000)
            own = seconds.copy()
            for name in sorted(forbidden):
                own[:, self.location_of[name]] = NEVER_S
                own[self.location_of[name], self.location_of[name]] = 0
            durations.append(own)
        return pyvrp.ProblemData(
            locations=[pyvrp.Location(0, 0) for _ in self.places],
            clients=self.clients,
            depots=self._depot_list,
            vehicle_types=self.types,
            distance_matrices=distances,
            duration_matrices=durations,
            groups=self.groups,
        )

    def solution(self, warm: Sequence[Mapping[str, Sequence[str]]]) -> pyvrp.Solution:
        """Given routes as a solution; of several windows, each stop takes its first."""
        client: dict[tuple[int, str], int] = {}
        for index, key in enumerate(self.client_of):
            client.setdefault(key, index)
        routes = []
        for kind, (number, names) in enumerate(self.names):
            for name in names:
                visits = [
                    client[number, stop]
                    for stop in warm[number].get(name, ())
                    if (number, stop) in client
                ]
                if visits:
                    routes.append(pyvrp.Route(self.data, visits, kind))
        return pyvrp.Solution(self.data, routes)

    def solved(
        self, seed: int, iterations: int, params: SolveParams, first: pyvrp.Solution | None
    ) -> pyvrp.Solution:
        with warnings.catch_warnings():
            # The penalties reach their bound whenever a must-go stop cannot be served at all; that
            # is answered by `feasible`, and is no fault of the data.
            warnings.simplefilter("ignore", PenaltyBoundWarning)
            return pyvrp.solve(
                self.data,
                stop=MaxIterations(iterations),
                seed=seed,
                collect_stats=False,
                display=False,
                params=params,
                initial_solution=first,
            ).best

    def found(self, best: pyvrp.Solution) -> Found:
        days: tuple[dict[str, tuple[str, ...]], ...] = tuple({} for _ in self.days)
        free = [list(names) for _, names in self.names]
        routes = []
        for route in best.routes():
            stops = tuple(self.client_of[one.idx][1] for one in route.schedule() if one.is_client())
            if stops:
                routes.append((route.vehicle_type(), stops))
        # Among like vehicles the first takes the route that is first by name, whatever order the
        # solver holds them in.
        for kind, stops in sorted(routes):
            days[self.names[kind][0]][free[kind].pop(0)] = stops
        return Found(days, best.is_feasible() and best.is_complete())


def _sorted(vehicles: Sequence[Vehicle]) -> list[Vehicle]:
    return sorted(vehicles, key=lambda one: one.name)


def _a_second(per_hour: int, scale: int) -> int:
    return (2 * per_hour * scale + 3600) // 7200


def _scale(days: Sequence[Day]) -> int:
    """By how much money is multiplied: towards ABOUT_MONEY, and so that hours cost whole seconds.

    The first factor at which every hourly cost is within RATE_WRONG of the truth; 3,600 always is.
    """
    worth = sum(stop.prize for day in days for stop in day.stops)
    rates = set()
    for day in days:
        for vehicle in day.problem.vehicles:
            rates |= {vehicle.cost_per_hour, vehicle.overtime_cost_per_hour} - {0}
            worth += vehicle.cost + vehicle.cost_per_hour * vehicle.shift_s // 3600
    least = min(3600, max(1, ABOUT_MONEY // max(1, worth)))
    for scale in range(least, 3600):
        if all(
            abs(_a_second(rate, scale) * 3600 - rate * scale) <= RATE_WRONG * rate * scale
            for rate in rates
        ):
            return scale
    return 3600


def same_matrix(one: Matrix, other: Matrix) -> bool:
    """Whether two days are driven on the same roads, as one search over both asks for."""
    return one is other or (one.seconds == other.seconds and one.metres == other.metres)
