"""Order rules of a warehouse: best among all, in whole cases, with their reasons."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.compute.restock.policy import (
    base_stock,
    newsvendor,
    newsvendor_normal,
    order_up_to,
    over_periods,
    poisson_demand,
)
from fleet.compute.restock.reorder import reorder_rule, rule_cost
from fleet.compute.units import BadMeasure

demands = st.lists(st.floats(0.01, 1), min_size=2, max_size=7).map(
    lambda weights: np.array(weights) / sum(weights)
)
costs = st.floats(0.2, 20)


@settings(max_examples=40, deadline=None)
@given(demands, costs, costs, st.floats(0, 60))
def test_no_other_rule_costs_less(demand, left, short, order):
    rule = reorder_rule(left, short, order, demand)

    every = [
        rule_cost(left, short, order, demand, s, up_to)
        for s in range(rule.reorder_at - 6, rule.up_to + 4)
        for up_to in range(s + 1, rule.up_to + 8)
    ]
    assert rule.cost_minor <= min(every) + 1e-9
    assert rule.cost_minor == pytest.approx(min(every))


def test_a_rule_is_what_a_long_run_of_it_costs():
    """Simulated over 200,000 weeks, orders that come two weeks later, demand that waits."""
    rng = np.random.default_rng(4)
    demand = poisson_demand(6)
    rule = reorder_rule(1, 9, 20, demand, until_arrival=over_periods(demand, 3))

    weeks = 200_000
    asked = rng.poisson(6, weeks)
    position, on_shelf, coming, cost = rule.up_to, rule.up_to, [0, 0], 0.0
    for units in asked.tolist():
        if position <= rule.reorder_at:
            coming.append(rule.up_to - position)
            position, cost = rule.up_to, cost + 20
        else:
            coming.append(0)
        on_shelf += coming.pop(0) - units
        position -= units
        cost += max(on_shelf, 0) + 9 * max(-on_shelf, 0)
    assert cost / weeks == pytest.approx(rule.cost_minor, rel=0.01)


@given(demands, costs, costs)
def test_the_newsvendor_level_is_the_cheapest(demand, left, short):
    best = newsvendor(left, short, demand)

    at = np.arange(demand.size)
    every = [
        demand @ (left * np.maximum(level - at, 0) + short * np.maximum(at - level, 0))
        for level in range(demand.size)
    ]
    assert best.cost_minor == pytest.approx(min(every))
    assert best.reasons[0].values["ratio"] == best.ratio


def test_a_longer_lead_time_keeps_more():
    levels = [base_stock(1, 9, poisson_demand(5), lead_time_periods=n).level for n in range(4)]
    assert levels == sorted(set(levels))


@given(st.integers(-20, 60), st.integers(0, 30), st.integers(1, 40), st.integers(1, 24))
def test_orders_are_whole_cases_that_reach_the_level_and_no_case_more(
    position, reorder_at, more, units_per_case
):
    up_to = reorder_at + more
    order = order_up_to(position, reorder_at=reorder_at, up_to=up_to, units_per_case=units_per_case)

    assert order.units == order.cases * units_per_case
    assert order.position_after == position + order.units
    if position > reorder_at:
        assert order.units == 0
    else:
        assert up_to <= order.position_after < up_to + units_per_case


def test_a_supplier_s_minimum_is_ordered_or_nothing():
    order = order_up_to(9, reorder_at=10, up_to=20, units_per_case=12, minimum_cases=4)
    assert (order.cases, order.units) == (4, 48)
    assert [one.code for one in order.reasons] == ["order_point", "whole_cases"]
    assert order.reasons[1].values["more"] == 37
    none = order_up_to(11, reorder_at=10, up_to=20, units_per_case=12, minimum_cases=4)
    assert (none.units, none.reasons[0].code) == (0, "enough")


def test_costs_that_bound_nothing_are_refused():
    with pytest.raises(BadMeasure, match="left_cost"):
        reorder_rule(0, 4, 5, [0.5, 0.5])
    with pytest.raises(BadMeasure, match="nothing is ever asked for"):
        reorder_rule(1, 4, 5, [1.0, 0.0])
    with pytest.raises(BadMeasure, match="order_cost"):
        reorder_rule(1, 4, float("nan"), [0.5, 0.5])
    with pytest.raises(BadMeasure, match="short_cost"):
        newsvendor(0, 0, [0.5, 0.5])
    with pytest.raises(BadMeasure, match="sd"):
        newsvendor_normal(1, 1, 5, -1)
    with pytest.raises(BadMeasure, match="reorder_at"):
        order_up_to(3, reorder_at=10, up_to=10)
