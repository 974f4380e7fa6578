import itertools
import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fleet.compute.packing import bridges, flat_layers, nests_in_pockets, round_layers
from fleet.compute.units import BadMeasure


def settled_heights(width: float, diameter: float, count: int) -> list[float]:
    """Heights of discs dropped one after another into a channel, each to its lowest place.

    Brute force: every place where a disc touches a wall and a disc, or two discs, is tried, and
    the lowest that can be reached from above and overlaps nothing is taken. It knows nothing of
    zig-zags or pockets.
    """
    shift = width - diameter
    settled = [(0.0, 0.0)]
    while len(settled) < count:
        near = settled[-6:]
        places = [
            (x, other_y + math.sqrt(diameter**2 - (x - other_x) ** 2))
            for other_x, other_y in near
            for x in (0.0, shift)
            if abs(x - other_x) <= diameter
        ]
        for (x, y), (other_x, other_y) in itertools.combinations(near, 2):
            apart = math.hypot(x - other_x, y - other_y)
            if apart < 2 * diameter:
                reach = math.sqrt(diameter**2 - apart**2 / 4) / apart
                places.extend(
                    (
                        (x + other_x) / 2 + side * (other_y - y),
                        (y + other_y) / 2 + side * (x - other_x),
                    )
                    for side in (reach, -reach)
                )
        free = [
            (y, x)
            for x, y in places
            if -1e-9 <= x <= shift + 1e-9
            and all(
                abs(x - other_x) >= diameter
                or y >= other_y + math.sqrt(diameter**2 - (x - other_x) ** 2) - 1e-7
                for other_x, other_y in near
            )
        ]
        y, x = min(free)
        settled.append((x, y))
    return [y for _, y in settled]


@settings(max_examples=100, deadline=None)
@given(st.floats(50, 80), st.floats(0, 0.999), st.floats(1.0, 9.0))
def test_layers_agree_with_discs_settled_by_brute_force(diameter, share, tall):
    width, height = diameter * (1 + share), diameter * tall
    assume(not bridges(width, diameter))
    tops = [y + diameter for y in settled_heights(width, diameter, 20)]
    # A disc that ends within a hair of the top may be counted either way.
    assume(all(abs(top - height) > 1e-4 for top in tops))

    assert round_layers(width, height, diameter).count == sum(top < height for top in tops)


@settings(max_examples=50, deadline=None)
@given(st.floats(50, 80), st.floats(0, 0.999))
def test_mean_rise_agrees_with_discs_settled_by_brute_force(diameter, share):
    width = diameter * (1 + share)
    assume(not bridges(width, diameter))
    heights = settled_heights(width, diameter, 19)

    pitch = round_layers(width, 1000, diameter).pitch_mm

    assert pitch == pytest.approx(heights[18] / 18, abs=1e-6)
    assert pitch >= diameter / 2 - 1e-9


def test_products_as_wide_as_the_column_lie_straight_upon_each_other():
    assert round_layers(60, 600, 60).count == 10
    assert round_layers(60, 599.9, 60).count == 9


def test_a_zig_zag_by_hand_geometry():
    # d = 65, W = 90: shift 25, rise sqrt(65^2 - 25^2) = 60 (the 5-12-13 triangle).
    layers = round_layers(90, 65 + 3 * 60, 65)
    assert layers.pitch_mm == pytest.approx(60)
    assert layers.count == 4


def test_products_lie_in_pockets_once_they_nearly_lie_side_by_side():
    # d = 50, W = 98: s = 48, h = 14 (the 7-24-25 triangle). The third lies at
    # 7 + 48*sqrt(3)/2 = 48.569 up and 24 - 14*sqrt(3)/2 = 11.876 across, the fourth
    # sqrt(50^2 - (48 - 11.876)^2) = 34.570 above it at the wall.
    assert nests_in_pockets(98, 50)
    assert round_layers(98, 50 + 13.9, 50).count == 1
    assert round_layers(98, 50 + 14, 50).count == 2
    assert round_layers(98, 50 + 48.5, 50).count == 2
    assert round_layers(98, 50 + 48.6, 50).count == 3
    assert round_layers(98, 50 + 83.13, 50).count == 3
    assert round_layers(98, 50 + 83.15, 50).count == 4
    assert round_layers(98, 1000, 50).pitch_mm == pytest.approx(83.139 / 3, abs=0.001)


def test_the_mean_rise_is_half_a_diameter_where_zig_zag_and_pockets_meet():
    for width in (50 * (1 + math.sqrt(0.75)) - 1e-9, 50 * (1 + math.sqrt(0.75)) + 1e-9):
        assert round_layers(width, 1000, 50).pitch_mm == pytest.approx(25)


@pytest.mark.parametrize("width", [59.9, 120, 130])
def test_a_column_that_does_not_guide_is_refused(width):
    with pytest.raises(BadMeasure, match="at least one diameter and less than two"):
        round_layers(width, 600, 60)


def test_no_layer_where_none_has_room():
    assert round_layers(70, 59, 60).count == 0
    assert round_layers(118, 59, 60).count == 0
    assert flat_layers(39, 40).count == 0


def test_cartons_lie_straight():
    assert flat_layers(401, 40).count == 10
    assert flat_layers(0.3, 0.1).count == 3
