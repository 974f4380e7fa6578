"""What holds of every plan, whatever the day."""

import random
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from service.compute.routing import (
    Capacity,
    Depot,
    Done,
    Load,
    Matrix,
    Problem,
    Road,
    Rule,
    Stop,
    Vehicle,
    Window,
    insert,
    plan,
    replan,
    score,
    why,
)
from tests.service.compute.routing.days import HOUR

QUARTER = 900
SKILLS = ("cold", "keys")


@st.composite
def windows(draw: st.DrawFn) -> Window:
    opens = draw(st.integers(20, 70))
    return Window(opens * QUARTER, (opens + draw(st.integers(0, 16))) * QUARTER)


@st.composite
def stops(draw: st.DrawFn, places: int) -> tuple[Stop, ...]:
    count = draw(st.integers(0, 9))
    return tuple(
        Stop(
            f"m{number}",
            draw(st.integers(0, places - 1)),
            draw(st.integers(0, 8)) * 300,
            prize=draw(st.integers(0, 5_000)),
            must_go=draw(st.sampled_from(("", "", "agreed weekly"))),
            windows=tuple(draw(st.lists(windows(), max_size=2))),
            skills=tuple(draw(st.sets(st.sampled_from(SKILLS), max_size=1))),
            load=Load(*(draw(st.integers(0, 5)) for _ in range(3))),
        )
        for number in range(count)
    )


@st.composite
def vehicles(draw: st.DrawFn) -> tuple[Vehicle, ...]:
    limits = st.none() | st.integers(0, 15)
    return tuple(
        Vehicle(
            f"van {number}",
            draw(st.sampled_from(("n", "s"))),
            draw(st.sampled_from(("n", "s"))),
            starts_s=draw(st.integers(5, 9)) * HOUR,
            ends_s=draw(st.integers(10, 20)) * HOUR,
            shift_s=draw(st.integers(0, 8)) * HOUR,
            overtime_s=draw(st.integers(0, 2)) * HOUR,
            capacity=Capacity(draw(limits), draw(limits), draw(limits)),
            skills=tuple(draw(st.sets(st.sampled_from(SKILLS)))),
            cost=draw(st.sampled_from((0, 0, 700))),
            cost_per_km=draw(st.integers(0, 60)),
            cost_per_hour=draw(st.integers(0, 3_000)),
            overtime_cost_per_hour=draw(st.integers(0, 1_500)),
        )
        for number in range(draw(st.integers(0, 3)))
    )


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    """A day in which much may be impossible; the roads need not be symmetric, nor the shortest."""
    places = draw(st.integers(2, 6))
    roads = random.Random(draw(st.integers(0, 10_000)))
    metres = tuple(
        tuple(0 if here == there else roads.randint(0, 40_000) for there in range(places))
        for here in range(places)
    )
    seconds = tuple(tuple(way // 9 for way in row) for row in metres)
    depots = (Depot("n", 0, draw(st.sampled_from((0, 900)))), Depot("s", 1))
    return Problem(
        draw(stops(places)),
        draw(vehicles()),
        depots,
        Matrix(seconds, metres),
        seed=draw(st.integers(0, 5)),
        iterations=40,
    )


@settings(max_examples=80, deadline=None)
@given(problems())
def test_a_plan_breaks_no_rule_and_names_every_must_go_stop_it_leaves(problem: Problem) -> None:
    made = plan(problem)
    faults = score(problem, made).faults
    assert {fault.rule for fault in faults} <= {Rule.MUST_GO}
    assert {fault.stop for fault in faults} == {one.stop for one in made.left}
    assert all(one.rules or not problem.vehicles for one in made.left)
    visited = {name for run in made.runs for name in run.names}
    assert visited | set(made.out) == {stop.name for stop in problem.stops}
    reasons = why(problem, made)
    assert {name for name, reason in reasons.items() if reason.visited} == visited


@settings(max_examples=40, deadline=None)
@given(problems(), st.randoms(use_true_random=False))
def test_the_order_in_which_things_are_given_changes_nothing(
    problem: Problem, shuffle: random.Random
) -> None:
    order = list(range(len(problem.matrix)))
    shuffle.shuffle(order)
    at = {old: new for new, old in enumerate(order)}

    def moved(rows: tuple[tuple[int, ...], ...]) -> tuple[tuple[int, ...], ...]:
        return tuple(tuple(rows[a][b] for b in order) for a in order)

    def mixed(things: tuple) -> tuple:
        return tuple(shuffle.sample(things, len(things)))

    other = replace(
        problem,
        stops=mixed(tuple(replace(stop, place=at[stop.place]) for stop in problem.stops)),
        vehicles=mixed(problem.vehicles),
        depots=mixed(tuple(replace(depot, place=at[depot.place]) for depot in problem.depots)),
        matrix=Matrix(moved(problem.matrix.seconds), moved(problem.matrix.metres)),
    )
    assert plan(other) == plan(problem)


@settings(max_examples=40, deadline=None)
@given(problems(), st.integers(0, 3), st.integers(-600, 1_200), st.data())
def test_a_day_planned_anew_keeps_what_is_done_and_locked(
    problem: Problem, so_many: int, late_s: int, data: st.DataObject
) -> None:
    made = plan(problem)
    done, locked = [], set()
    for run in made.runs:
        done += [
            Done(one.stop, one.arrives_s + max(0, late_s), one.leaves_s + max(0, late_s))
            for one in run.stops[:so_many]
        ]
        rest = run.names[so_many:]
        locked |= set(data.draw(st.sets(st.sampled_from(rest)))) if rest else set()
    now_s = max((one.left_s for one in done), default=0)
    road = Road(now_s, tuple(done), frozenset(locked))
    anew = replan(problem, made, road)
    for run in made.runs:
        again = next((one for one in anew.runs if one.vehicle == run.vehicle), None)
        names = again.names if again else ()
        assert names[: len(run.names[:so_many])] == run.names[:so_many]
        kept = [name for name in run.names if name in locked]
        assert [name for name in names if name in locked] == kept
    # What breaks a rule now is the delay of what is done or locked; nothing was put on top of it.
    worse = {fault.vehicle for fault in score(problem, anew, road).faults if fault.vehicle}
    held = locked | {one.stop for one in done}
    assert worse <= {run.vehicle for run in made.runs if held & set(run.names)}
    # With a second run the last visit done may be late for its beginning.
    if late_s <= 0 and len(made.runs) == 1:
        assert not worse


@settings(max_examples=40, deadline=None)
@given(problems())
def test_the_cheapest_place_for_one_more_stop_is_told_with_what_it_breaks(problem: Problem) -> None:
    made = plan(problem)
    for name in made.out:
        put = insert(problem, made, name)
        assert (put is None) == (not problem.vehicles)
        if put is None:
            continue
        after = score(problem, put.delta.plan)
        before = score(problem, made)
        assert put.delta.cost == after.cost - before.cost
        run = next(run for run in put.delta.plan.runs if run.vehicle == put.vehicle)
        assert run.names[put.at] == name
        assert {fault for fault in after.faults if fault.rule is not Rule.MUST_GO} == set(
            put.delta.faults
        )
