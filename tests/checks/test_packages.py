"""The fit against published sizes of packages and the trade's common values.

Sources stand beside each check. What the trade does without a published source says so.
"""

from __future__ import annotations

import math

import pytest

from fleet.compute.fit import fit
from fleet.compute.packages import Package, PackageKind
from fleet.compute.packing import round_layers
from fleet.compute.positions import Board, DepthProgram, Half, StackPosition
from fleet.compute.rails import End, Rail, Runs
from fleet.compute.results import Hold, Risk, Verdict
from fleet.compute.rules import Rules
from fleet.compute.timing import outlook
from fleet.compute.units import inches
from fleet.compute.vend_tests import failure_bound
from fleet.compute.words import said

# Can Manufacturers Institute, standard sheet "202 Beverage Can and End": body outside diameter
# 2.602 +/- .007 in, flanged can height 4.812 +/- .015 in.
BODY_IN, BODY_TOLERANCE_IN = 2.602, 0.007
HEIGHT_IN, HEIGHT_TOLERANCE_IN = 4.812, 0.015
CAN = Package(PackageKind.CAN, length_mm=inches(HEIGHT_IN), diameter_mm=inches(BODY_IN))

BOARD = Board(programs=(DepthProgram("1", 1, 24, 11), DepthProgram("2", 2, 24, 0)))


def column(width_mm: float) -> StackPosition:
    rail = Rail(zero_mm=inches(5), pitch_mm=inches(0.25), notches=21)
    rear = Rail(zero_mm=inches(10), pitch_mm=inches(0.25), notches=21, runs=Runs.INWARD)
    return StackPosition("A", width_mm, 900, front=Half(258, rail), rear=Half(258, rear))


def test_the_can_makers_sheet_in_millimetres():
    # The sheet's figures, converted: 66.09 and 122.22 mm.
    assert CAN.diameter_mm == pytest.approx(66.09, abs=0.005)
    assert CAN.length_mm == pytest.approx(122.22, abs=0.005)


def test_the_body_diameter_decides_and_not_the_nominal_size():
    """Nominal 211 is two inches and eleven sixteenths (can naming: whole inches and sixteenths,
    Can Manufacturers Institute), an old seam's diameter; the body is thinner."""
    nominal = Package(PackageKind.CAN, CAN.length_mm, inches(2 + 11 / 16))
    assert nominal.diameter_mm == pytest.approx(68.26, abs=0.005)

    between = column(69)
    assert fit(between, CAN, BOARD).verdict is Verdict.FITS
    assert fit(between, nominal, BOARD).verdict is Verdict.DOES_NOT_FIT


@pytest.mark.parametrize("body", [-1, 0, 1])
@pytest.mark.parametrize("height", [-1, 0, 1])
def test_cans_anywhere_in_their_tolerance_lie_two_deep_at_the_ends_of_the_rails(body, height):
    """Twelve-ounce cans two deep, front fully forward, rear plate fully back: common practice,
    no published source. The tolerances are the can makers' (sheet above)."""
    can = Package(
        PackageKind.CAN,
        inches(HEIGHT_IN + height * HEIGHT_TOLERANCE_IN),
        inches(BODY_IN + body * BODY_TOLERANCE_IN),
    )
    answer = fit(column(72), can, BOARD)

    assert answer.verdict is Verdict.FITS
    assert answer.deep == 2
    assert answer.front.said == "fully forward"
    assert "fully back" in answer.rear.said
    assert answer.program == "2"


def test_the_usual_play_is_a_quarter_inch():
    """A finger's width, 6.35 mm: common practice, no published source."""
    assert Rules().least_play_mm == inches(0.25)

    bottle = Package(PackageKind.BOTTLE_WITHOUT_NECK, inches(9), inches(2.6))
    rear = fit(column(72), bottle, BOARD).rear
    assert rear.play_mm == pytest.approx(6.35)
    # A rail of quarter inches from ten: nine and a quarter is the third notch in.
    assert rear.notch == 3


def test_seven_is_the_second_mark_and_one_more():
    """Every third notch is marked: common practice, no published source."""
    rail = Rail(zero_mm=100, pitch_mm=6.35, notches=20)
    assert said(rail, End.FRONT, 7) == "the second mark, then one more"
    assert said(rail, End.FRONT, 6) == "the second mark"


def test_bottles_lie_one_deep_with_the_spacers_in_the_neck():
    """Common practice, no published source. The sizes are of the order from memory that a
    20 oz bottle has; real bottles are measured."""
    bottle = Package(
        PackageKind.NECKED_BOTTLE, 226, 72, neck_from_mm=190, neck_to_mm=206, neck_diameter_mm=28
    )
    answer = fit(column(76), bottle, BOARD)
    assert answer.deep == 1
    assert answer.front.hold is Hold.NECK
    assert 190 < answer.front.distance_mm < 206
    assert answer.program == "1"


def test_the_window_is_fifteen_seconds():
    """Common practice, no published source."""
    assert Board().vend_window_s == 15
    late = outlook(DepthProgram("2", 2, 24, 0), 1, BOARD)
    assert (late.next_drop_s, late.risk) == (24, Risk.FALSE_SOLD_OUT)
    double = outlook(DepthProgram("1", 1, 24, 12), 2, BOARD)
    assert (double.next_drop_s, double.risk) == (0, Risk.TWO_FOR_ONE)


@pytest.mark.parametrize(
    ("passes", "percent"), [(10, 25.89), (30, 9.50), (59, 4.95), (100, 2.95), (300, 0.99)]
)
def test_the_rule_of_three(passes, percent):
    """Upper 95 % bounds for no failures in n, 1 - 0.05^(1/n): the exact (Clopper-Pearson)
    binomial limit, worked by hand; 59 is the usual sample that shows 95 % with 95 %
    confidence (standard attribute sampling, from memory)."""
    bound = failure_bound(passes)
    assert 100 * bound.exact == pytest.approx(percent, abs=0.005)
    assert bound.about == pytest.approx(3 / passes)
    # The rule of three is close from about thirty on.
    assert passes < 30 or bound.about == pytest.approx(bound.exact, rel=0.06)


@pytest.mark.parametrize(("side", "height", "hypotenuse"), [(3, 4, 5), (5, 12, 13), (8, 15, 17)])
def test_a_zig_zag_rises_by_pythagoras(side, height, hypotenuse):
    """Euclid I.47: in a column wider than the product by one short side of a right triangle whose
    long side is the diameter, neighbours rise by the other."""
    scale = 5
    d, s, rise = hypotenuse * scale, side * scale, height * scale
    assert round_layers(d + s, 1000, d).pitch_mm == pytest.approx(rise)


def test_a_column_of_two_diameters_would_be_packed_in_threes():
    """The densest packing of equal circles in a strip of two diameters less a hair is the
    hexagonal one, whose rows are sqrt(3)/2 d apart and hold two and one in turn: three for
    every sqrt(3) d (standard geometry, from memory)."""
    pitch = round_layers(2 * 50 - 1e-4, 1000, 50).pitch_mm
    assert pitch == pytest.approx(50 * math.sqrt(3) / 3, rel=2e-3)
