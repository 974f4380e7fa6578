"""What a column may hold, when it runs dry, and what is lost until somebody comes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.restock.distributions import means, poisson
from fleet.compute.restock.dry import NOT_WITHIN, outlook
from fleet.compute.restock.loss import poisson_loss
from fleet.compute.restock.stock import after_sales, between, counted
from fleet.compute.units import BadMeasure


def demand(daily: list[float], days: int, units: int = 60):
    """Poisson demand from now to the end of each day, one rate a column."""
    return (poisson(np.array(daily) * day, units) for day in range(1, days + 1))


def test_what_is_lost_is_the_loss_function_of_the_days_so_far():
    """The Poisson loss function in closed form; the margin is 85 cents."""
    found = outlook(counted([6], 20), demand([1.5], 10), 85)

    for day in range(1, 11):
        short = poisson_loss(6, 1.5 * day).short
        assert found.units_lost[0, day - 1] == pytest.approx(short, abs=1e-9)
        assert found.margin_lost_minor[0, day - 1] == pytest.approx(85 * short, abs=1e-6)


def test_the_days_on_which_a_column_is_dry():
    found = outlook(counted([6, 0, 20], 20), demand([1.5, 1.5, 0.1], 14), 100)

    # P(Poisson(1.5 d) >= 6): day 2 .0839, day 3 .2971, day 4 .5543.
    assert found.chance_dry[0, 1:4] == pytest.approx([0.0839, 0.2971, 0.5543], abs=1e-4)
    assert found.early_day.tolist() == [2, 0, NOT_WITHIN]
    assert found.median_day.tolist() == [4, 0, NOT_WITHIN]


def test_a_visit_saves_what_would_be_lost_until_the_next_chance():
    found = outlook(counted([6], 20), demand([1.5], 10), 85)

    lost = found.margin_lost_minor[0]
    assert found.saved_minor(0, 4)[0] == pytest.approx(lost[3])
    assert found.saved_minor(3, 7)[0] == pytest.approx(lost[6] - lost[2])
    assert found.saved_minor(5, 5)[0] == 0
    with pytest.raises(BadMeasure):
        found.saved_minor(3, 11)


def test_uncertain_stock_is_the_mixture_of_what_it_may_be():
    chances = np.array([0.0, 0.2, 0.0, 0.5, 0.3])
    mixed = outlook(chances, demand([0.8], 6), 100)

    each = [outlook(counted([units], 4), demand([0.8], 6), 100) for units in range(5)]
    for name in ("chance_dry", "units_lost"):
        plain = sum(chance * getattr(one, name) for chance, one in zip(chances, each, strict=True))
        assert getattr(mixed, name) == pytest.approx(plain)


@given(
    st.integers(0, 20),
    st.floats(0.05, 4),
    st.integers(1, 5),
)
def test_more_stock_is_dry_later_and_loses_less(units, daily, more):
    found = outlook(counted([units, units + more], 25), demand([daily, daily], 8), 100)

    assert (np.diff(found.chance_dry, axis=1) >= -1e-9).all()
    assert (np.diff(found.units_lost, axis=1) >= -1e-9).all()
    assert (found.chance_dry[1] <= found.chance_dry[0] + 1e-9).all()
    assert (found.units_lost[1] <= found.units_lost[0] + 1e-9).all()


def test_the_order_of_columns_changes_nothing():
    daily, held = [0.4, 1.3, 2.2, 0.0], [3, 9, 0, 5]
    order = [2, 0, 3, 1]
    plain = outlook(counted(held, 12), demand(daily, 7), 100)

    shuffled = outlook(
        counted([held[n] for n in order], 12), demand([daily[n] for n in order], 7), 100
    )

    assert shuffled.units_lost == pytest.approx(plain.units_lost[order])
    assert shuffled.median_day.tolist() == plain.median_day[order].tolist()


def test_rows_that_do_not_belong_to_the_columns_are_refused():
    with pytest.raises(BadMeasure, match="2 rows beside 3 columns"):
        outlook(counted([1, 2, 3], 5), demand([1, 1], 3), 100)
    with pytest.raises(BadMeasure):
        outlook(counted([1], 5), [], 100)


@given(st.integers(0, 12), st.integers(0, 12), st.floats(0, 1))
def test_a_range_with_a_mean_keeps_both(one, other, part):
    low, high = sorted((one, other))
    expected = low + part * (high - low)

    found = between([expected], [low], [high], 15)[0]

    assert found.sum() == pytest.approx(1)
    assert found[:low].sum() + found[high + 1 :].sum() == 0
    assert found @ np.arange(16) == pytest.approx(expected, abs=0.02)


def test_a_range_about_its_middle_says_nothing_more():
    assert between([5], [3], [7], 8)[0] == pytest.approx([0, 0, 0, *[0.2] * 5, 0], abs=1e-9)


def test_a_range_beyond_the_column_is_cut_and_one_upside_down_refused():
    assert between([-2.0], [-4], [1], 6)[0] == pytest.approx([1, 0, 0, 0, 0, 0, 0], abs=1e-3)
    with pytest.raises(BadMeasure):
        between([2], [3], [1], 6)


def test_what_is_left_after_sales_is_never_below_nothing():
    left = after_sales(counted([4], 6), poisson([3.0], 40))

    chances = poisson([3.0], 40)[0]
    assert left[0, 1:5] == pytest.approx(chances[3::-1])
    assert left[0, 0] == pytest.approx(chances[4:].sum())
    assert left[0, 5:].sum() == 0
    # What was sold, on average, is what was asked for less what was asked for in vain.
    assert 4 - means(left)[0] == pytest.approx(3 - poisson_loss(4, 3).short)
