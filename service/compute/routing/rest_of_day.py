"""Planning the rest of a day that has begun."""

from __future__ import annotations

from collections.abc import Sequence

from .day import crowd_in, kept, ordered, planned, told
from .places import Routes
from .problem import Problem
from .results import Plan
from .road import Outset, Road, outsets
from .scoring import score


def replan(problem: Problem, plan: Plan, road: Road) -> Plan:
    """The rest of the day planned anew from where the vehicles stand.

    Done stops keep their times, locked stops their run and their order; what no longer fits is
    left out, the least worthy first, and new must-go stops go in where they cost least. Two plans
    are made, one that keeps the order there was and one searched anew, and the better is given.
    """
    starts = outsets(problem, road, plan)
    done = set(road.done_named)
    orders = {
        run.vehicle: [name for name in run.names if name not in done and name in problem.stop_named]
        for run in plan.runs
        if run.vehicle in problem.vehicle_named
    }
    locked = {
        vehicle: [name for name in order if name in road.locked]
        for vehicle, order in orders.items()
    }
    held = frozenset(name for order in locked.values() for name in order)
    kept_plan = _kept(problem, starts, orders, held)
    anew = _anew(problem, starts, held, locked, done)
    if anew is None:
        return kept_plan
    return max((kept_plan, anew), key=lambda one: _worth(problem, one, road, held))


def _kept(
    problem: Problem,
    starts: dict[str, Outset],
    orders: dict[str, list[str]],
    held: frozenset[str],
) -> Plan:
    routes = Routes(problem, kept(problem, starts, orders, held), starts)
    missing = [s for s in problem.stops if s.must_go and s.name not in routes.visited()]
    crowd_in(routes, missing, held)
    for stop in sorted(problem.stops, key=lambda one: (-one.prize, one.name)):
        if stop.name not in routes.visited():
            best, _ = routes.cheapest(stop)
            if best is not None and best.cost < stop.prize:
                order = routes.orders[best.vehicle]
                routes.put(best.vehicle, (*order[: best.at], stop.name, *order[best.at :]))
    return told(problem, routes)


def _anew(
    problem: Problem,
    starts: dict[str, Outset],
    held: frozenset[str],
    locked: dict[str, list[str]],
    done: set[str],
) -> Plan | None:
    """A plan searched anew; None when it does not keep the locked stops as they are."""
    tied = {name: vehicle for vehicle, names in locked.items() for name in names}
    open_stops = [stop for stop in ordered(problem.stops) if stop.name not in done]
    found = planned(problem, starts, open_stops, tied)
    for vehicle, names in locked.items():
        run = next((run for run in found.runs if run.vehicle == vehicle), None)
        if _among(run.names if run else (), held) != names:
            return None
    return found


def _among(names: Sequence[str], held: frozenset[str]) -> list[str]:
    return [name for name in names if name in held]


def _worth(problem: Problem, plan: Plan, road: Road, held: frozenset[str]) -> tuple[int, int, int]:
    """More is better: locked stops kept, must-go stops served, money."""
    return (
        len(held & {name for run in plan.runs for name in run.names}),
        -len(plan.left),
        score(problem, plan, road).gain,
    )
