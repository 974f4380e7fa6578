"""Up to what level a column is filled: worth of each unit, dates, capacity, needs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.restock.distributions import poisson
from fleet.compute.restock.fill import Terms, fill_quantity, levels, needs, worth_of_each
from fleet.compute.restock.stock import counted
from fleet.compute.units import BadMeasure

amounts = st.floats(0, 300)
rates = st.floats(0, 30)


def by_trying(mean: float, late: float, terms: Terms, capacity: int) -> tuple[int, float]:
    """The level that earns most, by trying each on every demand there may be."""
    chances, dated = poisson([mean], 150)[0], poisson([late], 150)[0]
    at = np.arange(150)
    best, most = 0, 0.0
    for level in range(capacity + 1):
        earned = terms.margin[0] * chances @ np.minimum(at, level)
        left = terms.leftover[0] * chances @ np.maximum(level - at, 0)
        wasted = terms.waste[0] / terms.visits_to_date[0] * dated @ np.maximum(level - at, 0)
        worth = earned - left - wasted
        if worth > most + 1e-9:
            best, most = level, worth
    return best, most


@given(rates, st.floats(1, 4), amounts, amounts, amounts, st.integers(0, 60))
def test_the_level_is_the_best_of_all_that_could_be_tried(
    mean, longer, margin, leftover, waste, capacity
):
    terms = Terms.of(margin, leftover, waste, longer)
    late = poisson([mean * longer], 150)

    found = levels(poisson([mean], 150), terms, capacity, until_date=late)

    level, worth = by_trying(mean, mean * longer, terms, capacity)
    assert found.worth_minor[0] == pytest.approx(worth, abs=1e-6)
    # Levels that earn the same to the last digit may differ.
    assert found.level[0] <= capacity
    if found.level[0] != level:
        each = worth_of_each(poisson([mean], 150), terms, 80, late)[0]
        low, high = sorted((int(found.level[0]), level))
        assert np.abs(each[low:high]).max() < 1e-6


@given(rates, amounts, amounts, amounts, st.integers(0, 40), st.floats(0, 100))
def test_a_better_margin_never_fills_less_and_waste_never_more(
    mean, margin, leftover, waste, capacity, more
):
    demand, late = poisson([mean], 120), poisson([mean * 2], 120)

    def level(margin_minor: float, waste_minor: float) -> int:
        terms = Terms.of(margin_minor, leftover, waste_minor, 2)
        return int(levels(demand, terms, capacity, until_date=late).level[0])

    here = level(margin, waste)
    assert level(margin + more, waste) >= here
    assert level(margin, waste + more) <= here


@given(st.lists(st.tuples(rates, amounts, st.integers(0, 30)), min_size=1, max_size=6), st.data())
def test_the_order_of_columns_changes_nothing(columns, data):
    order = data.draw(st.permutations(range(len(columns))))

    def of(rows):
        means, margins, rooms = (np.array(one) for one in zip(*rows, strict=True))
        return levels(poisson(means, 90), Terms.of(margins, 6), rooms)

    plain, shuffled = of(columns), of([columns[n] for n in order])

    assert shuffled.level.tolist() == plain.level[list(order)].tolist()
    assert shuffled.worth_minor == pytest.approx(plain.worth_minor[list(order)])


@given(st.integers(0, 40), st.integers(-5, 60), st.integers(0, 40))
def test_a_fill_never_exceeds_the_room(level, present, capacity):
    found = int(fill_quantity([level], [present], [capacity])[0])

    assert found >= 0
    assert max(present, 0) + found <= max(capacity, present)
    assert max(present, 0) + found <= max(level, present)


def test_a_short_life_fills_less():
    demand, terms = poisson([5.0], 60), Terms.of(110, 6, 70)

    fresh = levels(demand, terms, 40)
    soon = levels(demand, terms, 40, until_date=poisson([6.0], 60))

    assert fresh.level[0] == 9
    assert soon.level[0] < 9
    assert soon.wasted[0] < 9 - 6 * (1 - 1e-9)


def test_a_lot_that_ends_before_the_next_visit_earns_only_until_then():
    terms = Terms.of(110, 6, 70)
    next_visit, last_day = poisson([10.0], 80), poisson([3.0], 80)

    found = levels(next_visit, terms, 40, until_date=last_day)

    assert found.level[0] <= 3


def test_what_earns_nothing_is_not_filled_unless_something_must_show():
    demand = poisson([5.0], 60)
    assert levels(demand, Terms.of(-20, 6), 40).level.tolist() == [0]
    shown = levels(demand, Terms.of(-20, 6), 40, least=2)
    assert shown.level.tolist() == [2]
    assert "least_level" in [one.code for one in shown.reasons(0)]
    assert levels(demand, Terms.of(-20, 6), 1, least=2).level.tolist() == [1]


def test_the_reasons_carry_the_numbers():
    found = levels(poisson([14.0], 80), Terms.of(110, 6), 12)

    reasons = {one.code: one.values for one in found.reasons(0)}
    assert reasons["critical_ratio"]["worthwhile"] == 20
    assert reasons["critical_ratio"]["ratio"] == pytest.approx(110 / 116)
    assert reasons["capacity"]["capacity"] == 12
    assert reasons["capacity"]["one_more_minor"] > 0
    assert reasons["outcome"]["short"] == pytest.approx(found.short[0])


def test_units_are_conserved_in_the_expectation():
    """Sold + left = level, and sold + short = asked for."""
    found = levels(poisson([9.8], 80), Terms.of(110, 6), 40)

    assert found.level[0] - found.left[0] == pytest.approx(9.8 - found.short[0])


def test_the_need_is_what_the_count_will_show_to_be_missing():
    stock = np.array([[0.1, 0.2, 0.7], [0.5, 0.5, 0.0]])

    found = needs([4, 1], stock)

    assert found[0] == pytest.approx([0, 0, 0.7, 0.2, 0.1])
    assert found[1] == pytest.approx([0.5, 0.5, 0, 0, 0])
    assert needs([3], counted([5], 6))[0] == pytest.approx([1, 0, 0, 0])


def test_costs_and_capacities_that_cannot_be_are_refused():
    with pytest.raises(BadMeasure, match="leftover_minor"):
        Terms.of(100, -1)
    with pytest.raises(BadMeasure, match="margin_minor"):
        Terms.of(float("nan"), 1)
    with pytest.raises(BadMeasure, match="capacity"):
        levels(poisson([3.0], 20), Terms.of(100, 6), -1)
    with pytest.raises(BadMeasure, match="capacity"):
        levels(poisson([3.0], 20), Terms.of(100, 6), 7.5)
