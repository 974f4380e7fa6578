"""A stop put in or moved by hand: what it changes, seen before anybody says yes."""

import pytest

from service.compute.routing import (
    BadProblem,
    Done,
    Move,
    Road,
    Rule,
    Stop,
    Window,
    insert,
    moved,
    plan,
    score,
)
from tests.service.compute.routing.days import HOUR, small, van

# Stops 1 to 3 in a row, 10 km (1,000 s) apart; the yard at 0.
ROW = tuple(Stop(f"m{at}", at, 600, prize=9_000) for at in (1, 2, 3))
MORE = Stop("more", 2, 600)
PROBLEM = small(*ROW, MORE)
PLAN = plan(PROBLEM)


def test_the_plan_to_change() -> None:
    assert PLAN.runs[0].names in (("m1", "m2", "m3"), ("m3", "m2", "m1"))
    assert PLAN.out == ("more",)


def test_a_stop_beside_the_way_costs_its_visit_only() -> None:
    put = insert(PROBLEM, PLAN, "more")
    assert put is not None
    assert put.delta.work_s == 600
    assert put.delta.drive_m == 0
    assert put.delta.cost == 300
    assert put.delta.gain == -300
    assert put.delta.faults == ()
    assert score(PROBLEM, put.delta.plan).faults == ()


def test_a_stop_moved_shows_minutes_and_who_is_reached_later() -> None:
    first = PLAN.runs[0].names[0]
    change = moved(PROBLEM, PLAN, Move(first, "van", 2))
    rest = PLAN.runs[0].names[1:]
    assert change.plan.runs[0].names == (*rest, first)
    assert change.faults == ()
    assert change.work_s == score(PROBLEM, change.plan).work_s - score(PROBLEM, PLAN).work_s
    assert {delay.stop for delay in change.delays} <= {"m1", "m2", "m3"}
    back = moved(PROBLEM, change.plan, Move(first, "van", 0))
    assert back.work_s == -change.work_s
    assert back.plan == PLAN


def test_a_stop_taken_out() -> None:
    change = moved(PROBLEM, PLAN, Move("m3", ""))
    assert set(change.plan.out) == {"m3", "more"}
    assert change.drive_m == -20_000
    assert change.gain == -9_000 - change.cost


def test_what_gets_late_is_named() -> None:
    hours = Stop("m1", 1, 600, prize=9_000, windows=(Window(8 * HOUR, 9 * HOUR),))
    problem = small(hours, Stop("long", 1, 2 * HOUR, prize=9_000))
    made = plan(problem)
    assert made.runs[0].names == ("m1", "long")
    change = moved(problem, made, Move("long", "van", 0))
    assert change.late == ("m1",)
    assert [fault.rule for fault in change.faults] == [Rule.WINDOW]
    assert moved(problem, change.plan, Move("long", "van", 1)).faults == ()


def test_a_shift_that_is_over_is_overrun_yet_more() -> None:
    late = Road(now_s=20 * HOUR)
    evening = moved(PROBLEM, PLAN, Move("m1", "van", 0), late).plan
    (over,) = [one for one in score(PROBLEM, evening, late).faults if one.rule is Rule.SHIFT]
    put = insert(PROBLEM, evening, "more", late)
    assert put is not None
    assert [(one.rule, one.by) for one in put.delta.faults] == [(Rule.SHIFT, over.by + 600)]
    # What changes nothing is not to blame for it.
    assert moved(PROBLEM, evening, Move("m1", "van", 0), late).faults == ()


def test_a_stop_goes_to_another_vehicle() -> None:
    problem = small(*ROW, vehicles=(van("a"), van("b", skills=("cold",))))
    made = plan(problem)
    (run,) = made.runs
    other = "b" if run.vehicle == "a" else "a"
    change = moved(problem, made, Move("m2", other))
    assert change.plan.run_of("m2").vehicle == other
    assert len(change.plan.runs) == 2
    assert change.drive_m == 40_000


def test_where_no_place_keeps_the_rules_the_least_broken_is_given() -> None:
    closed = Stop("closed", 1, 600, windows=(Window(0, HOUR),))
    put = insert(small(*ROW, closed), PLAN, "closed")
    assert put is not None
    assert put.delta.late == ("closed",)
    nobody = insert(small(*ROW, Stop("cold", 1, 600, skills=("cold",))), PLAN, "cold")
    assert nobody is not None
    assert [fault.rule for fault in nobody.delta.faults] == [Rule.SKILL]


def test_nothing_goes_before_what_is_done() -> None:
    first = PLAN.runs[0].stops[0]
    road = Road(first.leaves_s, (Done(first.stop, first.arrives_s, first.leaves_s),))
    put = insert(PROBLEM, PLAN, "more", road)
    assert put is not None
    assert put.at >= 1
    with pytest.raises(BadProblem, match=r"Position 0 .* must be 1 to 3"):
        moved(PROBLEM, PLAN, Move("more", "van", 0), road)
    with pytest.raises(BadProblem, match="was visited already"):
        moved(PROBLEM, PLAN, Move(first.stop, "van", 1), road)


def test_what_cannot_be_moved() -> None:
    with pytest.raises(BadProblem, match="m2 is locked"):
        moved(PROBLEM, PLAN, Move("m2", "van", 0), Road(locked=frozenset({"m2"})))
    with pytest.raises(BadProblem, match="no stop 'moon'"):
        moved(PROBLEM, PLAN, Move("moon", "van", 0))
    with pytest.raises(BadProblem, match="no vehicle 'lorry'"):
        moved(PROBLEM, PLAN, Move("m2", "lorry", 0))
    with pytest.raises(BadProblem, match="m2 is in the plan already"):
        insert(PROBLEM, PLAN, "m2")
