"""What a plan of runs is made from: stops, vehicles, depots and travel.

Times are whole seconds after the day's midnight (a run may end past 86,400), distances whole
metres, money whole minor units of the business's currency. Everything is an integer, so that the
same question has the same answer on every machine.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

# A figure beyond these is a slip (a unit mistaken, a moment given for a length of time), and
# would drown every other figure of the plan.
MOST_SECONDS = 7 * 86_400
MOST_METRES = 10_000_000
MOST_MONEY = 10_000_000
MOST_LOAD = 1_000_000_000


class BadProblem(ValueError):
    """A problem that cannot be planned as it stands: what, where, and what would be right."""


def _require(value: int, most: int, what: str) -> None:
    if not 0 <= value <= most:
        raise BadProblem(f"{what} is {value}; it must be 0 to {most}.")


@dataclass(frozen=True)
class Window:
    """When a stop can be visited: the whole visit lies in `[opens_s, closes_s]`."""

    opens_s: int
    closes_s: int

    def __post_init__(self) -> None:
        _require(self.opens_s, MOST_SECONDS, "A window's opening")
        _require(self.closes_s, MOST_SECONDS, "A window's closing")
        if self.closes_s < self.opens_s:
            raise BadProblem(f"A window closes at {self.closes_s} s, before it opens.")


@dataclass(frozen=True)
class Load:
    """What a visit brings out of the vehicle."""

    volume_ml: int = 0
    weight_g: int = 0
    cases: int = 0

    def __post_init__(self) -> None:
        for what, value in self.parts():
            _require(value, MOST_LOAD, f"A load's {what}")

    def parts(self) -> tuple[tuple[str, int], ...]:
        """Each measure with its name, in a fixed order."""
        return (
            ("volume_ml", self.volume_ml),
            ("weight_g", self.weight_g),
            ("cases", self.cases),
        )

    def __add__(self, other: Load) -> Load:
        return Load(
            self.volume_ml + other.volume_ml,
            self.weight_g + other.weight_g,
            self.cases + other.cases,
        )


@dataclass(frozen=True)
class Capacity:
    """What a vehicle holds; a measure left out (None) does not limit it."""

    volume_ml: int | None = None
    weight_g: int | None = None
    cases: int | None = None

    def __post_init__(self) -> None:
        for what, value in self.parts():
            if value is not None:
                _require(value, MOST_LOAD, f"A capacity's {what}")

    def parts(self) -> tuple[tuple[str, int | None], ...]:
        """Each measure with its name, in the order of `Load.parts`."""
        return (
            ("volume_ml", self.volume_ml),
            ("weight_g", self.weight_g),
            ("cases", self.cases),
        )

    def exceeded(self, load: Load) -> tuple[tuple[str, int], ...]:
        """By which measures a load is too much, and by how much."""
        return tuple(
            (what, carried - most)
            for (what, carried), (_, most) in zip(load.parts(), self.parts(), strict=True)
            if most is not None and carried > most
        )

    def less(self, load: Load) -> Capacity:
        """What is left of it beside a load (never below nothing)."""
        return Capacity(
            *(
                None if most is None else max(0, most - carried)
                for (_, carried), (_, most) in zip(load.parts(), self.parts(), strict=True)
            )
        )


@dataclass(frozen=True)
class Stop:
    """A visit that could be made.

    `name` tells stops apart; `place` is its row of the matrix. `prize` is what the visit is worth
    (money saved by going now and not at the next chance), `units` what is at stake (passed
    through into the reasons). `must_go` holds the reason why it may not be left out; empty when
    it may. No windows: any time of the day.
    """

    name: str
    place: int
    service_s: int
    prize: int = 0
    units: float = 0.0
    must_go: str = ""
    windows: tuple[Window, ...] = ()
    skills: tuple[str, ...] = ()
    load: Load = Load()

    def __post_init__(self) -> None:
        if not self.name:
            raise BadProblem("A stop has no name.")
        _require(self.service_s, MOST_SECONDS, f"The service time of stop {self.name}")
        _require(self.prize, MOST_MONEY, f"The prize of stop {self.name}")


@dataclass(frozen=True)
class Depot:
    """Where runs begin and end. `loading_s` is spent there before a run leaves."""

    name: str
    place: int
    loading_s: int = 0

    def __post_init__(self) -> None:
        _require(self.loading_s, MOST_SECONDS, f"The loading time of depot {self.name}")


@dataclass(frozen=True)
class Vehicle:
    """A vehicle with its driver for the day.

    The run (loading included) lies in `[starts_s, ends_s]`. `shift_s` of work are paid at
    `cost_per_hour`; up to `overtime_s` more at that and `overtime_cost_per_hour` beside it. `cost`
    is what taking the vehicle out costs at all. Money in minor units.
    """

    name: str
    start_depot: str
    end_depot: str
    starts_s: int
    ends_s: int
    shift_s: int
    overtime_s: int = 0
    capacity: Capacity = Capacity()
    skills: tuple[str, ...] = ()
    cost: int = 0
    cost_per_km: int = 0
    cost_per_hour: int = 0
    overtime_cost_per_hour: int = 0

    def __post_init__(self) -> None:
        if not self.name:
            raise BadProblem("A vehicle has no name.")
        whose = f"of vehicle {self.name}"
        for what, value, most in (
            ("start", self.starts_s, MOST_SECONDS),
            ("end", self.ends_s, MOST_SECONDS),
            ("shift", self.shift_s, MOST_SECONDS),
            ("overtime", self.overtime_s, MOST_SECONDS),
            ("cost", self.cost, MOST_MONEY),
            ("cost per km", self.cost_per_km, MOST_MONEY),
            ("cost per hour", self.cost_per_hour, MOST_MONEY),
            ("cost per hour of overtime", self.overtime_cost_per_hour, MOST_MONEY),
        ):
            _require(value, most, f"The {what} {whose}")
        if self.ends_s < self.starts_s:
            raise BadProblem(f"The day {whose} ends at {self.ends_s} s, before it starts.")


@dataclass(frozen=True)
class Matrix:
    """Driving between places, `[from][to]`, parking at a stop included; `basis` says whence."""

    seconds: tuple[tuple[int, ...], ...]
    metres: tuple[tuple[int, ...], ...]
    basis: str = "given"

    def __post_init__(self) -> None:
        size = len(self.seconds)
        for what, rows, most in (
            ("seconds", self.seconds, MOST_SECONDS),
            ("metres", self.metres, MOST_METRES),
        ):
            if len(rows) != size:
                raise BadProblem("The matrix has not as many rows of metres as of seconds.")
            for at, row in enumerate(rows):
                if len(row) != size:
                    raise BadProblem(f"Row {at} of the {what} has {len(row)} entries, not {size}.")
                if row and not (min(row) >= 0 and max(row) <= most):
                    raise BadProblem(f"Row {at} of the {what} has one outside 0 to {most}.")

    def __len__(self) -> int:
        return len(self.seconds)


@dataclass(frozen=True)
class Problem:
    """One day to plan. The order of stops and vehicles means nothing; `seed` and `iterations`
    (None: as many as the number of stops asks for) settle the search, and nothing else does.
    """

    stops: tuple[Stop, ...]
    vehicles: tuple[Vehicle, ...]
    depots: tuple[Depot, ...]
    matrix: Matrix
    seed: int = 0
    iterations: int | None = None

    def __post_init__(self) -> None:
        _unlike("stop", (stop.name for stop in self.stops))
        _unlike("vehicle", (vehicle.name for vehicle in self.vehicles))
        _unlike("depot", (depot.name for depot in self.depots))
        places = [(f"stop {stop.name}", stop.place) for stop in self.stops]
        places += [(f"depot {depot.name}", depot.place) for depot in self.depots]
        for whose, place in places:
            if not 0 <= place < len(self.matrix):
                raise BadProblem(
                    f"The place of {whose} is {place}; the matrix has {len(self.matrix)} places."
                )
        depots = {depot.name for depot in self.depots}
        for vehicle in self.vehicles:
            for name in (vehicle.start_depot, vehicle.end_depot):
                if name not in depots:
                    raise BadProblem(f"Vehicle {vehicle.name} names no depot given: {name!r}.")
        if self.iterations is not None and self.iterations < 1:
            raise BadProblem("At least one iteration must be made.")

    @cached_property
    def stop_named(self) -> dict[str, Stop]:
        return {stop.name: stop for stop in self.stops}

    @cached_property
    def vehicle_named(self) -> dict[str, Vehicle]:
        return {vehicle.name: vehicle for vehicle in self.vehicles}

    @cached_property
    def depot_named(self) -> dict[str, Depot]:
        return {depot.name: depot for depot in self.depots}


def _unlike(what: str, names: Iterable[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise BadProblem(f"Two {what}s are named {name!r}.")
        seen.add(name)
