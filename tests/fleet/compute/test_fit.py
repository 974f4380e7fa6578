import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from fleet.compute.fit import fit
from fleet.compute.packages import Package, PackageKind
from fleet.compute.positions import Board, Half, Position, StackPosition
from fleet.compute.rails import End, Rail
from fleet.compute.results import Fit, Hold, Risk, Verdict
from fleet.compute.rules import Rules
from fleet.compute.settings import Load, NoNotchFits, find_setting
from fleet.compute.units import BadMeasure, Units
from fleet.compute.words import notch_said

from .sizes import (
    BAG,
    BOARD,
    BOTH,
    BOTTLE,
    CAN,
    CARTON,
    FRONT,
    ONE_DEEP,
    PLAIN_BOTTLE,
    REAR,
    SPIRAL,
    TWO_DEEP,
    boards,
    halves,
    packages,
    stacks,
)


def codes(reasons) -> list[str]:
    return [reason.code for reason in reasons]


def test_cans_lie_two_deep_fully_forward_and_fully_back():
    answer = fit(BOTH, CAN, BOARD)

    assert answer.verdict is Verdict.FITS
    assert answer.deep == 2
    assert (answer.front.notch, answer.front.said) == (18, "fully forward")
    assert (answer.rear.notch, answer.rear.said) == (0, "zero, fully back")
    # 254.3 - 2 x 122.2248 and 254 - 2 x 122.2248, by hand.
    assert answer.front.play_mm == pytest.approx(9.8504)
    assert answer.rear.play_mm == pytest.approx(9.5504)
    assert answer.program == "two deep"
    # d = 66.0908, W = 76: s = 9.9092, rise sqrt(d^2 - s^2) = 65.3437; 1 + floor(833.9092 / it).
    assert answer.capacity.layer_pitch_mm == pytest.approx(65.3437, abs=1e-4)
    assert answer.capacity.layers == 13
    assert answer.capacity.units == 13 * 2 * 2


def test_a_necked_bottle_is_held_by_the_middle_of_its_neck():
    answer = fit(FRONT, BOTTLE, BOARD)

    # The neck's middle is 191.5; notch 8 lies at 140 + 8 x 6.35 = 190.8, the nearest.
    assert answer.deep == 1
    assert answer.front.hold is Hold.NECK
    assert answer.front.notch == 8
    assert answer.front.said == "the second mark, then two more"
    margins = {margin.name: margin.value_mm for margin in answer.margins}
    assert margins["neck_to_body"] == pytest.approx(10.8)
    assert margins["neck_to_cap"] == pytest.approx(12.2)
    assert answer.front.play_mm == pytest.approx(10.8)
    assert answer.program == "one deep"


def test_a_rear_plate_leaves_a_quarter_inch_behind_the_cap():
    answer = fit(REAR, BOTTLE, BOARD)

    # 225 + 6.35 = 231.35 is wanted; from 254 inward notch 3 is the last that leaves it.
    assert answer.rear.notch == 3
    assert answer.rear.said == "the first mark"
    assert answer.rear.play_mm == pytest.approx(254 - 3 * 6.35 - 225)


def test_exactly_the_least_play_is_enough():
    length = 254 - 3 * 6.35 - 6.35
    assert fit(REAR, replace(PLAIN_BOTTLE, length_mm=length), BOARD).rear.notch == 3
    assert fit(REAR, replace(PLAIN_BOTTLE, length_mm=length + 0.01), BOARD).rear.notch == 2


def test_a_bottle_without_a_neck_is_held_just_at_its_cap():
    answer = fit(FRONT, PLAIN_BOTTLE, BOARD)

    # 225 + 1 = 226 is wanted; notch 14 lies at 228.9, notch 13 at 222.55.
    assert answer.verdict is Verdict.FITS
    assert answer.front.hold is Hold.CAP
    assert answer.front.notch == 14
    assert answer.front.play_mm == pytest.approx(3.9)


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        # Between notch 7 at 184.45 and notch 8 at 190.8 the narrow neck meets neither.
        ({"neck_from_mm": 185.0, "neck_to_mm": 190.0}, "no_notch_in_neck"),
        ({"neck_diameter_mm": 66.0}, "neck_too_thick"),
    ],
)
def test_a_neck_that_cannot_be_used_sends_the_spacers_to_the_cap_with_a_caution(changed, code):
    answer = fit(FRONT, replace(BOTTLE, **changed), BOARD)

    assert answer.verdict is Verdict.FITS_WITH_CAUTION
    assert answer.front.hold is Hold.CAP
    assert answer.front.notch == 14
    assert codes(answer.cautions) == [code]


def test_fewer_deep_where_the_deeper_load_binds():
    # Two of 125 lie end to end in 260, but 254 leaves only 4 of play in the rear. One needs
    # 125 + 6.35 = 131.35; the innermost notch, 18, lies at 254 - 18 x 6.35 = 139.7.
    answer = fit(REAR, replace(CAN, length_mm=125), BOARD)

    assert answer.deep == 1
    assert answer.rear.notch == 18
    assert [candidate.fits for candidate in answer.candidates] == [False, True]
    assert answer.reasons[0].code == "fewer_deep"
    assert "2 deep lie end to end" in answer.reasons[0].text
    assert "bind on their way down" in answer.reasons[0].text


