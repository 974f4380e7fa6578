"""Why each stop is in a plan or out of it, with what is at stake and what it costs."""

from __future__ import annotations

from .day import impossible
from .places import Routes, Spot
from .problem import Problem, Stop
from .results import Because, Plan, Reason, Rule
from .road import Road


def why(problem: Problem, plan: Plan, road: Road | None = None) -> dict[str, Reason]:
    """The reason of every stop, by name. Times in seconds, money in minor units.

    What a visited stop costs is what leaving it out would save; what another costs is its cheapest
    detour, at a place that keeps every rule where there is one.
    """
    so_far = road or Road()
    routes = Routes.of(problem, plan, so_far)
    return {
        stop.name: _reason(problem, routes, stop, so_far)
        for stop in sorted(problem.stops, key=lambda one: one.name)
    }


def _reason(problem: Problem, routes: Routes, stop: Stop, road: Road) -> Reason:
    if stop.name in road.done_named:
        return _told(stop, Because.DONE, True, None, None, _vehicle(routes, stop), ())
    without = routes.without(stop.name)
    if without is not None:
        vehicle, rest = without
        now = routes.now[vehicle]
        cost, work_s = now.cost - rest.cost, now.work_s - rest.work_s
        if stop.must_go:
            because = Because.MUST_GO
        elif stop.prize >= cost:
            because = Because.WORTH_IT
        else:
            because = Because.KEPT
        return _told(stop, because, True, work_s, cost, vehicle, ())
    rules = impossible(problem, stop, routes.starts)
    if rules is not None:
        return _told(stop, Because.IMPOSSIBLE, False, None, None, "", rules)
    best, least = routes.cheapest(stop)
    if best is not None:
        because = Because.COSTS_MORE if best.cost >= stop.prize else Because.LEFT_OUT
        return _spot(stop, because, best, ())
    if least is None:
        return _told(stop, Because.IMPOSSIBLE, False, None, None, "", ())
    return _spot(stop, Because.NO_ROOM, least, least.rules)


def _vehicle(routes: Routes, stop: Stop) -> str:
    return next((run.vehicle for run in routes.runs() if stop.name in run.names), "")


def _spot(stop: Stop, because: Because, spot: Spot, rules: tuple[Rule, ...]) -> Reason:
    return _told(stop, because, False, spot.work_s, spot.cost, spot.vehicle, rules)


def _told(
    stop: Stop,
    because: Because,
    visited: bool,
    detour_s: int | None,
    detour_cost: int | None,
    vehicle: str,
    rules: tuple[Rule, ...],
) -> Reason:
    return Reason(
        stop=stop.name,
        visited=visited,
        because=because,
        must_go=stop.must_go,
        prize=stop.prize,
        units=stop.units,
        detour_s=detour_s,
        detour_cost=detour_cost,
        vehicle=vehicle,
        rules=rules,
        detail=_detail(because, detour_s, vehicle, rules),
    )


_KEEPS_OUT = {
    Rule.WINDOW: "its windows",
    Rule.SHIFT: "the hours of the shift",
    Rule.CAPACITY: "what the vehicle holds",
    Rule.SKILL: "the skill it asks for",
}


def _detail(because: Because, detour_s: int | None, vehicle: str, rules: tuple[Rule, ...]) -> str:
    minutes = "" if detour_s is None else f"{round(detour_s / 60)} min"
    held = ", ".join(_KEEPS_OUT.get(rule, str(rule)) for rule in rules)
    return {
        Because.DONE: f"Visited by {vehicle}.",
        Because.MUST_GO: f"Has to be visited. It costs {vehicle} {minutes}.",
        Because.WORTH_IT: f"Worth more than the {minutes} it costs {vehicle}.",
        Because.KEPT: f"Worth less than the {minutes} it costs {vehicle}; it was put there.",
        Because.COSTS_MORE: f"Worth less than its cheapest detour, {minutes} of {vehicle}.",
        Because.LEFT_OUT: f"Would pay for its {minutes} of {vehicle}, but is not in the plan.",
        Because.NO_ROOM: f"No room on any run: {held}. Nearest: {minutes} of {vehicle}.",
        Because.IMPOSSIBLE: "No vehicle could visit it that day"
        + (f": {held} stand against it." if held else "."),
    }[because]
