"""How much of a product to carry for several columns."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fleet.compute.restock.distributions import poisson
from fleet.compute.restock.fill import needs
from fleet.compute.restock.truck import carry
from fleet.compute.units import BadMeasure

rows = st.lists(st.floats(0.001, 1), min_size=1, max_size=8).map(
    lambda weights: [weight / sum(weights) for weight in weights]
)


def test_poisson_needs_add_up_to_a_poisson_need():
    """scipy's Poisson quantile of the sum as reference."""
    each = [poisson([mean], 60)[0] for mean in (3.0, 5.0, 9.5)]
    for level in (0.5, 0.9, 0.95, 0.99):
        found = carry(each, level)
        assert found.required == int(stats.poisson.ppf(level, 17.5))
        assert found.served == pytest.approx(stats.poisson.cdf(found.required, 17.5))


def test_pooling_takes_less_than_each_column_by_itself():
    each = [poisson([4.0], 40)[0]] * 9
    found = carry(each, 0.95)
    assert found.required < found.column_by_column == 9 * int(stats.poisson.ppf(0.95, 4))


def test_what_is_on_the_truck_is_deducted_and_cases_are_whole():
    each = [poisson([mean], 60)[0] for mean in (3.0, 5.0, 9.5)]
    required = carry(each, 0.95).required

    found = carry(each, 0.95, on_truck=7, units_per_case=6)

    assert found.cases == -(-(required - 7) // 6)
    assert found.load == found.cases * 6
    assert found.served >= 0.95
    assert carry(each, 0.95, on_truck=200).load == 0
    assert {one.code for one in found.reasons} == {"pooled_need", "load"}


def test_no_more_is_loaded_than_there_is_room_for():
    each = [poisson([20.0], 80)[0]]
    found = carry(each, 0.95, on_truck=3, units_per_case=6, most_units=20)
    assert (found.load, found.cases) == (12, 2)
    assert found.served == pytest.approx(stats.poisson.cdf(15, 20), abs=1e-9)


def test_nothing_is_carried_for_nobody():
    found = carry([], 0.95)
    assert (found.required, found.load, found.expected, found.served) == (0, 0, 0, 1)


@given(st.lists(rows, min_size=1, max_size=5), st.floats(0.01, 0.999), st.integers(0, 30))
def test_the_service_level_is_met_by_no_more_than_needed(each, level, on_truck):
    found = carry(each, level, on_truck=on_truck)

    assert found.served >= level - 1e-9
    assert found.load == max(found.required - on_truck, 0)
    if found.load:
        assert carry(each, level, on_truck=on_truck, most_units=found.required - 1).served < level
    # Carried + missing = needed + brought back, on average.
    carried = on_truck + found.load
    assert carried + found.short == pytest.approx(found.expected + found.left, abs=1e-9)


@given(st.lists(rows, min_size=2, max_size=5), st.randoms())
def test_the_order_of_columns_changes_nothing(each, random):
    shuffled = list(each)
    random.shuffle(shuffled)
    plain, again = carry(each, 0.9), carry(shuffled, 0.9)
    assert again.required == plain.required
    assert again.short == pytest.approx(plain.short, abs=1e-9)


def test_needs_of_uncounted_columns_are_carried_with_a_margin():
    counted = needs([10, 10], np.array([[0, 0, 0, 0, 1.0], [0, 0, 0, 0, 1.0]]))
    unsure = needs([10, 10], np.full((2, 9), 1 / 9))
    assert carry(list(counted), 0.95).required == 12
    assert carry(list(unsure), 0.95).required > 12


def test_service_levels_and_cases_that_cannot_be_are_refused():
    with pytest.raises(BadMeasure, match="service_level"):
        carry([[1.0]], 1.2)
    with pytest.raises(BadMeasure, match="units_per_case"):
        carry([[1.0]], 0.9, units_per_case=0)
    with pytest.raises(BadMeasure, match=r"needs\.0"):
        carry([[0.5, 0.9]], 0.9)
