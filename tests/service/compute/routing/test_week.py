"""Planning a week in one search."""

from dataclasses import replace

import pytest

from service.compute.routing import BadProblem, Rule, Stop, Window, plan_week, score
from service.compute.routing.week import WARM_ABOVE
from tests.service.compute.routing.days import HOUR, invented_day, small, van


def visits(week) -> list[str]:
    return [name for day in week.days for run in day.runs for name in run.names]


def test_each_stop_is_visited_on_its_best_day_and_once() -> None:
    # Together they cost 40.00 and 20 min; each is worth its own way, on its day, and no other's.
    days = [
        small(Stop("a", 1, 600, prize=best_on_first), Stop("b", 2, 600, prize=best_on_last))
        for best_on_first, best_on_last in ((9_000, 5_000), (3_000, 6_000), (3_000, 12_000))
    ]
    week = plan_week(days)
    assert [[run.names for run in day.runs] for day in week.days] == [[("a",)], [], [("b",)]]


def test_a_must_go_stop_is_not_put_off_beyond_its_last_day() -> None:
    mill = Stop("mill", 1, 600, prize=0)
    days = [
        small(replace(mill, must_go="out of date", prize=100)),
        small(replace(mill, must_go="out of date", prize=200)),
        small(replace(mill, prize=90_000)),
    ]
    week = plan_week(days)
    assert week.days[1].run_of("mill") is not None
    assert visits(week) == ["mill"]
    assert week.left == ()


def test_a_must_go_stop_takes_the_day_on_which_it_is_open() -> None:
    mill = Stop("mill", 1, 600, must_go="agreed weekly")
    shut = replace(mill, windows=(Window(0, HOUR),))
    week = plan_week([small(shut), small(mill), small(shut)])
    assert week.days[1].run_of("mill") is not None
    assert week.left == ()
    never = plan_week([small(shut), small(shut)])
    assert [one.stop for one in never.left] == ["mill"]
    assert never.left[0].rules == (Rule.WINDOW,)


def test_vehicles_are_each_day_s_own() -> None:
    mill = Stop("mill", 1, 600, prize=9_000, skills=("cold",))
    week = plan_week([small(mill), small(mill, vehicles=(van("cool", skills=("cold",)),))])
    assert week.days[0].runs == ()
    assert week.days[1].runs[0].vehicle == "cool"


def test_more_must_go_stops_than_the_days_hold() -> None:
    stops = tuple(Stop(f"m{at}", 1, 2 * HOUR, must_go="agreed weekly") for at in range(5))
    short = (van(shift_s=4 * HOUR + 2_000),)
    week = plan_week([small(*stops, vehicles=short), small(*stops, vehicles=short)])
    assert len(visits(week)) == 4
    assert len(week.left) == 1
    assert week.left[0].rules == (Rule.SHIFT,)


@pytest.mark.parametrize("stops", [20, WARM_ABOVE + 1])
def test_a_week_keeps_every_rule_and_is_the_same_each_time(stops: int) -> None:
    base = invented_day(stops, 1, seed=8, must=0.03, iterations=60)
    days = [
        replace(
            base,
            stops=tuple(
                replace(stop, prize=stop.prize * (4 + day) // 4, must_go=stop.must_go * (day < 3))
                for stop in base.stops
            ),
        )
        for day in range(4)
    ]
    week = plan_week(days)
    assert len(visits(week)) == len(set(visits(week)))
    left = {one.stop for one in week.left}
    for problem, day in zip(days, week.days, strict=True):
        broken = [f for f in score(problem, day).faults if f.rule is not Rule.MUST_GO]
        assert broken == []
    assert {stop.name for stop in base.stops if stop.must_go} <= set(visits(week)) | left
    mixed = [replace(day, stops=day.stops[::-1]) for day in days]
    assert plan_week(mixed) == week


def test_days_that_do_not_go_together() -> None:
    one = small(Stop("mill", 1, 600), Stop("far", 2, 600))
    with pytest.raises(BadProblem, match="Day 1 has another matrix"):
        plan_week([one, small(Stop("mill", 1, 600), Stop("far", 2, 600), metres_apart=9_000)])
    with pytest.raises(BadProblem, match="mill is at place 2 on day 1, and at 1 before"):
        plan_week([one, replace(one, stops=(Stop("mill", 2, 600),))])
    assert plan_week([]).days == ()
