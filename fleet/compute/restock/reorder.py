"""The (s, S) rule: when what is held and on order is s or less, order up to S.

Exact, after Zheng & Federgruen 1991, "Finding optimal (s, S) policies is about as simple as
evaluating a single policy", Operations Research 39(4).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fleet.compute.columns import Floats
from fleet.compute.restock.distributions import as_pmf
from fleet.compute.restock.policy import critical_ratio
from fleet.compute.results import Reason
from fleet.compute.units import BadMeasure


@dataclass(frozen=True, slots=True)
class ReorderRule:
    """The rule of least cost: `reorder_at` is s, `up_to` is S.

    `cost_minor` is the mean cost of a period, orders included; `periods_between_orders` a mean.
    """

    reorder_at: int
    up_to: int
    cost_minor: float
    periods_between_orders: float
    reasons: tuple[Reason, ...]


def reorder_rule(
    left_cost: float,
    short_cost: float,
    order_cost: float,
    demand: ArrayLike,
    *,
    until_arrival: ArrayLike | None = None,
) -> ReorderRule:
    """The best (s, S) for demand that waits when it cannot be met, reviewed every period.

    - `left_cost` (h), `short_cost` (p): of a unit a period, above 0; `order_cost` (K): 0 or more.
    - `demand` (U,): the chances of 0, 1, ... units in a period, alike from period to period.
    - `until_arrival` (V,): the demand from an order until the end of the period in which it has
      arrived; left out, an order arrives at once, and it is the demand of the period.

    Raises BadMeasure for costs that bound nothing and for a demand that never comes.
    """
    if left_cost <= 0 or short_cost <= 0:
        raise BadMeasure("left_cost", "a unit left and a unit short must both cost something")
    critical_ratio(left_cost, short_cost)
    if not (np.isfinite(order_cost) and order_cost >= 0):
        raise BadMeasure("order_cost", f"{order_cost} cannot be used; give 0 or more")
    pmf = as_pmf("demand", demand)[0]
    arriving = pmf if until_arrival is None else as_pmf("until_arrival", until_arrival)[0]
    search = _Search(pmf, arriving, left_cost, short_cost, order_cost)
    s, up_to, cost = search.best()
    between = search.periods(up_to - s)
    numbers = {
        "reorder_at": s,
        "up_to": up_to,
        "left_cost_minor": left_cost,
        "short_cost_minor": short_cost,
        "order_cost_minor": order_cost,
        "cost_minor": cost,
        "periods_between_orders": between,
    }
    text = (
        f"At {s} or less, order up to {up_to}: {cost:.4g} a period, with {order_cost:g} an order, "
        f"{left_cost:g} a unit left and {short_cost:g} a unit short; an order every "
        f"{between:.1f} periods."
    )
    return ReorderRule(s, up_to, cost, between, (Reason("reorder_rule", text, dict(numbers)),))


def rule_cost(
    left_cost: float,
    short_cost: float,
    order_cost: float,
    demand: ArrayLike,
    reorder_at: int,
    up_to: int,
) -> float:
    """The mean cost of a period under any (s, S), with orders that arrive at once."""
    if reorder_at >= up_to:
        raise BadMeasure("reorder_at", f"{reorder_at} is not below the level of {up_to}")
    pmf = as_pmf("demand", demand)[0]
    return _Search(pmf, pmf, left_cost, short_cost, order_cost).cost(reorder_at, up_to)


class _Search:
    """The renewal quantities of the paper, grown as far as they are asked for."""

    def __init__(
        self, pmf: Floats, arriving: Floats, left: float, short: float, order: float
    ) -> None:
        if pmf[0] >= 1:
            raise BadMeasure("demand", "nothing is ever asked for, so nothing is to be kept")
        self._pmf = pmf
        self._arriving = arriving
        self._left, self._short, self._order = left, short, order
        self._mean = float(arriving @ np.arange(arriving.size))
        # E[(y - D)+] for y = 0, 1, ... is the running sum of P(D <= y - 1).
        self._over = np.concatenate([[0.0], np.cumsum(np.cumsum(arriving))])
        self._visits = np.array([1 / (1 - pmf[0])])

    def period_cost(self, level: int) -> float:
        """G(y) = h E[(y - D)+] + p E[(D - y)+]."""
        last = self._over.size - 1
        over = 0.0
        if level > 0:
            over = float(self._over[min(level, last)]) + max(level - last, 0)
        return self._left * over + self._short * (over + self._mean - level)

    def visits(self, count: int) -> Floats:
        """m(0) ... m(count - 1): mean periods spent at S - j between two orders."""
        while self._visits.size < count:
            done = self._visits.size
            grown = np.concatenate([self._visits, np.zeros(done)])
            for j in range(done, grown.size):
                asked = self._pmf[1 : j + 1]
                grown[j] = asked @ grown[j - asked.size : j][::-1] * self._visits[0]
            self._visits = grown
        return self._visits[:count]

    def periods(self, span: int) -> float:
        """M(span): mean periods between two orders."""
        return float(self.visits(span).sum())

    def cost(self, s: int, up_to: int) -> float:
        """c(s, S) = (K + sum over j of m(j) G(S - j)) / M(S - s), j from 0 to S - s - 1."""
        visits = self.visits(up_to - s)
        costs = np.array([self.period_cost(up_to - j) for j in range(up_to - s)])
        return float((self._order + visits @ costs) / visits.sum())

    def best(self) -> tuple[int, int, float]:
        """The best s and S, and their cost, by the search of the paper."""
        ratio = self._short / (self._short + self._left)
        cheapest = int(np.argmax(np.cumsum(self._arriving) >= ratio - 1e-12))
        best_up_to = cheapest
        s = cheapest - 1
        while self.cost(s, best_up_to) > self.period_cost(s):
            s -= 1
        cost = self.cost(s, best_up_to)
        up_to = best_up_to + 1
        while self.period_cost(up_to) <= cost:
            if self.cost(s, up_to) < cost:
                best_up_to = up_to
                while self.cost(s, best_up_to) <= self.period_cost(s + 1):
                    s += 1
                cost = self.cost(s, best_up_to)
            up_to += 1
        return s, best_up_to, cost
