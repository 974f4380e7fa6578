"""Invented days to plan: machines scattered around a yard, some with windows, some that must go."""

import random
from dataclasses import replace

from service.compute.routing import (
    Capacity,
    Depot,
    Load,
    Matrix,
    Problem,
    Stop,
    Vehicle,
    Window,
)

HOUR = 3_600


def invented_day(
    stops: int, vehicles: int, seed: int, *, must: float = 0.1, iterations: int | None = None
) -> Problem:
    """A day of a town about 30 km across; prizes are log-normal, a third of the stops has hours."""
    draw = random.Random(seed)
    points = [(15_000.0, 15_000.0)]
    points += [(draw.gauss(15_000, 7_000), draw.gauss(15_000, 7_000)) for _ in range(stops)]
    chosen = tuple(_stop(draw, number, must) for number in range(1, stops + 1))
    driven = tuple(
        Vehicle(
            f"van {number}",
            "yard",
            "yard",
            starts_s=6 * HOUR,
            ends_s=17 * HOUR,
            shift_s=8 * HOUR,
            overtime_s=HOUR,
            capacity=Capacity(volume_ml=900_000),
            skills=("cold",) if number == 0 else (),
            cost_per_km=45,
            cost_per_hour=2_400,
            overtime_cost_per_hour=1_200,
        )
        for number in range(vehicles)
    )
    return Problem(chosen, driven, (Depot("yard", 0, 900),), roads(points), iterations=iterations)


def roads(points: list[tuple[float, float]]) -> Matrix:
    """Points in metres on a plane, as roads: 1.3 times as long, at 35 km/h, 2 min to park."""
    metres = [
        [round(1.3 * ((x - v) ** 2 + (y - w) ** 2) ** 0.5) for v, w in points] for x, y in points
    ]
    seconds = [
        [round(way * 3.6 / 35) + (120 if there and there != here else 0) for there, way in row]
        for here, row in ((at, list(enumerate(ways))) for at, ways in enumerate(metres))
    ]
    return Matrix(tuple(map(tuple, seconds)), tuple(map(tuple, metres)))


def _stop(draw: random.Random, number: int, must: float) -> Stop:
    windows: tuple[Window, ...] = ()
    kind = draw.random()
    if kind < 0.25:
        opens_s = draw.choice([7, 8, 9, 12]) * HOUR
        windows = (Window(opens_s, opens_s + 3 * HOUR),)
    elif kind < 0.35:
        windows = (Window(7 * HOUR, 9 * HOUR), Window(14 * HOUR, 17 * HOUR))
    return Stop(
        f"machine {number:03}",
        number,
        service_s=draw.randint(900, 2_400),
        prize=int(draw.lognormvariate(6.8, 0.8)),
        units=round(draw.uniform(2, 60), 1),
        must_go="product goes out of date" if draw.random() < must else "",
        windows=windows,
        skills=("cold",) if draw.random() < 0.05 else (),
        load=Load(volume_ml=draw.randint(5_000, 60_000)),
    )


def small(*stops: Stop, vehicles: tuple[Vehicle, ...] = (), metres_apart: int = 10_000) -> Problem:
    """Stops in a row, so many metres (and a tenth of it in seconds) from the yard and each other.

    A stop's `place` counts along the row; place 0 is the yard.
    """
    count = 1 + max((stop.place for stop in stops), default=0)
    metres = tuple(
        tuple(abs(here - there) * metres_apart for there in range(count)) for here in range(count)
    )
    seconds = tuple(tuple(way // 10 for way in row) for row in metres)
    return Problem(
        stops,
        vehicles or (van(),),
        (Depot("yard", 0),),
        Matrix(seconds, metres),
        iterations=200,
    )


def van(name: str = "van", **changed: object) -> Vehicle:
    """A van from seven to seventeen, eight hours paid: 0.50 a km and 18.00 an hour."""
    plain = Vehicle(
        name,
        "yard",
        "yard",
        starts_s=7 * HOUR,
        ends_s=17 * HOUR,
        shift_s=8 * HOUR,
        cost_per_km=50,
        cost_per_hour=1_800,
    )
    return replace(plain, **changed)  # type: ignore[arg-type]
