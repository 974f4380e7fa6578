from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.charts import (
    AsLeft,
    ChartEntry,
    LearnedOffset,
    learn_offsets,
    winner,
    with_offsets,
)
from fleet.compute.fit import fit
from fleet.compute.rails import End
from fleet.compute.results import Hold, Source, Verdict
from fleet.compute.units import BadMeasure

from .sizes import BOARD, BOTH, BOTTLE, CAN, FRONT, PLAIN_BOTTLE, REAR


def codes(reasons) -> list[str]:
    return [reason.code for reason in reasons]


def as_left(difference: float, *, rail="rear", asked=2, passed=2) -> AsLeft:
    return AsLeft("K1", rail, 240 + difference, 240, asked, passed)


def test_an_offset_is_the_median_difference_turned_about():
    learned = learn_offsets([as_left(6), as_left(6.5), as_left(7)])

    found = learned["K1", "rear"]
    # Median 6.5; deviations 0.5, 0, 0.5, so their median is 0.5, scaled by 1.4826.
    assert found == LearnedOffset("K1", "rear", 6.5, -6.5, pytest.approx(0.7413), 3, 0)


def test_outliers_hardly_count_and_are_counted():
    learned = learn_offsets([as_left(d) for d in (6, 6.2, 6.4, 6.6, 90)])
    assert learned["K1", "rear"].difference_mm == pytest.approx(6.4)
    assert learned["K1", "rear"].unlike == 1


def test_only_passed_test_vends_teach_and_three_are_needed():
    none_made = as_left(6, asked=0, passed=0)
    failed = as_left(6, asked=3, passed=2)
    assert learn_offsets([as_left(6), as_left(6), none_made, failed]) == {}
    assert list(learn_offsets([as_left(6)] * 3)) == [("K1", "rear")]


def test_rails_and_kinds_are_kept_apart():
    records = [as_left(6)] * 3 + [as_left(-2, rail="front")] * 3 + [as_left(1, rail="x")]
    learned = learn_offsets(records)
    assert {key: one.offset_mm for key, one in learned.items()} == {
        ("K1", "front"): 2,
        ("K1", "rear"): -6,
    }


