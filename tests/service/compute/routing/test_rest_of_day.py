"""Replanning a day that has begun."""

from dataclasses import replace

from service.compute.routing import Capacity, Done, Load, Road, Stop, Window, plan, replan, score
from tests.service.compute.routing.days import HOUR, invented_day, small, van

ROW = tuple(Stop(f"m{at}", at, 600, prize=9_000) for at in (1, 2, 3, 4))


def begun(problem, made, so_many: int = 1, late_s: int = 0) -> Road:
    stops = made.runs[0].stops[:so_many]
    done = tuple(Done(one.stop, one.arrives_s + late_s, one.leaves_s + late_s) for one in stops)
    return Road(done[-1].left_s, done)


def test_a_new_must_go_stop_goes_in_where_it_costs_least() -> None:
    problem = small(*ROW)
    made = plan(problem)
    road = begun(problem, made)
    ticket = Stop("ticket", 3, 600, must_go="does not vend")
    changed = replace(problem, stops=(*ROW, ticket))
    anew = replan(changed, made, road)
    assert set(anew.runs[0].names) == {"m1", "m2", "m3", "m4", "ticket"}
    assert anew.runs[0].names[0] == made.runs[0].names[0]
    before, after = score(problem, made, road), score(changed, anew, road)
    assert after.faults == ()
    assert after.work_s - before.work_s == 600  # it stands beside the way


def test_done_stops_keep_their_real_times_and_what_no_longer_fits_is_left() -> None:
    # Four stops take 8,000 s of driving and 2,400 s of visits: 10,400 s of the 10,800 s there are.
    problem = small(*ROW, vehicles=(van(ends_s=10 * HOUR),))
    made = plan(problem)
    assert len(made.runs[0].names) == 4
    road = begun(problem, made, late_s=1_800)
    anew = replan(problem, made, road)
    assert len(anew.out) == 1
    first = anew.runs[0].stops[0]
    assert (first.arrives_s, first.leaves_s) == (road.done[0].arrived_s, road.done[0].left_s)
    assert score(problem, anew, road).faults == ()


def test_what_was_left_at_done_stops_makes_room_no_more() -> None:
    stops = tuple(replace(stop, load=Load(cases=2)) for stop in ROW)
    problem = small(*stops, vehicles=(van(capacity=Capacity(cases=8)),))
    made = plan(problem)
    road = begun(problem, made, so_many=2)
    one_more = Stop("more", 3, 60, prize=90_000, load=Load(cases=3))
    anew = replan(replace(problem, stops=(*stops, one_more)), made, road)
    carried = {stop.name: stop.load.cases for stop in (*stops, one_more)}
    assert "more" in anew.runs[0].names
    assert sum(carried[name] for name in anew.runs[0].names) <= 8


def test_locked_stops_stay_on_their_run_and_in_their_order() -> None:
    problem = invented_day(25, 2, seed=3, iterations=200)
    made = plan(problem)
    run = max(made.runs, key=lambda one: len(one.stops))
    locked = run.names[2:5]
    # Everything else changes its worth.
    other = replace(
        problem,
        stops=tuple(
            stop if stop.name in locked else replace(stop, prize=(stop.prize * 7) % 5_000)
            for stop in problem.stops
        ),
    )
    anew = replan(other, made, Road(now_s=6 * HOUR, locked=frozenset(locked)))
    kept = anew.run_of(locked[0])
    assert kept.vehicle == run.vehicle
    assert tuple(name for name in kept.names if name in locked) == locked
    assert score(other, anew).faults == ()


def test_a_locked_stop_that_will_be_late_stays_and_is_told() -> None:
    closing = Stop("m2", 2, 600, prize=9_000, windows=(Window(8 * HOUR, 9 * HOUR),))
    problem = small(ROW[0], closing)
    made = plan(problem)
    road = Road(now_s=9 * HOUR, locked=frozenset({"m2"}))
    anew = replan(problem, made, road)
    assert "m2" in anew.runs[0].names
    assert {fault.stop for fault in score(problem, anew, road).faults} == {"m2"}
    free = replan(problem, made, replace(road, locked=frozenset()))
    assert free.out == ("m2",)


def test_replanning_does_better_than_keeping_the_order() -> None:
    problem = invented_day(25, 2, seed=4, iterations=200)
    made = plan(problem)
    road = begun(problem, made)
    rich = tuple(
        replace(stop, prize=stop.prize * 4) if stop.name in made.out else stop
        for stop in problem.stops
    )
    changed = replace(problem, stops=rich)
    anew = replan(changed, made, road)
    assert score(changed, anew, road).gain > score(changed, made, road).gain
    assert score(changed, anew, road).faults == ()
