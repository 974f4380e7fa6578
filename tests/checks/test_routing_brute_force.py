"""Plans beside every plan there is: small days, solved by trying every choice, order and window.

The trial shares nothing with the planner: it joins visits by the rule for segments with time
windows of Vidal, Crainic, Gendreau & Prins 2013 (Computers & Operations Research 40(1), eq. 1-5).
"""

import random
from dataclasses import replace
from fractions import Fraction

import pytest

from service.compute.routing import Depot, Problem, Stop, Vehicle, Window, plan, score
from tests.service.compute.routing.days import HOUR, roads

STOPS = 7


def day(seed: int) -> Problem:
    """Seven machines with prizes and one or two windows each, and two vans that differ."""
    draw = random.Random(seed)
    points = [(draw.uniform(0, 30_000), draw.uniform(0, 30_000)) for _ in range(STOPS + 1)]
    stops = []
    for number in range(1, STOPS + 1):
        windows = []
        for _ in range(draw.choice((1, 1, 2))):
            opens_s = draw.randint(6 * HOUR, 15 * HOUR)
            windows.append(Window(opens_s, opens_s + draw.randint(HOUR, 3 * HOUR)))
        service_s = draw.randint(600, 2_400)
        prize = draw.randint(500, 4_000)
        stops.append(Stop(f"m{number}", number, service_s, prize, windows=tuple(windows)))
    vans = tuple(
        Vehicle(
            name,
            "yard",
            "yard",
            starts_s=6 * HOUR,
            ends_s=17 * HOUR,
            shift_s=draw.randint(3, 6) * HOUR,
            overtime_s=draw.choice((0, HOUR)),
            cost=draw.choice((0, 500)),
            cost_per_km=draw.randint(20, 60),
            cost_per_hour=1_800,
            overtime_cost_per_hour=900,
        )
        for name in ("a", "b")
    )
    stops[0] = replace(stops[0], must_go="agreed weekly") if seed % 4 == 0 else stops[0]
    return Problem(
        tuple(stops), vans, (Depot("yard", 0, 600),), roads(points), seed=1, iterations=1_000
    )


def best_of_each_choice(problem: Problem, vehicle: Vehicle) -> dict[int, Fraction]:
    """For each set of stops (as bits), the least that visiting them all with this vehicle costs."""
    seconds, metres = problem.matrix.seconds, problem.matrix.metres
    best: dict[int, Fraction] = {0: Fraction(0)}
    loading_s = problem.depots[0].loading_s
    most_s = vehicle.shift_s + vehicle.overtime_s

    # A segment: the least it takes, the earliest and the latest it can begin.
    def go(place: int, took_s: int, early_s: int, late_s: int, driven_m: int, seen: int) -> None:
        for at, stop in enumerate(problem.stops):
            if seen & 1 << at:
                continue
            for window in stop.windows:
                opens_s, closes_s = window.opens_s, window.closes_s - stop.service_s
                joined = join(
                    took_s, early_s, late_s, seconds[place][stop.place], opens_s, closes_s
                )
                if joined is None:
                    continue
                longer_s, earlier_s, later_s = joined
                longer_s += stop.service_s
                way_m = driven_m + metres[place][stop.place]
                back_s = longer_s + seconds[stop.place][0]
                if back_s > most_s or earlier_s + back_s > vehicle.ends_s:
                    continue
                chosen = seen | 1 << at
                cost = (
                    vehicle.cost
                    + Fraction((way_m + metres[stop.place][0]) * vehicle.cost_per_km, 1_000)
                    + Fraction(back_s * vehicle.cost_per_hour, 3_600)
                    + Fraction(
                        max(0, back_s - vehicle.shift_s) * vehicle.overtime_cost_per_hour, 3_600
                    )
                )
                if chosen not in best or cost < best[chosen]:
                    best[chosen] = cost
                go(stop.place, longer_s, earlier_s, later_s, way_m, chosen)

    go(0, loading_s, vehicle.starts_s, vehicle.ends_s, 0, 0)
    return best


def join(
    took_s: int, early_s: int, late_s: int, drive_s: int, opens_s: int, closes_s: int
) -> tuple[int, int, int] | None:
    """A segment with one more visit behind it; None when the visit comes too late."""
    reached_s = took_s + drive_s
    if early_s + reached_s > closes_s:
        return None
    waits_s = max(0, opens_s - reached_s - late_s)
    earliest_s = max(opens_s - reached_s, early_s) - waits_s
    return reached_s + waits_s, earliest_s, min(closes_s - reached_s, late_s)


def best_gain(problem: Problem) -> Fraction:
    """The most that any plan for two vans earns, must-go stops visited."""
    first, second = (best_of_each_choice(problem, vehicle) for vehicle in problem.vehicles)
    needed = sum(1 << at for at, stop in enumerate(problem.stops) if stop.must_go)
    prizes = {
        chosen: sum(stop.prize for at, stop in enumerate(problem.stops) if chosen & 1 << at)
        for chosen in range(1 << STOPS)
    }
    return max(
        prizes[one | other] - cost - others
        for one, cost in first.items()
        for other, others in second.items()
        if not one & other and needed & (one | other) == needed
    )


@pytest.mark.parametrize("seed", range(20))
def test_no_plan_of_seven_stops_is_better(seed: int) -> None:
    problem = day(seed)
    judged = score(problem, plan(problem))
    assert judged.faults == ()
    # Each run's cost is rounded to a minor unit once.
    assert abs(judged.gain - best_gain(problem)) <= 1
