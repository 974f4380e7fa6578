"""Planning a day: what is worth it, what must go, and what cannot be done."""

from dataclasses import replace

import pytest

from service.compute.routing import (
    BadProblem,
    Because,
    Capacity,
    Depot,
    Load,
    Matrix,
    Problem,
    Rule,
    Stop,
    Window,
    plan,
    score,
    why,
)
from tests.service.compute.routing.days import HOUR, invented_day, small, van

# 10 km there and back: 10.00 for the way and 2,000 s of driving, 10.00.
WAY = 2_000


def test_a_stop_is_visited_when_it_is_worth_its_way() -> None:
    worth, not_worth = Stop("mill", 1, 0, prize=WAY + 1), Stop("mill", 1, 0, prize=WAY - 1)
    assert plan(small(worth)).runs[0].names == ("mill",)
    left = plan(small(not_worth))
    assert (left.runs, left.out, left.left) == ((), ("mill",), ())


def test_a_must_go_stop_is_visited_whatever_it_is_worth() -> None:
    stop = Stop("mill", 1, 0, must_go="agreed weekly")
    made = plan(small(stop))
    assert made.runs[0].names == ("mill",)
    reason = why(small(stop), made)["mill"]
    assert reason.because is Because.MUST_GO
    assert (reason.detour_s, reason.detour_cost) == (2_000, WAY)
    assert reason.must_go == "agreed weekly"
    assert reason.detail.startswith("Has to be visited. ")


def test_nobody_waits_for_a_window() -> None:
    stop = Stop("mill", 1, 600, prize=9_000, windows=(Window(10 * HOUR, 11 * HOUR),))
    run = plan(small(stop)).runs[0]
    assert run.starts_s == 10 * HOUR - 1_000
    assert run.stops[0].arrives_s == run.stops[0].begins_s == 10 * HOUR


def test_the_later_of_two_windows_saves_waiting() -> None:
    early_or_late = Stop(
        "mill",
        1,
        600,
        prize=9_000,
        windows=(Window(8 * HOUR, 9 * HOUR), Window(13 * HOUR, 14 * HOUR)),
    )
    late = Stop("school", 2, 600, prize=9_000, windows=(Window(14 * HOUR, 15 * HOUR),))
    run = plan(small(early_or_late, late)).runs[0]
    assert run.names == ("mill", "school")
    assert run.stops[0].begins_s >= 13 * HOUR
    assert run.ends_s - run.starts_s == 4_000 + 1_200


