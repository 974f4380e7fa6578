"""Planning a week in one search: each stop on the day on which it does the most good."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from .day import crowd_in, impossible, iterations_for, kept, must_worth, told
from .places import Routes
from .problem import BadProblem, Problem, Stop
from .results import Left, Plan, WeekPlan
from .road import Outset, Road, outsets
from .solver import Day, Found, same_matrix, search

# Above about so many stops the search of a whole week does better from the plans of its days than
# from a start of its own (measured on invented weeks; no published source).
WARM_ABOVE = 150


def plan_week(days: Sequence[Problem]) -> WeekPlan:
    """The plans of several days that together earn most.

    A stop named on several days is visited on one of them at most; its prize, windows and load are
    those of the day. One that is must-go on any day has to be visited on a day not later than the
    last on which it is. Vehicles and depots are each day's own. `seed` and `iterations` are the
    first day's. Raises BadProblem when the days do not share one matrix, or one name means two
    places.
    """
    _require_alike(days)
    if not days:
        return WeekPlan(())
    starts = [outsets(day, Road(), None) for day in days]
    asked = _asked(days, starts)
    must = frozenset(stop.name for day in days for stop in day.stops if stop.must_go)
    questions = [
        Day(day, starts[at], asked[at], must & {stop.name for stop in asked[at]})
        for at, day in enumerate(days)
    ]
    names = {stop.name for stops in asked for stop in stops}
    iterations = days[0].iterations or iterations_for(len(names) * 2)
    warm = None
    if len(names) > WARM_ABOVE:
        warm = _day_by_day(questions, days[0].seed, max(1, iterations // (2 * len(days))))
    found = _search(questions, days, iterations, warm)
    routes = [
        Routes(day, kept(day, starts[at], found.days[at]), starts[at])
        for at, day in enumerate(days)
    ]
    _crowd_in(days, asked, routes, must)
    return _told(days, routes, must)


def _search(
    questions: Sequence[Day],
    days: Sequence[Problem],
    iterations: int,
    warm: Sequence[Mapping[str, Sequence[str]]] | None,
) -> Found:
    found = search(questions, seed=days[0].seed, iterations=iterations, warm=warm)
    if found.feasible or not any(question.must for question in questions):
        return found
    worth = max(must_worth(day) for day in days)
    return search(questions, seed=days[0].seed, iterations=iterations, warm=warm, must_worth=worth)


def _require_alike(days: Sequence[Problem]) -> None:
    places: dict[str, int] = {}
    for number, day in enumerate(days):
        if not same_matrix(days[0].matrix, day.matrix):
            raise BadProblem(f"Day {number} has another matrix; a week needs one for all its days.")
        for stop in day.stops:
            if places.setdefault(stop.name, stop.place) != stop.place:
                raise BadProblem(
                    f"Stop {stop.name} is at place {stop.place} on day {number},"
                    f" and at {places[stop.name]} before."
                )


def _asked(
    days: Sequence[Problem], starts: Sequence[Mapping[str, Outset]]
) -> list[tuple[Stop, ...]]:
    """The stops in question on each day: possible, and not after the last day they must be on."""
    last: dict[str, int] = {}
    for number, day in enumerate(days):
        last |= {stop.name: number for stop in day.stops if stop.must_go}
    return [
        tuple(
            stop
            for stop in sorted(day.stops, key=lambda one: one.name)
            if number <= last.get(stop.name, number)
            and impossible(day, stop, starts[number]) is None
        )
        for number, day in enumerate(days)
    ]


def _day_by_day(
    questions: Sequence[Day], seed: int, iterations: int
) -> list[dict[str, tuple[str, ...]]]:
    """The days planned one after another, each without what the days before have visited."""
    visited: set[str] = set()
    orders: list[dict[str, tuple[str, ...]]] = []
    for number, question in enumerate(questions):
        later = {stop.name for rest in questions[number + 1 :] for stop in rest.stops}
        stops = tuple(stop for stop in question.stops if stop.name not in visited)
        due = frozenset(
            stop.name for stop in stops if stop.name in question.must and stop.name not in later
        )
        worth = must_worth(question.problem)
        found = search(
            [replace(question, stops=stops, must=due)],
            seed=seed,
            iterations=iterations,
            must_worth=worth,
        )
        orders.append(kept(question.problem, question.outsets, found.days[0]))
        visited |= {name for order in orders[-1].values() for name in order}
    return orders


def _crowd_in(
    days: Sequence[Problem],
    asked: Sequence[Sequence[Stop]],
    routes: Sequence[Routes],
    must: frozenset[str],
) -> None:
    """Must-go stops that the search left, put in on the first day that has room for them."""
    for number in range(len(days)):
        visited = {name for one in routes for name in one.visited()}
        missing = [s for s in asked[number] if s.name in must and s.name not in visited]
        crowd_in(routes[number], missing)


def _told(days: Sequence[Problem], routes: Sequence[Routes], must: frozenset[str]) -> WeekPlan:
    visited = {name for one in routes for name in one.visited()}
    plans: list[Plan] = []
    left: dict[str, Left] = {}
    for day, one in zip(days, routes, strict=True):
        made = told(day, one)
        missing = tuple(reason for reason in made.left if reason.stop not in visited)
        left |= {reason.stop: reason for reason in missing}
        plans.append(Plan(made.runs, made.out, missing))
    return WeekPlan(tuple(plans), tuple(left[name] for name in sorted(left) if name in must))
