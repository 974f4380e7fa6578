"""Over and short: what chance explains, and what it does not."""

import random
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.variance import FEW, Basis, band, judge, repeated

D = Decimal
differences = st.lists(
    st.integers(-2000, 2000).map(lambda cents: D(cents) / 100), min_size=FEW, max_size=40
)


def test_a_prior_stands_until_there_are_enough_bags() -> None:
    # Assumed, and said: 2.00 and half a percent of 300.00.
    few = band([D(-50)] * (FEW - 1), expected=D(300))
    assert (few.basis, few.most, few.cases) == (Basis.PRIOR, D("3.50"), FEW - 1)
    assert "assumed" in few.said
    assert band([D(0)] * FEW).basis is Basis.HISTORY


def test_a_stolen_bag_does_not_widen_the_band() -> None:
    usual = [D("0.25"), D("-0.25"), D(1), D(-1), D("0.5"), D("-0.5"), D(0), D("0.75"), D("-0.75")]
    # By hand: the median is 0, the median of |d| is 0.50, so three deviations are 2.2239.
    assert band(usual).most == D("2.23")
    assert band([*usual, D(-80)]).most < D(4)
    assert judge(D(-80), band([*usual, D(-80)])).short


def test_always_short_is_not_usual() -> None:
    """The band lies about nothing: a driver who takes five from each bag does not hide it."""
    always = [D(-5) + D(cents) / 100 for cents in (-20, -10, 0, 5, 10, -5, 15, 20, -15, 0)]
    within = band(always)
    assert judge(D(-5), within).short
    assert repeated(always).repeated


def test_bags_that_always_agreed_leave_room_for_two_quarters() -> None:
    within = band([D(0)] * 20)
    assert within.most == D("0.50")
    assert not judge(D("-0.50"), within).short
    assert judge(D("-0.51"), within).short
    assert judge(D("0.51"), within).over


def test_reads_shared_by_time_leave_more_to_chance() -> None:
    # By hand: sqrt(2.25^2 + (3 * 4)^2) = 12.2091 before anything is known.
    few = band([], expected=D(50), spread=D(4))
    assert few.most == D("12.21")
    assert "shared by time" in few.said
    assert band([D(0)] * 20, spread=D(4)).most == D(12)
    wide = [D(n) for n in range(-10, 11)]
    assert band(wide, spread=D(1)).most == band(wide).most, "they were shared alike"


@pytest.mark.parametrize(
    ("shorts", "overs", "p_value", "marked"),
    # Sign test, any table of the binomial distribution with p = 1/2: P(X >= 9 of 10) = 11 / 1024,
    # P(X >= 10 of 10) = 1 / 1024, P(X >= 8 of 8) = 1 / 256.
    [(9, 1, 11 / 1024, False), (10, 0, 1 / 1024, True), (8, 0, 1 / 256, True), (4, 4, None, False)],
)
def test_shorts_come_more_often_than_chance(
    shorts: int, overs: int, p_value: float | None, marked: bool
) -> None:
    found = repeated([D(-1)] * shorts + [D(1)] * overs + [D(0)] * 5)
    assert (found.shorts, found.cases) == (shorts, shorts + overs)
    assert found.repeated is marked
    if p_value is not None:
        assert found.p_value == pytest.approx(p_value)


def test_too_few_to_tell() -> None:
    found = repeated([D(-1)] * (FEW - 1))
    assert (found.p_value, found.repeated) == (None, False)


@given(values=differences, seed=st.integers(0, 100))
def test_the_order_changes_nothing(values: list[Decimal], seed: int) -> None:
    shuffled = list(values)
    random.Random(seed).shuffle(shuffled)
    assert band(shuffled) == band(values)
    assert repeated(shuffled) == repeated(values)


@given(values=differences)
def test_short_and_over_mirror_each_other(values: list[Decimal]) -> None:
    within, mirrored = band(values), band([-one for one in values])
    assert within.most == mirrored.most
    for value in values:
        assert judge(value, within).short is judge(-value, mirrored).over