def test_skills_and_depots_are_kept() -> None:
    stops = (
        Stop("north", 1, 600, prize=9_000, skills=("cold",)),
        Stop("south", 2, 600, prize=9_000),
    )
    # The two yards lie beside one stop each, 50 km apart.
    metres = ((0, 50_000, 1_000, 50_000), (50_000, 0, 50_000, 1_000))
    square = (
        metres[0],
        metres[1],
        (1_000, 50_000, 0, 50_000),
        (50_000, 1_000, 50_000, 0),
    )
    places = (replace(stops[0], place=2), replace(stops[1], place=3))
    problem = Problem(
        places,
        (
            van("a", start_depot="n", end_depot="n", skills=("cold",)),
            van("b", start_depot="s", end_depot="s"),
        ),
        (Depot("n", 0), Depot("s", 1)),
        Matrix(tuple(tuple(way // 10 for way in row) for row in square), square),
        iterations=200,
    )
    made = plan(problem)
    assert {run.vehicle: run.names for run in made.runs} == {"a": ("north",), "b": ("south",)}
    # The skill is nobody's: the stop is out, and it is told why.
    without = replace(problem, vehicles=tuple(replace(v, skills=()) for v in problem.vehicles))
    assert plan(without).out == ("north",)
    assert why(without, plan(without))["north"].rules == (Rule.SKILL,)


def test_loading_takes_its_time_of_the_shift() -> None:
    stop = Stop("mill", 1, 600, prize=9_000)
    problem = replace(small(stop, vehicles=(van(shift_s=2_600),)), depots=(Depot("yard", 0),))
    assert plan(problem).runs[0].ends_s - plan(problem).runs[0].starts_s == 2_600
    assert plan(replace(problem, depots=(Depot("yard", 0, 1),))).runs == ()


@pytest.mark.parametrize(
    ("stop", "vehicle", "rule"),
    [
        ({"windows": (Window(0, HOUR),)}, {}, Rule.WINDOW),
        ({"windows": (Window(9 * HOUR, 9 * HOUR + 59),)}, {}, Rule.WINDOW),
        ({"service_s": 9 * HOUR}, {}, Rule.SHIFT),
        ({"load": Load(cases=9)}, {"capacity": Capacity(cases=8)}, Rule.CAPACITY),
        ({"skills": ("cold",)}, {}, Rule.SKILL),
    ],
)
def test_a_must_go_stop_that_no_vehicle_can_visit(stop: dict, vehicle: dict, rule: Rule) -> None:
    cannot = replace(Stop("mill", 1, 60, must_go="agreed weekly"), **stop)
    can = Stop("school", 2, 60, must_go="a ticket")
    problem = small(cannot, can, vehicles=(van(**vehicle),))
    made = plan(problem)
    assert made.runs[0].names == ("school",)
    assert [(one.stop, one.must_go, one.rules) for one in made.left] == [
        ("mill", "agreed weekly", (rule,))
    ]
    assert made.left[0].detail
    assert why(problem, made)["mill"].because is Because.IMPOSSIBLE
    assert {fault.rule for fault in score(problem, made).faults} == {Rule.MUST_GO}


def test_of_too_many_must_go_stops_the_most_are_served() -> None:
    # A shift holds three hours of visits beside the way; two of one hour go in, one of three not.
    stops = (
        Stop("long", 1, 3 * HOUR, prize=9_000, must_go="agreed weekly"),
        Stop("one", 1, HOUR, must_go="agreed weekly"),
        Stop("two", 1, HOUR, must_go="agreed weekly"),
        Stop("three", 1, HOUR, must_go="agreed weekly"),
        Stop("rich", 1, HOUR, prize=90_000),
    )
    problem = small(*stops, vehicles=(van(shift_s=3 * HOUR + 2_000),))
    made = plan(problem)
    assert sorted(made.runs[0].names) == ["one", "three", "two"]
    assert [one.stop for one in made.left] == ["long"]
    assert made.left[0].rules == (Rule.SHIFT,)
    assert why(problem, made)["rich"].because is Because.NO_ROOM


def test_nothing_to_plan_with() -> None:
    stop = Stop("mill", 1, 60, must_go="agreed weekly")
    alone = replace(small(stop), vehicles=())
    made = plan(alone)
    assert made.runs == ()
    assert made.left[0].detail == "There is no vehicle that day."
    assert why(alone, made)["mill"].because is Because.IMPOSSIBLE
    assert plan(small()).runs == ()


def test_one_seed_gives_one_plan() -> None:
    problem = invented_day(30, 2, seed=5, iterations=150)
    assert plan(problem) == plan(problem)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"stops": (Stop("a", 0, 1), Stop("a", 0, 1))}, "Two stops are named 'a'"),
        ({"stops": (Stop("a", 2, 1),)}, "The place of stop a is 2; the matrix has 2 places"),
        ({"vehicles": (van(start_depot="moon"),)}, "names no depot given: 'moon'"),
        ({"iterations": 0}, "At least one iteration"),
    ],
)
def test_a_problem_that_cannot_be(change: dict, said: str) -> None:
    with pytest.raises(BadProblem, match=said):
        replace(small(Stop("mill", 1, 60)), **change)


def test_figures_that_cannot_be() -> None:
    with pytest.raises(BadProblem, match="closes at 5 s, before it opens"):
        Window(6, 5)
    with pytest.raises(BadProblem, match="Row 1 of the metres has 1 entries, not 2"):
        Matrix(((0, 1), (1, 0)), ((0, 1), (1,)))
    with pytest.raises(BadProblem, match="prize of stop mill is -1"):
        Stop("mill", 1, 60, prize=-1)
