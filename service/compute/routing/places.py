"""Where one more stop costs least on the runs there are, and what it breaks there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from .problem import Problem, Stop, Vehicle
from .results import Plan, PlannedRun, Rule
from .road import Outset, Road, outsets
from .timing import Timed, timed


@dataclass(frozen=True)
class Spot:
    """A stop put before position `at` of what a vehicle still has to do."""

    vehicle: str
    at: int
    after: Timed
    cost: int
    drive_s: int
    work_s: int
    faults: int

    @property
    def rules(self) -> tuple[Rule, ...]:
        """The rules that the run then breaks."""
        return tuple(sorted({fault.rule for fault in self.after.faults}))


class Routes:
    """The orders of stops of a day's vehicles, and where each vehicle stands."""

    def __init__(
        self,
        problem: Problem,
        orders: Mapping[str, Sequence[str]],
        starts: Mapping[str, Outset],
    ) -> None:
        self.problem, self.starts = problem, starts
        self.orders = {name: tuple(orders.get(name, ())) for name in starts}
        self.now = {name: self.timed(name, order) for name, order in self.orders.items()}

    @classmethod
    def of(cls, problem: Problem, plan: Plan, road: Road) -> Routes:
        """The routes of a plan; only what is not yet done is in the orders."""
        orders = {
            run.vehicle: [name for name in run.names if name not in road.done_named]
            for run in plan.runs
        }
        return cls(problem, orders, outsets(problem, road, plan))

    def timed(self, vehicle: str, order: Iterable[str]) -> Timed:
        return timed(
            self.problem,
            self.problem.vehicle_named[vehicle],
            [self.problem.stop_named[name] for name in order],
            self.starts[vehicle],
        )

    def put(self, vehicle: str, order: Sequence[str]) -> None:
        """Give a vehicle another order."""
        self.orders[vehicle] = tuple(order)
        self.now[vehicle] = self.timed(vehicle, order)

    def without(self, stop: str) -> tuple[str, Timed] | None:
        """The vehicle that visits a stop, and its run if it did not."""
        for vehicle, order in self.orders.items():
            if stop in order:
                return vehicle, self.timed(vehicle, [name for name in order if name != stop])
        return None

    def spots(self, stop: Stop, vehicle: str | None = None) -> Iterable[Spot]:
        """Every place of every run, or of one vehicle's, at which the stop could be put.

        Where it is on the run it is not counted.
        """
        for name, whole in self.orders.items():
            if vehicle not in (None, name):
                continue
            order = tuple(one for one in whole if one != stop.name)
            before = self.now[name]
            for at in range(len(order) + 1):
                after = self.timed(name, (*order[:at], stop.name, *order[at:]))
                yield Spot(
                    vehicle=name,
                    at=at,
                    after=after,
                    cost=after.cost - before.cost,
                    drive_s=_driving(after, self.problem) - _driving(before, self.problem),
                    work_s=after.work_s - before.work_s,
                    faults=sum(fault.by for fault in after.faults)
                    - sum(fault.by for fault in before.faults),
                )

    def cheapest(self, stop: Stop) -> tuple[Spot | None, Spot | None]:
        """The cheapest place that breaks no rule, and the one that breaks least."""
        best: Spot | None = None
        least: Spot | None = None
        for spot in self.spots(stop):
            broken = len(spot.after.faults) - len(self.now[spot.vehicle].faults)
            if broken <= 0 and spot.faults <= 0 and (best is None or _rank(spot) < _rank(best)):
                best = spot
            if least is None or (len(spot.rules), *_rank(spot)) < (len(least.rules), *_rank(least)):
                least = spot
        return best, least

    def runs(self) -> tuple[PlannedRun, ...]:
        """The runs there are, by vehicle; one without a stop, done or to do, is none."""
        return tuple(timing.run for _, timing in sorted(self.now.items()) if timing.run.stops)

    def visited(self) -> set[str]:
        return {name for run in self.runs() for name in run.names}


def _rank(spot: Spot) -> tuple[int, int, str, int]:
    return (spot.cost, spot.work_s, spot.vehicle, spot.at)


def _driving(run: Timed, problem: Problem) -> int:
    """Seconds driven on a run, the way back included."""
    if not run.run.stops:
        return 0
    last = run.run.stops[-1]
    vehicle: Vehicle = problem.vehicle_named[run.run.vehicle]
    back = problem.depot_named[vehicle.end_depot].place
    return (
        sum(one.drive_s for one in run.run.stops)
        + problem.matrix.seconds[problem.stop_named[last.stop].place][back]
    )
