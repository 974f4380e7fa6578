"""Planning a day: the search, then every run timed anew, and what could not be served told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from .places import Routes
from .problem import Problem, Stop
from .results import Left, Plan, Rule
from .road import Outset, Road, outsets
from .solver import Day, search
from .timing import timed

# Chosen by measuring: 60 stops take about 2 s and 200 about 10 s on one core of an ordinary
# server, and more iterations gain next to nothing (tests/bench/bench_runs.py).
ITERATIONS_LEAST, ITERATIONS_A_STOP, ITERATIONS_MOST = 500, 25, 8000


def iterations_for(stops: int) -> int:
    """How long to search for so many stops, when nobody says."""
    return max(ITERATIONS_LEAST, min(ITERATIONS_MOST, ITERATIONS_A_STOP * stops))


def plan(problem: Problem) -> Plan:
    """The runs of a day that earn most: prizes of the visits less what the runs cost.

    Must-go stops are visited whatever they are worth. Where not all of them can be (no window, no
    hours, no room, no skill), as many are as can, and `left` names the others and why.
    """
    starts = outsets(problem, Road(), None)
    return planned(problem, starts, ordered(problem.stops))


def planned(
    problem: Problem,
    starts: Mapping[str, Outset],
    stops: Sequence[Stop],
    tied: Mapping[str, str] | None = None,
) -> Plan:
    """A plan for the vehicles as they stand. `tied` stops may be visited by one vehicle only."""
    alone = {stop.name: impossible(problem, stop, starts) for stop in stops}
    asked = tuple(stop for stop in stops if alone[stop.name] is None)
    must = frozenset(stop.name for stop in asked if stop.must_go)
    day = Day(problem, starts, asked, must, tied or {})
    iterations = problem.iterations or iterations_for(len(asked))
    found = search([day], seed=problem.seed, iterations=iterations)
    if not found.feasible and must:
        # Not every must-go stop can be served. Each is now worth more than any day costs, so that
        # as many as can be are.
        found = search(
            [day], seed=problem.seed, iterations=iterations, must_worth=must_worth(problem)
        )
    routes = Routes(problem, kept(problem, starts, found.days[0]), starts)
    missing = [stop for stop in asked if stop.must_go and stop.name not in routes.visited()]
    crowd_in(routes, missing)
    return told(problem, routes)


def told(problem: Problem, routes: Routes) -> Plan:
    """The plan that these routes make, with what is left of must-go stops explained."""
    visited = routes.visited()
    out = sorted(stop.name for stop in problem.stops if stop.name not in visited)
    left = tuple(
        why_left(problem, routes, problem.stop_named[name])
        for name in out
        if problem.stop_named[name].must_go
    )
    return Plan(routes.runs(), tuple(out), left)


def must_worth(problem: Problem) -> int:
    """More than any day of this problem could cost or earn, in minor units."""
    longest_m = max((max(row, default=0) for row in problem.matrix.metres), default=0)
    costs = max(
        (
            vehicle.cost
            + vehicle.cost_per_km * longest_m * 2 // 1000
            + (vehicle.cost_per_hour + vehicle.overtime_cost_per_hour)
            * (vehicle.shift_s + vehicle.overtime_s)
            // 3600
            for vehicle in problem.vehicles
        ),
        default=0,
    )
    return 1 + costs + sum(stop.prize for stop in problem.stops)


def impossible(
    problem: Problem, stop: Stop, starts: Mapping[str, Outset]
) -> tuple[Rule, ...] | None:
    """The rules by which no vehicle could visit a stop even alone; None when one could."""
    rules: set[Rule] = set()
    for name, outset in starts.items():
        faults = timed(problem, problem.vehicle_named[name], [stop], outset).faults
        if not faults:
            return None
        rules |= {fault.rule for fault in faults}
    return tuple(sorted(rules))


def kept(
    problem: Problem,
    starts: Mapping[str, Outset],
    found: Mapping[str, Sequence[str]],
    held: frozenset[str] = frozenset(),
) -> dict[str, tuple[str, ...]]:
    """The orders found, less the stops by which one would break a rule.

    A search that ended without a plan that keeps every rule returns one that does not; the stop
    that can best be spared goes first, a must-go stop last. Those in `held` stay whatever they
    break.
    """
    orders: dict[str, tuple[str, ...]] = {}
    for vehicle, order in sorted(found.items()):
        kept_order = list(order)
        while not held.issuperset(kept_order):
            stops = [problem.stop_named[name] for name in kept_order]
            if not timed(problem, problem.vehicle_named[vehicle], stops, starts[vehicle]).faults:
                break
            kept_order.remove(_spared(problem, vehicle, kept_order, starts[vehicle], held))
        orders[vehicle] = tuple(kept_order)
    return orders


def _spared(
    problem: Problem, vehicle: str, order: Sequence[str], outset: Outset, held: frozenset[str]
) -> str:
    """The stop without which a run breaks least, an optional one before a must-go one."""

    def without(name: str) -> tuple[int, bool, int, str]:
        rest = [problem.stop_named[other] for other in order if other != name]
        faults = timed(problem, problem.vehicle_named[vehicle], rest, outset).faults
        stop = problem.stop_named[name]
        return (len(faults), bool(stop.must_go), stop.prize, name)

    return min((name for name in order if name not in held), key=without)


def crowd_in(routes: Routes, missing: Iterable[Stop], held: frozenset[str] = frozenset()) -> None:
    """Put must-go stops in where they cost least, if need be in place of optional ones."""
    for stop in sorted(missing, key=lambda one: one.name):
        best, _ = routes.cheapest(stop)
        if best is not None:
            order = routes.orders[best.vehicle]
            routes.put(best.vehicle, (*order[: best.at], stop.name, *order[best.at :]))
            continue
        instead = _instead(routes, stop, held)
        if instead is not None:
            routes.put(*instead)


def _instead(
    routes: Routes, stop: Stop, held: frozenset[str]
) -> tuple[str, tuple[str, ...]] | None:
    """The order in which the stop takes the place of the least worthy optional stop."""
    stops = routes.problem.stop_named
    best: tuple[int, int, str, tuple[str, ...]] | None = None
    for vehicle, order in routes.orders.items():
        for spared in order:
            if stops[spared].must_go or spared in held:
                continue
            rest = [name for name in order if name != spared]
            for at in range(len(rest) + 1):
                after = (*rest[:at], stop.name, *rest[at:])
                timing = routes.timed(vehicle, after)
                key = (stops[spared].prize, timing.cost, vehicle, after)
                if not timing.faults and (best is None or key < best):
                    best = key
    return None if best is None else (best[2], best[3])


def why_left(problem: Problem, routes: Routes, stop: Stop) -> Left:
    """Why a must-go stop is in no run."""
    if not problem.vehicles:
        return Left(stop.name, stop.must_go, (), "There is no vehicle that day.")
    rules = impossible(problem, stop, routes.starts)
    if rules is not None:
        return Left(
            stop.name,
            stop.must_go,
            rules,
            f"No vehicle could visit {stop.name} even with nothing else to do: "
            + "; ".join(_said(rule) for rule in rules)
            + ".",
        )
    _, least = routes.cheapest(stop)
    rules = least.rules if least else ()
    return Left(
        stop.name,
        stop.must_go,
        rules,
        f"{stop.name} finds no room beside the other must-go stops: "
        + "; ".join(_said(rule) for rule in rules)
        + ".",
    )


def _said(rule: Rule) -> str:
    return {
        Rule.WINDOW: "its windows cannot be met",
        Rule.SHIFT: "the hours of the shift do not suffice",
        Rule.CAPACITY: "the load is more than fits",
        Rule.SKILL: "nobody has the skill it asks for",
    }.get(rule, str(rule))


def ordered(stops: Iterable[Stop]) -> list[Stop]:
    """By name, so that the order in which stops are given means nothing."""
    return sorted(stops, key=lambda one: one.name)
