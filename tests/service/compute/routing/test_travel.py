"""Travel by great circles: published distances, usual speeds, and what arrivals teach."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compute.routing import (
    BadProblem,
    LoggedLeg,
    Place,
    TravelSettings,
    great_circle_m,
    learned_multiplier,
    matrix,
)

places = st.builds(Place, st.floats(-90, 90), st.floats(-180, 180))


def test_a_published_great_circle() -> None:
    # Nashville to Los Angeles airport, the worked example of the haversine task of Rosetta Code:
    # 2,887.2599506 km on a sphere of 6,372.8 km; ours has 6,371.0088 km.
    metres = great_circle_m(Place(36.12, -86.67), Place(33.94, -118.40))
    assert metres == pytest.approx(2_887_259.9506 * 6_371.0088 / 6_372.8, abs=0.1)


def test_a_sphere_is_within_half_of_one_in_a_hundred_of_the_ellipsoid() -> None:
    # 40.6 N 73.8 W to 51.6 N 0.5 W on WGS 84: 5,551,759.4 m (Karney, GeographicLib's example of
    # GeodSolve, from memory).
    metres = great_circle_m(Place(40.6, -73.8), Place(51.6, -0.5))
    assert metres == pytest.approx(5_551_759.4, rel=0.005)


def test_a_degree_of_the_equator() -> None:
    assert great_circle_m(Place(0, 0), Place(0, 1)) == pytest.approx(111_195.08, abs=0.01)
    assert great_circle_m(Place(0, 179.5), Place(0, -179.5)) == pytest.approx(111_195.08, abs=0.01)


@given(places, places, places)
def test_great_circles_are_distances(one: Place, two: Place, three: Place) -> None:
    there, back = great_circle_m(one, two), great_circle_m(two, one)
    assert there == back
    assert there <= great_circle_m(one, three) + great_circle_m(three, two) + 0.1


def test_ways_in_town_and_outside() -> None:
    # 111,195 m of great circle, 1.3 times: 144,554 m. The first 8 km at 35 km/h take 822.9 s, the
    # rest at 65 km/h 7,562.9 s, and parking 120 s.
    roads = matrix([Place(0, 0), Place(0, 1), Place(0, 0)])
    assert roads.metres[0] == (0, 144_554, 0)
    assert roads.seconds[0] == (0, 8_506, 0)
    assert roads.basis == "great circle x 1.3"


def test_settings_and_the_multiplier_of_a_depot() -> None:
    plain = TravelSettings(circuity=1.0, town_kmh=36, outside_kmh=72, town_m=3_600, parking_s=0)
    pair = [Place(0, 0), Place(0, 0.1)]
    # 11,120 m: 360 s in town and 7,520 m at 20 m/s.
    assert matrix(pair, plain).seconds[0][1] == 736
    assert matrix(pair, plain, 1.5).seconds[0][1] == 1_104
    assert matrix(pair, plain, 1.5).metres[0][1] == 11_120


@pytest.mark.parametrize(
    ("build", "said"),
    [
        (lambda: Place(91, 0), "latitude 91"),
        (lambda: Place(0, float("nan")), "longitude nan"),
        (lambda: TravelSettings(circuity=0.9), "circuity is 0.9; it must be 1.0 to 3.0"),
        (lambda: matrix([Place(0, 0)], multiplier=9), "multiplier is 9; it must be 0.5 to 3.0"),
    ],
)
def test_figures_that_cannot_be(build, said: str) -> None:
    with pytest.raises(BadProblem, match=said):
        build()


def test_a_depot_learns_from_its_arrivals_and_not_from_breaks() -> None:
    draw = random.Random(1)
    legs = []
    for _ in range(400):
        predicted_s = draw.randint(200, 2_000)
        actual_s = predicted_s * 1.25 * draw.lognormvariate(0, 0.2)
        # One leg in ten holds a break of an hour.
        legs.append(LoggedLeg(predicted_s, round(actual_s + 3_600 * (draw.random() < 0.1))))
    learned = learned_multiplier(legs)
    assert learned.legs == 400
    assert learned.value == pytest.approx(1.25, abs=0.06)
    assert learned.low < learned.value < learned.high


def test_few_arrivals_teach_little() -> None:
    assert learned_multiplier([]).value == 1.0
    assert learned_multiplier([LoggedLeg(0, 60), LoggedLeg(60, 0)]).legs == 0
    one = learned_multiplier([LoggedLeg(600, 1_200)])
    # 2 to the power of 1/21.
    assert one.value == pytest.approx(1.0336, abs=0.0001)


@given(st.lists(st.tuples(st.integers(1, 9_000), st.integers(1, 90_000)), min_size=1, max_size=30))
def test_the_order_of_arrivals_means_nothing(pairs: list[tuple[int, int]]) -> None:
    legs = [LoggedLeg(*pair) for pair in pairs]
    assert learned_multiplier(legs) == learned_multiplier(legs[::-1])
    assert 0.5 <= learned_multiplier(legs).value <= 3.0
