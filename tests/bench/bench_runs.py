"""Plans of a day and of a week: how long they take, and how near they come to a long search.

Run by name: `pytest tests/bench/bench_runs.py -m bench -n 0 -s`. What the search minimises, the
cost of the day with the worth of what it leaves, is compared with that of a search of 30 s (60
stops) and 60 s (200 stops). Seconds are of the processor, as machines are busy with other things.
"""

from dataclasses import replace
from time import process_time

import pytest

from service.compute.routing import Problem, plan, plan_week, score, why
from tests.service.compute.routing.days import invented_day


def searched(problem: Problem) -> tuple[int, int, float]:
    """What the day costs with what it leaves, what it gains, and the seconds it took to find."""
    began_s = process_time()
    made = plan(problem)
    took_s = process_time() - began_s
    judged = score(problem, made)
    assert judged.faults == ()
    return judged.cost + judged.left_prizes, judged.gain, took_s


@pytest.mark.bench
@pytest.mark.parametrize(
    ("stops", "vehicles", "seed", "within_s", "long_s", "gap"),
    [
        (60, 3, 1, 2.0, 30.0, 0.005),
        (60, 5, 3, 2.0, 30.0, 0.005),
        (200, 8, 1, 10.0, 60.0, 0.02),
    ],
)
def test_a_plan_is_near_that_of_a_long_search(
    stops: int, vehicles: int, seed: int, within_s: float, long_s: float, gap: float
) -> None:
    problem = invented_day(stops, vehicles, seed)
    total, gain, took_s = searched(problem)
    probe_s = searched(replace(problem, iterations=200))[2]
    rounds = round(200 * long_s / probe_s)
    long_total, long_gain, long_took_s = searched(replace(problem, iterations=rounds))
    behind = (total - long_total) / long_total
    print(
        f"\n{stops} stops: {took_s:.1f} s, {behind:.2%} behind {long_took_s:.0f} s"
        f" (gain {gain} and {long_gain})"
    )
    assert behind <= gap
    assert took_s <= within_s


@pytest.mark.bench
def test_reasons_of_a_large_day() -> None:
    problem = replace(invented_day(200, 8, 1), iterations=500)
    made = plan(problem)
    began_s = process_time()
    reasons = why(problem, made)
    took_s = process_time() - began_s
    print(f"\nreasons of {len(reasons)} stops: {took_s:.1f} s")
    assert took_s <= 5.0


@pytest.mark.bench
@pytest.mark.parametrize("stops", [60, 150])
def test_a_week_in_one_search_beats_its_days_one_after_another(stops: int) -> None:
    base = invented_day(stops, 1, 2, must=0.05)
    days = [
        replace(
            base,
            stops=tuple(
                replace(stop, prize=stop.prize * (6 + day) // 6, must_go=stop.must_go * (day < 4))
                for stop in base.stops
            ),
        )
        for day in range(5)
    ]
    began_s = process_time()
    week = plan_week(days)
    took_s = process_time() - began_s
    together = sum(score(day, made).gain for day, made in zip(days, week.days, strict=True))
    visited: set[str] = set()
    alone = 0
    for number, day in enumerate(days):
        left = tuple(
            stop if number == 3 else replace(stop, must_go="")
            for stop in day.stops
            if stop.name not in visited
        )
        made = plan(replace(day, stops=left))
        alone += score(replace(day, stops=left), made).gain
        visited |= {name for run in made.runs for name in run.names}
    print(f"\na week of {stops} stops: {took_s:.1f} s, gain {together}, day by day {alone}")
    assert together >= alone
