"""What taking on one more stop would mean for each vehicle of a day, one answer for each."""

from __future__ import annotations

from dataclasses import dataclass, replace

from .change import difference
from .places import Routes, Spot
from .problem import BadProblem, Problem, Stop
from .results import Delta, Plan, PlannedRun, PlannedStop
from .road import Road


@dataclass(frozen=True)
class Offer:
    """A stop on a vehicle's run, before position `at` counted from its first stop, done ones
    included; what that does to the runs it touches, and when the visit would be."""

    stop: str
    vehicle: str
    at: int
    visit: PlannedStop
    run: PlannedRun
    delta: Delta


def offers(
    problem: Problem, plan: Plan, stop: str, road: Road | None = None, *, more_s: int = 0
) -> tuple[Offer, ...]:
    """Each vehicle's cheapest way to visit a stop, in the order of the vehicles' names.

    A stop that is in the plan takes `more_s` longer: its own run keeps its order, every other would
    take the stop over whole. Where no place on a run keeps every rule, the one that breaks fewest
    is given, with its faults. Done and locked stops stay where they are, so for a stop that is one
    of them there is only its own run. Raises BadProblem when the stop is not of this problem.
    """
    so_far = road or Road()
    wanted = problem.stop_named.get(stop)
    if wanted is None:
        raise BadProblem(f"There is no stop {stop!r}.")
    then = _with(problem, replace(wanted, service_s=wanted.service_s + more_s))
    home = plan.run_of(stop)
    fixed = stop in so_far.done_named or stop in so_far.locked
    routes = Routes.of(then, plan, so_far)
    before = {run.vehicle: run for run in plan.runs}
    lifted: PlannedRun | None = None
    if home is not None and stop not in so_far.done_named:
        without = routes.without(stop)
        lifted = without[1].run if without else None
    found = []
    for vehicle in sorted(before.keys() | routes.starts.keys()):
        if home is not None and vehicle == home.vehicle:
            spot_run, at = _longer(routes, home, stop, more_s, so_far), home.names.index(stop)
            runs = [spot_run]
        elif fixed:
            continue
        else:
            spot = _cheapest(routes, vehicle, then.stop_named[stop])
            spot_run, at = spot.after.run, len(routes.starts[vehicle].done) + spot.at
            runs = [spot_run, *([lifted] if lifted else [])]
        touched = [before[one.vehicle] for one in runs if one.vehicle in before]
        delta = difference(
            problem,
            Plan(tuple(touched)),
            Plan(tuple(one for one in runs if one.stops)),
            so_far,
            then,
        )
        visit = next(one for one in spot_run.stops if one.stop == stop)
        found.append(Offer(stop, vehicle, at, visit, spot_run, delta))
    return tuple(found)


def _with(problem: Problem, stop: Stop) -> Problem:
    stops = tuple(stop if one.name == stop.name else one for one in problem.stops)
    return replace(problem, stops=stops)


def _longer(routes: Routes, home: PlannedRun, stop: str, more_s: int, road: Road) -> PlannedRun:
    """Its own run with the longer visit; a visit that is under way ends so much later."""
    if stop not in road.done_named:
        return routes.timed(home.vehicle, routes.orders[home.vehicle]).run
    later = {
        one.stop: replace(one, left_s=one.left_s + more_s) if one.stop == stop else one
        for one in road.done
    }
    then = replace(road, done=tuple(later.values()))
    return Routes.of(routes.problem, Plan((home,)), then).now[home.vehicle].run


def _cheapest(routes: Routes, vehicle: str, stop: Stop) -> Spot:
    """The cheapest place that breaks no rule; without one, the place that breaks least."""

    def rank(spot: Spot) -> tuple[int, int, int, int, int]:
        broken = max(0, len(spot.after.faults) - len(routes.now[vehicle].faults))
        return (broken, max(0, spot.faults), spot.cost, spot.work_s, spot.at)

    return min(routes.spots(stop, vehicle), key=rank)