def test_nothing_is_held_where_the_deeper_load_binds_and_the_other_is_too_loose():
    short_rail = replace(REAR, rear=Half(260, replace(REAR.rear.rail, notches=10)))
    answer = fit(short_rail, replace(CAN, length_mm=125), BOARD)

    assert answer.verdict is Verdict.DOES_NOT_FIT
    assert codes(answer.reasons) == ["rear_binds", "rear_too_loose"]


def test_a_can_two_deep_too_loose_fully_forward_goes_to_the_first_notch():
    answer = fit(FRONT, replace(CAN, length_mm=110), BOARD)

    # Fully forward would leave 34.3; 220 + 6.35 is first reached by notch 14 at 228.9.
    assert answer.deep == 2
    assert answer.front.notch == 14


def test_no_notch_says_whether_the_rail_binds_or_is_too_loose():
    binds = fit(REAR, replace(PLAIN_BOTTLE, length_mm=250), BOARD)
    loose = fit(REAR, replace(PLAIN_BOTTLE, length_mm=60), BOARD)
    long = fit(REAR, replace(PLAIN_BOTTLE, length_mm=270), BOARD)

    assert binds.verdict is loose.verdict is long.verdict is Verdict.DOES_NOT_FIT
    assert codes(binds.reasons) == ["longer_than_depth", "rear_binds"]
    assert codes(loose.reasons) == ["rear_too_loose", "rear_too_loose"]
    assert codes(long.reasons) == ["longer_than_depth", "longer_than_depth"]


def test_the_notch_search_raises_with_its_reason():
    with pytest.raises(NoNotchFits, match="bind on their way down") as refused:
        find_setting(End.REAR, REAR.rear, Load(PLAIN_BOTTLE, 250.0, 1), Rules(), Units.MILLIMETRES)
    assert refused.value.reason.values["play_mm"] == pytest.approx(4)


@pytest.mark.parametrize(
    ("position", "package", "code"),
    [
        (FRONT, replace(CAN, diameter_mm=75), "too_wide"),
        (replace(FRONT, width_mm=140), CAN, "bridges"),
        (replace(FRONT, height_mm=60), CAN, "stack_too_low"),
        (FRONT, BAG, "bags_do_not_stack"),
        (replace(FRONT, width_mm=140), CARTON, "bridges"),
    ],
)
def test_what_does_not_go_across_is_refused_with_the_reason(position, package, code):
    answer = fit(position, package, BOARD)

    assert answer.verdict is Verdict.DOES_NOT_FIT
    assert codes(answer.reasons) == [code]
    assert answer.capacity is None


def test_cartons_lie_flat():
    answer = fit(replace(FRONT, height_mm=410), CARTON, BOARD)

    assert answer.deep == 2
    assert answer.capacity.layers == 10


def test_the_cradle_holds_its_own():
    answer = fit(replace(BOTH, cradle_units=1), CAN, BOARD)
    assert answer.capacity.units == (13 + 1) * 2 * 2


@pytest.mark.parametrize(
    ("package", "missing"),
    [
        (Package(PackageKind.CAN), ("diameter_mm", "length_mm")),
        (replace(CAN, length_mm=None), ("length_mm",)),
        (replace(BOTTLE, neck_from_mm=None), ("neck_from_mm",)),
        (
            replace(BOTTLE, neck_from_mm=None, neck_to_mm=None),
            ("neck_from_mm", "neck_to_mm"),
        ),
        (Package(PackageKind.CARTON), ("width_mm", "thickness_mm", "length_mm")),
    ],
)
def test_sizes_that_are_missing_are_asked_for(package, missing):
    answer = fit(FRONT, package, BOARD)

    assert answer.verdict is Verdict.CANNOT_TELL
    assert answer.to_measure == missing


def test_a_neck_need_not_be_measured_for_a_rear_half():
    answer = fit(REAR, replace(BOTTLE, neck_from_mm=None, neck_to_mm=None), BOARD)
    assert answer.verdict is Verdict.FITS


def test_what_is_known_can_rule_a_package_out_before_the_rest_is_measured():
    answer = fit(FRONT, Package(PackageKind.CAN, diameter_mm=80), BOARD)
    assert answer.verdict is Verdict.DOES_NOT_FIT
    assert answer.to_measure == ("length_mm",)


def test_every_program_is_named_with_its_risk():
    answer = fit(BOTH, BOTTLE, BOARD)
    assert [(one.program, one.risk) for one in answer.programs] == [
        ("one deep", Risk.NONE),
        ("two deep", Risk.FALSE_SOLD_OUT),
    ]