@given(st.lists(st.floats(-10, 10), min_size=5, max_size=30), st.floats(-1000, 1000), st.randoms())
def test_fewer_than_half_the_records_cannot_carry_it_off(good, wild, dice):
    bad = [wild] * ((len(good) - 1) // 2)
    records = [as_left(max(-240.0, d)) for d in good + bad]
    dice.shuffle(records)
    found = learn_offsets(records)["K1", "rear"]
    assert min(good) - 1e-9 <= found.difference_mm <= max(good) + 1e-9


def test_a_learned_offset_brings_the_computed_plate_to_where_it_was_left():
    computed = fit(REAR, PLAIN_BOTTLE, BOARD).rear
    left = computed.distance_mm + 6.35
    one = AsLeft.at_notches(
        "K1",
        "rear",
        REAR.rear.rail,
        left=computed.notch - 1,
        computed=computed.notch,
        asked=2,
        passed=2,
    )
    assert (one.as_left_mm, one.computed_mm) == (pytest.approx(left), computed.distance_mm)
    records = [one] * 3

    offset = learn_offsets(records)["K1", "rear"].offset_mm
    again = fit(with_offsets(REAR, {End.REAR: offset}), PLAIN_BOTTLE, BOARD).rear

    assert REAR.rear.rail.distance_mm(again.notch) == pytest.approx(left)


def test_offsets_touch_only_the_rails_named():
    moved = with_offsets(BOTH, {End.REAR: -2.0})
    assert moved.front == BOTH.front
    assert moved.rear.rail.offset_mm == -2.0
    assert with_offsets(FRONT, {End.REAR: -2.0}) == FRONT


MEASURED = ChartEntry(Source.MEASURED, deep=1, rear_notch=2)
LEARNED = ChartEntry(Source.LEARNED, deep=1, rear_notch=2, count=4)
LABEL = ChartEntry(Source.LABEL, deep=1, rear_notch=2)


def test_measured_wins_over_learned_and_learned_over_computed():
    assert winner([LABEL, LEARNED, MEASURED]) is MEASURED
    assert winner([LABEL, LEARNED]) is LEARNED
    assert winner([LABEL, replace(LEARNED, count=2)]) is None
    more = replace(LEARNED, count=9)
    assert winner([LEARNED, more]) is more


@pytest.mark.parametrize("entry", [MEASURED, LEARNED])
def test_a_chart_is_followed_and_the_difference_told(entry):
    answer = fit(REAR, PLAIN_BOTTLE, BOARD, charts=[entry])

    assert answer.verdict is Verdict.FITS
    assert (answer.rear.notch, answer.rear.source) == (2, entry.source)
    assert answer.rear.play_mm == pytest.approx(254 - 2 * 6.35 - 225)
    assert "chart_followed" in codes(answer.reasons)
    assert "chart_differs_from_computed" in codes(answer.reasons)
    assert answer.charts[0].chosen


def test_a_label_is_shown_and_compared_but_never_followed():
    answer = fit(REAR, PLAIN_BOTTLE, BOARD, charts=[LABEL])

    assert (answer.rear.notch, answer.rear.source) == (3, Source.COMPUTED)
    assert answer.verdict is Verdict.FITS_WITH_CAUTION
    assert codes(answer.cautions) == ["label_disagrees"]
    assert not answer.charts[0].agrees


def test_a_label_that_agrees_is_no_caution():
    right = replace(LABEL, rear_notch=3, program="one deep")
    answer = fit(REAR, PLAIN_BOTTLE, BOARD, charts=[right])
    assert answer.verdict is Verdict.FITS
    assert answer.charts[0].agrees

    wrong = replace(right, program="two deep")
    assert codes(fit(REAR, PLAIN_BOTTLE, BOARD, charts=[wrong]).cautions) == ["label_disagrees"]


def test_a_chart_against_the_measured_sizes_is_a_caution():
    answer = fit(REAR, PLAIN_BOTTLE, BOARD, charts=[replace(MEASURED, rear_notch=4)])
    assert answer.rear.notch == 4
    assert codes(answer.cautions) == ["chart_against_geometry"]


def test_a_chart_can_settle_what_could_not_be_computed():
    bottle = replace(PLAIN_BOTTLE, length_mm=250)
    assert fit(REAR, bottle, BOARD).verdict is Verdict.DOES_NOT_FIT
    answer = fit(REAR, bottle, BOARD, charts=[replace(MEASURED, rear_notch=0)])
    assert answer.verdict is Verdict.FITS_WITH_CAUTION
    assert answer.rear.notch == 0


def test_no_chart_puts_a_product_into_a_column_too_narrow():
    wide = replace(PLAIN_BOTTLE, diameter_mm=80)
    answer = fit(REAR, wide, BOARD, charts=[MEASURED])
    assert answer.verdict is Verdict.DOES_NOT_FIT
    assert codes(answer.reasons) == ["too_wide"]


@pytest.mark.parametrize(
    ("entry", "code"),
    [
        (replace(MEASURED, rear_notch=19), "chart_off_rail"),
        (replace(MEASURED, deep=3), "chart_too_deep"),
    ],
)
def test_a_chart_the_position_cannot_follow_is_passed_over_with_a_caution(entry, code):
    answer = fit(REAR, PLAIN_BOTTLE, BOARD, charts=[entry])
    assert answer.rear.source is Source.COMPUTED
    assert code in codes(answer.cautions)


def test_a_chart_silent_on_a_half_takes_the_computed_setting_there():
    entry = ChartEntry(Source.MEASURED, deep=1, rear_notch=3)
    answer = fit(BOTH, BOTTLE, BOARD, charts=[entry])
    assert answer.front.source is Source.COMPUTED
    assert answer.front.hold is Hold.NECK
    assert answer.rear.source is Source.MEASURED
    unmeasured = replace(BOTTLE, neck_from_mm=None)
    assert fit(BOTH, unmeasured, BOARD, charts=[entry]).verdict is Verdict.CANNOT_TELL


def test_a_front_chart_is_judged_by_the_neck():
    answer = fit(FRONT, BOTTLE, BOARD, charts=[ChartEntry(Source.MEASURED, 1, front_notch=7)])
    assert answer.front.hold is Hold.NECK
    assert answer.verdict is Verdict.FITS
    fouling = fit(FRONT, BOTTLE, BOARD, charts=[ChartEntry(Source.MEASURED, 1, front_notch=6)])
    assert codes(fouling.cautions) == ["chart_against_geometry"]


def test_a_chart_decides_how_deep():
    answer = fit(REAR, CAN, BOARD, charts=[ChartEntry(Source.MEASURED, 1, rear_notch=18)])
    assert answer.deep == 1
    assert answer.program == "one deep"


@pytest.mark.parametrize(
    "make",
    [
        lambda: ChartEntry(Source.COMPUTED, 1, 3),
        lambda: ChartEntry(Source.LABEL, 1),
        lambda: ChartEntry(Source.LABEL, 0, 3),
        lambda: ChartEntry(Source.LABEL, 1, -1),
        lambda: AsLeft("K", "rear", 240, 240, 2, 3),
        lambda: AsLeft("K", "rear", float("nan"), 240, 2, 2),
    ],
)
def test_records_that_cannot_be_true_are_refused(make):
    with pytest.raises(BadMeasure):
        make()
