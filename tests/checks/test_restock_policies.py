"""Levels and order rules against published figures and a reference library.

Sources stand beside each check. "Snyder & Shen" is Fundamentals of Supply Chain Theory, 2nd ed.,
whose examples come as instances with the library stockpyl 1.0.2.
"""

from __future__ import annotations

import numpy as np
import pytest
from stockpyl.instances import load_instance
from stockpyl.loss_functions import discrete_loss, normal_loss, poisson_loss
from stockpyl.newsvendor import newsvendor_discrete, newsvendor_normal, newsvendor_poisson
from stockpyl.ss import s_s_cost_discrete, s_s_discrete_exact

from fleet.compute.restock import loss, policy, reorder
from fleet.compute.restock.fill import Terms, levels

# Zheng & Federgruen 1991, Operations Research 39(4), the 24 instances of Poisson demand with
# holding 1, shortage 9 and an order at 64: mean, s, S, cost a period. As carried in the source
# distribution of stockpyl 1.0.2, tests/test_ss.py.
HOLDING, SHORTAGE, ORDER = 1, 9, 64
ZHENG_AND_FEDERGRUEN = [
    (10, 6, 40, 35.022),
    (15, 10, 49, 42.698),
    (20, 14, 62, 49.173),
    (21, 15, 65, 50.406),
    (22, 16, 68, 51.632),
    (23, 17, 52, 52.757),
    (24, 18, 54, 53.518),
    (25, 19, 56, 54.262),
    (30, 23, 66, 57.819),
    (35, 28, 77, 61.215),
    (40, 33, 87, 64.512),
    (45, 37, 97, 67.776),
    (50, 42, 108, 70.975),
    (51, 43, 110, 71.611),
    (52, 44, 112, 72.246),
    (55, 47, 118, 74.149),
    (59, 51, 126, 76.679),
    (60, 52, 129, 77.306),
    (61, 52, 131, 77.929),
    (63, 54, 73, 78.287),
    (64, 55, 74, 78.402),
    (65, 56, 75, 78.518),
    (70, 62, 81, 79.037),
    (75, 67, 86, 79.554),
]


@pytest.mark.parametrize(("mean", "s", "up_to", "cost"), ZHENG_AND_FEDERGRUEN)
def test_the_published_reorder_rules(mean, s, up_to, cost):
    demand = policy.poisson_demand(mean)

    rule = reorder.reorder_rule(HOLDING, SHORTAGE, ORDER, demand)

    assert (rule.reorder_at, rule.up_to) == (s, up_to)
    assert rule.cost_minor == pytest.approx(cost, abs=0.0006)
    reached = reorder.rule_cost(HOLDING, SHORTAGE, ORDER, demand, s, up_to)
    assert reached == pytest.approx(cost, abs=0.0006)


def test_the_textbook_reorder_rule():
    """Snyder & Shen, example 4.7."""
    given = load_instance("example_4_7")

    rule = reorder.reorder_rule(
        given["holding_cost"],
        given["stockout_cost"],
        given["fixed_cost"],
        policy.poisson_demand(given["demand_mean"]),
    )

    assert (rule.reorder_at, rule.up_to) == (4, 10)
    assert rule.cost_minor == pytest.approx(8.034112, abs=1e-6)
    # A second way: the library's own exact search.
    s, up_to, cost = s_s_discrete_exact(1, 4, 5, True, 6)
    assert (rule.reorder_at, rule.up_to) == (s, up_to)
    assert rule.cost_minor == pytest.approx(cost, abs=1e-6)


def test_reorder_rules_of_lumpy_demand_agree_with_the_library():
    """stockpyl 1.0.2, exact search and cost of any rule for a demand given as chances."""
    rng = np.random.default_rng(3)
    for _ in range(8):
        chances = rng.dirichlet(np.full(9, 0.6))
        left, short, order = rng.uniform(0.5, 3), rng.uniform(2, 20), rng.uniform(1, 40)

        rule = reorder.reorder_rule(left, short, order, chances)

        # The library reads beyond the last chance, so it is given zeros to read.
        padded = [*chances, *[0.0] * 191]
        s, up_to, cost = s_s_discrete_exact(left, short, order, False, None, 199, padded)
        assert rule.cost_minor == pytest.approx(cost, abs=1e-9)
        assert (rule.reorder_at, rule.up_to) == (s, up_to)
        elsewhere = s_s_cost_discrete(2, 9, left, short, order, False, None, 199, padded)
        ours = reorder.rule_cost(left, short, order, chances, 2, 9)
        assert ours == pytest.approx(elsewhere, abs=1e-9)