@pytest.mark.parametrize(
    ("board", "code"),
    [
        (Board(), "no_program_recorded"),
        (Board(programs=(TWO_DEEP,)), "no_program_safe"),
        (Board(programs=(replace(ONE_DEEP, run_on_s=23.5),)), "program_drops_into_run_on"),
    ],
)
def test_a_board_that_cannot_be_programmed_safely_is_a_caution(board, code):
    answer = fit(BOTH, BOTTLE, board)
    assert answer.verdict is Verdict.FITS_WITH_CAUTION
    assert codes(answer.cautions) == [code]


def test_inches_change_the_words_and_not_the_values():
    metric, imperial = fit(BOTH, BOTTLE, BOARD), fit(BOTH, BOTTLE, BOARD, units=Units.INCHES)
    assert "0.43 in off the body" in imperial.reasons[0].text
    assert "10.8 mm off the body" in metric.reasons[0].text
    assert metric.front == imperial.front
    assert metric.margins == imperial.margins


def test_rules_are_refused_when_they_contradict_each_other():
    with pytest.raises(BadMeasure, match="least_play_mm"):
        Rules(least_play_mm=20)
    with pytest.raises(BadMeasure, match="cap_least_mm"):
        Rules(cap_least_mm=20)


@settings(max_examples=50, deadline=None)
@given(stacks(), packages(), boards())
def test_every_answer_goes_to_json_and_back(position, package, board):
    adapter = TypeAdapter(Fit)
    answer = fit(position, package, board)
    assert adapter.validate_json(adapter.dump_json(answer)) == answer


def test_a_question_is_read_from_plain_data():
    adapter = TypeAdapter(Position)
    for position in (BOTH, SPIRAL):
        assert adapter.validate_json(adapter.dump_json(position)) == position
    with pytest.raises(ValidationError, match=r"rail\.pitch_mm: 0\.0 mm cannot be used"):
        TypeAdapter(Rail).validate_python({"zero_mm": 9, "pitch_mm": 0, "notches": 3})


def single(half: Half, end: End) -> StackPosition:
    front, rear = (half, None) if end is End.FRONT else (None, half)
    return StackPosition("x", 76, 900, front=front, rear=rear, greatest_deep=3)


@settings(max_examples=150, deadline=None)
@given(
    halves(),
    st.sampled_from(End),
    st.sampled_from([CAN, PLAIN_BOTTLE, CARTON]),
    st.floats(60, 250),
    st.floats(0, 40),
)
def test_a_longer_package_never_needs_a_nearer_plate(half, end, package, length, longer):
    position = single(half, end)
    short = fit(position, replace(package, length_mm=length), BOARD)
    long = fit(position, replace(package, length_mm=length + longer), BOARD)
    for one, other in zip(short.candidates, long.candidates, strict=True):
        first, second = (one.front, other.front) if end is End.FRONT else (one.rear, other.rear)
        if first is not None and second is not None:
            assert second.distance_mm >= first.distance_mm


@settings(max_examples=100, deadline=None)
@given(halves(), st.floats(120, 240), st.floats(0, 40))
def test_a_higher_neck_never_needs_nearer_spacers(half, length, higher):
    def bottle(up):
        return Package(
            PackageKind.NECKED_BOTTLE,
            length_mm=length + up,
            diameter_mm=70,
            neck_from_mm=length * 0.8 + up,
            neck_to_mm=length * 0.95 + up,
        )

    position = single(half, End.FRONT)
    low = fit(position, bottle(0), BOARD).candidates[-1].front
    high = fit(position, bottle(higher), BOARD).candidates[-1].front
    if low is None or high is None or {low.hold, high.hold} != {Hold.NECK}:
        return
    assert high.distance_mm >= low.distance_mm


@settings(max_examples=150, deadline=None)
@given(stacks(), packages(), boards())
def test_every_fit_keeps_to_its_limits(position, package, board):
    answer = fit(position, package, board)
    if answer.deep is None:
        return

    assert all(margin.met for margin in answer.margins)
    for setting, half in ((answer.front, position.front), (answer.rear, position.rear)):
        assert (setting is None) == (half is None)
        if setting is not None:
            assert half.rail.distance_mm(setting.notch) == setting.distance_mm
            assert notch_said(setting.said, half.rail, setting.end) == setting.notch


@settings(max_examples=150, deadline=None)
@given(stacks(), packages(), boards())
def test_capacity_never_exceeds_volume(position, package, board):
    answer = fit(position, package, board)
    if answer.capacity is None:
        return

    if package.kind.is_round:
        section = math.pi * package.diameter_mm**2 / 4
    else:
        section = package.width_mm * package.thickness_mm
    in_stack = answer.capacity.layers * answer.deep
    for _, half in position.halves():
        room = position.width_mm * position.height_mm * half.depth_mm
        assert in_stack * section * package.length_mm <= room * (1 + 1e-9)


def test_a_rail_of_one_notch_is_enough_when_it_suits():
    position = StackPosition("x", 76, 900, rear=Half(260, Rail(235, 6, 1)))
    answer = fit(position, PLAIN_BOTTLE, BOARD)
    assert (answer.rear.said, answer.rear.play_mm) == ("zero", 10)
