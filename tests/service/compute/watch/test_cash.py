"""Counted bags against the meter."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compute.watch import BadEvidence
from service.compute.watch.cash import Bags, CashLimits, judge, spread_of


def bags(*differences: int, expected: int = 10_000) -> Bags:
    return Bags.of([expected] * len(differences), [expected + one for one in differences])


def test_a_run_of_shorts_is_found() -> None:
    judged = judge(bags(-400, -350, -500, -420, -380, -450))
    assert judged.found
    assert judged.because == "mean"
    told = judged.suspicion()
    assert told.said.startswith(
        "6 bags together are 25.00 short of 600.00 by the meter, 4.17 a bag: by chance once in "
    )
    assert told.numbers["difference_minor"] == -2500


def test_coins_that_move_in_and_out_of_the_tubes_are_let_be() -> None:
    assert not judge(bags(-180, 150, -90, 210, -160, 120, 40, -75)).found


def test_two_bags_alike_prove_nothing() -> None:
    assert not judge(bags(-300, -300)).found


def test_a_level_that_has_shifted_is_found_with_when() -> None:
    judged = judge(bags(150, -120, 90, -160, 130, 200, -500, -460, -520, -430))
    assert judged.found
    assert judged.shifted_at == 6
    assert judged.because in {"mean", "shift"}


def test_one_bag_far_out_is_found_alone() -> None:
    judged = judge(bags(10, -40, 30, -2_600, 20, -10))
    assert judged.found
    assert (judged.because, judged.worst) == ("one_bag", 3)
    assert "one alone is 26.00 short" in judged.suspicion().said


def test_no_bag_is_no_error() -> None:
    assert not judge(Bags.of([], [])).found


def test_money_too_much_is_told_too() -> None:
    assert " over of " in judge(bags(900, 950, 880, 1_000, 910)).suspicion().said


def test_where_nothing_is_wrong_little_is_found() -> None:
    """Of machines whose bags scatter as usual, few are found at any one look."""
    luck = np.random.default_rng(4)
    found = [
        judge(bags(*luck.normal(0, 200, 12).round().astype(int).tolist())).found for _ in range(800)
    ]
    assert np.mean(found) < 0.03


def test_where_a_tenth_is_missing_nearly_all_are_found() -> None:
    luck = np.random.default_rng(4)
    found = [
        judge(bags(*luck.normal(-500, 200, 8).round().astype(int).tolist())).found
        for _ in range(200)
    ]
    assert np.mean(found) > 0.95


def test_a_wild_meter_asks_for_more() -> None:
    calm = bags(-400, -350, -500, -420, -380, -450)
    assert not judge(calm, CashLimits(least_spread_minor=2_000)).found


@given(st.lists(st.integers(-3_000, 3_000), min_size=1, max_size=20))
def test_short_and_over_are_judged_alike(differences: list[int]) -> None:
    one, other = judge(bags(*differences)), judge(bags(*(-each for each in differences)))
    assert one.found == other.found
    assert one.p_value == pytest.approx(other.p_value)
    assert one.mean_minor == pytest.approx(-other.mean_minor)


def test_the_usual_spread_is_not_that_of_a_shift() -> None:
    shifted = [100, -100, 90, -110, 120, -5_000, -5_100, -4_900, -5_050, -5_000]
    assert spread_of(shifted) < 300


@pytest.mark.parametrize(
    ("expected", "counted", "field"),
    [
        ([1], [1, 2], "counted_minor"),
        ([-1], [1], "expected_minor.0"),
        ([1], [-1], "counted_minor.0"),
    ],
)
def test_bags_that_cannot_be_are_refused(
    expected: list[int], counted: list[int], field: str
) -> None:
    with pytest.raises(BadEvidence) as refused:
        Bags.of(expected, counted)
    assert refused.value.field == field
