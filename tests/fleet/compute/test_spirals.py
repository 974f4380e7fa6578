from dataclasses import replace

import pytest

from fleet.compute.fit import fit
from fleet.compute.packages import Package, PackageKind
from fleet.compute.results import Verdict

from .sizes import BAG, BOARD, CAN, CARTON, SPIRAL


def codes(reasons) -> list[str]:
    return [reason.code for reason in reasons]


def test_a_spiral_holds_one_product_in_each_turn():
    answer = fit(SPIRAL, BAG, BOARD)

    assert answer.verdict is Verdict.FITS
    assert answer.capacity.units == 10
    margins = {margin.name: margin.value_mm for margin in answer.margins}
    assert margins == {"pitch_clearance": 10, "lane_clearance": 20, "head_clearance": 30}


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"thickness_mm": 47.1}, "too_little_pitch_clearance"),
        ({"width_mm": 139}, "too_little_lane_clearance"),
        ({"height_mm": 206}, "too_little_head_clearance"),
    ],
)
def test_a_product_too_large_is_refused_with_the_reason(changed, code):
    answer = fit(SPIRAL, replace(BAG, **changed), BOARD)
    assert answer.verdict is Verdict.DOES_NOT_FIT
    assert codes(answer.reasons) == [code]


def test_three_millimetres_in_a_turn_are_enough():
    assert fit(SPIRAL, replace(BAG, thickness_mm=47), BOARD).verdict is Verdict.FITS


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"thickness_mm": 20}, "pitch_too_loose"),
        ({"weight_g": 400}, "wants_pusher"),
    ],
)
def test_a_product_that_may_hang_or_lean_is_a_caution(changed, code):
    answer = fit(SPIRAL, replace(BAG, **changed), BOARD)
    assert answer.verdict is Verdict.FITS_WITH_CAUTION
    assert codes(answer.cautions) == [code]


def test_a_tall_product_wants_a_pusher():
    answer = fit(replace(SPIRAL, shelf_height_mm=260), replace(BAG, height_mm=240), BOARD)
    assert codes(answer.cautions) == ["wants_pusher"]
    assert "tall" in answer.cautions[0].text


def test_round_packages_stand_upright():
    answer = fit(replace(SPIRAL, pitch_mm=72), CAN, BOARD)
    assert answer.verdict is Verdict.FITS
    assert "stands_upright" in codes(answer.reasons)
    # Lying, 122 mm of can would not go into a turn of 72; standing, its 66 do.
    assert fit(SPIRAL, CAN, BOARD).verdict is Verdict.DOES_NOT_FIT


@pytest.mark.parametrize(
    ("package", "missing"),
    [
        (Package(PackageKind.BAG), ("thickness_mm", "width_mm", "height_mm")),
        (Package(PackageKind.CAN), ("diameter_mm", "length_mm")),
        (replace(CARTON, height_mm=None), ("height_mm",)),
    ],
)
def test_sizes_that_are_missing_are_asked_for(package, missing):
    answer = fit(SPIRAL, package, BOARD)
    assert answer.verdict is Verdict.CANNOT_TELL
    assert answer.to_measure == missing


def test_one_size_too_large_is_enough_to_refuse():
    answer = fit(SPIRAL, Package(PackageKind.BAG, width_mm=150), BOARD)
    assert answer.verdict is Verdict.DOES_NOT_FIT