def test_the_textbook_newsvendor_of_normal_demand():
    """Snyder & Shen, example 4.3."""
    given = load_instance("example_4_3")
    costs = given["holding_cost"], given["stockout_cost"]

    best = policy.newsvendor_normal(*costs, given["demand_mean"], given["demand_sd"])

    assert best.level == pytest.approx(56.603956, abs=1e-6)
    assert best.cost_minor == pytest.approx(1.997605, abs=1e-6)
    assert (best.level, best.cost_minor) == pytest.approx(newsvendor_normal(*costs, 50, 8))


def test_the_textbook_base_stock_over_a_lead_time():
    """Snyder & Shen, example 4.4: S = mean (L + 1) + z sd sqrt(L + 1), worked by the library."""
    given = load_instance("example_4_4")
    costs = given["holding_cost"], given["stockout_cost"]

    best = policy.base_stock_normal(
        *costs, given["demand_mean"], given["demand_sd"], lead_time_periods=given["lead_time"]
    )

    level, cost = newsvendor_normal(*costs, 50, 8, lead_time=given["lead_time"])
    assert (best.level, best.cost_minor) == pytest.approx((level, cost))


@pytest.mark.parametrize(
    ("left", "short", "mean", "level", "cost"),
    [
        # The costs and the mean of Snyder & Shen, example 4.7, without its cost of an order.
        (1, 4, 6, 8, 3.570107),
        # Snyder & Shen, problem 4.8a.
        (200, 270, 18, 19, 786.088441),
    ],
)
def test_newsvendors_of_poisson_demand(left, short, mean, level, cost):
    best = policy.newsvendor_poisson(left, short, mean)

    assert best.level == level
    assert best.cost_minor == pytest.approx(cost, abs=1e-6)
    assert (best.level, best.cost_minor) == pytest.approx(newsvendor_poisson(left, short, mean))
    as_chances = policy.newsvendor(left, short, policy.poisson_demand(mean))
    assert (as_chances.level, as_chances.cost_minor) == pytest.approx((level, best.cost_minor))


def test_the_textbook_newsvendor_of_lumpy_demand():
    """Snyder & Shen, problem 4.7b."""
    given = load_instance("problem_4_7b")
    chances = {int(units): chance for units, chance in given["demand_pmf"].items()}
    demand = [chances.get(units, 0.0) for units in range(max(chances) + 1)]
    costs = given["holding_cost"], given["stockout_cost"]

    best = policy.newsvendor(*costs, demand)

    level, cost = newsvendor_discrete(*costs, demand_pmf=chances)
    assert best.level == level
    assert best.cost_minor == pytest.approx(cost)


def test_a_base_stock_in_whole_units_lasts_until_the_next_order_has_come():
    """Poisson demands add up to a Poisson demand: stockpyl 1.0.2 with the mean of four weeks."""
    best = policy.base_stock(2, 9, policy.poisson_demand(7), lead_time_periods=3)

    assert (best.level, best.cost_minor) == pytest.approx(newsvendor_poisson(2, 9, 28), rel=1e-9)


def test_the_loss_functions():
    """Stock 18 against a Poisson mean of 15; and stockpyl 1.0.2 for every kind."""
    of_poisson = loss.poisson_loss(18, 15)
    assert of_poisson.short == pytest.approx(0.517610, abs=1e-6)
    assert of_poisson.left == pytest.approx(3.517610, abs=1e-6)
    for stock in (0, 4, 18, 40):
        ours = loss.poisson_loss(stock, 15)
        assert (ours.short, ours.left) == pytest.approx(poisson_loss(stock, 15), abs=1e-9)
        ours = loss.normal_loss(stock, 15, 6)
        assert (ours.short, ours.left) == pytest.approx(normal_loss(stock, 15, 6), abs=1e-9)
    chances = [0.1, 0.2, 0.05, 0.4, 0.25]
    for stock in (0, 2, 3, 9):
        ours = loss.loss(stock, chances)
        theirs = discrete_loss(stock, pmf=dict(enumerate(chances)))
        assert (ours.short, ours.left) == pytest.approx(theirs)


@pytest.mark.parametrize(("mean", "level"), [(5, 9), (9.8, 15), (14, 20)])
def test_a_drink_that_keeps_is_filled_far_beyond_its_mean(mean, level):
    """Margin 1.10, a leftover costs 0.06, ratio .9483: the least y with P(D <= y) at the ratio,
    from scipy's Poisson quantiles. The amounts are an example of our own."""
    terms = Terms.of(110, 6)
    assert terms.ratio[0] == pytest.approx(0.9483, abs=5e-5)

    assert levels(policy.poisson_demand(mean), terms, 60).level.tolist() == [level]

    assert policy.newsvendor_poisson(6, 110, mean).level == level
