"""How much to keep where stock is ordered: newsvendor and base-stock levels, orders in cases.

The notation of the field is in the docstrings: h is the cost of a unit left over, p that of a unit
short, each a period; K is the cost of an order. Amounts are in minor units of money.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from fleet.compute.columns import Floats
from fleet.compute.restock.distributions import as_pmf, poisson, quantiles, total
from fleet.compute.restock.loss import Loss, loss, normal_loss, poisson_loss, require_demand
from fleet.compute.results import Reason
from fleet.compute.units import BadMeasure, require_count

#: Standard deviations of a Poisson demand beyond which nothing is asked for: the chance is below
#: the precision of a double.
_FAR_SD = 12


@dataclass(frozen=True, slots=True)
class BestLevel:
    """The level of least expected cost, and what it does.

    `ratio` is the critical ratio p / (p + h), `served` the chance that no demand is missed,
    `short` and `left` are expected units. Units are whole for demand in whole units.
    """

    level: float
    cost_minor: float
    ratio: float
    served: float
    short: float
    left: float
    reasons: tuple[Reason, ...]


def critical_ratio(left_cost: float, short_cost: float) -> float:
    """p / (p + h). Raises BadMeasure unless both are 0 or more and one is above 0."""
    for field, value in (("left_cost", left_cost), ("short_cost", short_cost)):
        if not math.isfinite(value) or value < 0:
            raise BadMeasure(field, f"{value} cannot be used; give 0 or more")
    if left_cost + short_cost == 0:
        raise BadMeasure("short_cost", "a unit short or a unit left must cost something")
    return short_cost / (short_cost + left_cost)


def newsvendor_normal(left_cost: float, short_cost: float, mean: float, sd: float) -> BestLevel:
    """The level mean + z sd at the critical ratio, for normal demand (Arrow, Harris & Marschak
    1951). Raises BadMeasure where a cost of 0 makes the level boundless."""
    ratio = critical_ratio(left_cost, short_cost)
    require_demand(mean, sd)
    if not 0 < ratio < 1:
        raise BadMeasure("left_cost", "both costs must be above 0 for normal demand")
    level = mean + sd * float(special.ndtri(ratio))
    return _best(left_cost, short_cost, level, normal_loss(level, mean, sd), ratio)


def newsvendor_poisson(left_cost: float, short_cost: float, mean: float) -> BestLevel:
    """The least level whose chance of meeting a Poisson demand reaches the critical ratio."""
    ratio = critical_ratio(left_cost, short_cost)
    demand = poisson_demand(mean)
    level = int(quantiles(demand[np.newaxis, :], ratio)[0])
    served = float(special.pdtr(level, mean))
    return _best(left_cost, short_cost, level, poisson_loss(level, mean), served)


def newsvendor(left_cost: float, short_cost: float, demand: ArrayLike) -> BestLevel:
    """The least level whose chance of meeting the demand reaches the critical ratio.

    `demand` (U,): the chances of 0, 1, ... units.
    """
    ratio = critical_ratio(left_cost, short_cost)
    pmf = as_pmf("demand", demand)
    level = int(quantiles(pmf, ratio)[0])
    served = min(float(pmf[0, : level + 1].sum()), 1.0)
    return _best(left_cost, short_cost, level, loss(level, pmf[0]), served)


def base_stock(
    left_cost: float,
    short_cost: float,
    demand: ArrayLike,
    *,
    lead_time_periods: int = 0,
) -> BestLevel:
    """The level to order up to every period, without a cost of ordering.

    `demand` (U,) is that of one period, alike and independent from period to period. What is
    ordered now comes after `lead_time_periods`, so stock and orders must last for one period more
    than those: the newsvendor level of their sum.
    """
    require_count("lead_time_periods", lead_time_periods, least=0)
    return newsvendor(left_cost, short_cost, over_periods(demand, lead_time_periods + 1))


def base_stock_normal(
    left_cost: float,
    short_cost: float,
    mean: float,
    sd: float,
    *,
    lead_time_periods: float = 0,
) -> BestLevel:
    """As `base_stock`, for normal demand; the lead time may be a part of a period."""
    if not math.isfinite(lead_time_periods) or lead_time_periods < 0:
        raise BadMeasure("lead_time_periods", f"{lead_time_periods} cannot be; give 0 or more")
    periods = lead_time_periods + 1
    return newsvendor_normal(left_cost, short_cost, mean * periods, sd * math.sqrt(periods))


def over_periods(demand: ArrayLike, periods: int) -> Floats:
    """The demand of several periods, alike and independent, as (U',)."""
    require_count("periods", periods)
    return total(np.repeat(as_pmf("demand", demand)[:1], periods, axis=0))


def poisson_demand(mean: float) -> Floats:
    """A Poisson demand as (U,), long enough that nothing of weight lies beyond its end."""
    require_demand(mean)
    demand: Floats = poisson(mean, int(mean + _FAR_SD * math.sqrt(mean) + 40))[0]
    return demand


@dataclass(frozen=True, slots=True)
class Order:
    """What to order: whole cases. 0 units where nothing is to be ordered yet."""

    units: int
    cases: int
    position_after: int
    reasons: tuple[Reason, ...]


def order_up_to(
    position: int,
    *,
    reorder_at: int,
    up_to: int,
    units_per_case: int = 1,
    minimum_cases: int = 1,
) -> Order:
    """The order of an (s, S) rule, or of a base stock (`reorder_at` = `up_to` - 1).

    `position` is what is held and what is on order, less what is promised. Nothing is ordered
    above `reorder_at`. Whole cases are rounded up, and to the supplier's minimum.
    """
    require_count("units_per_case", units_per_case)
    require_count("minimum_cases", minimum_cases, least=0)
    if reorder_at >= up_to:
        raise BadMeasure("reorder_at", f"{reorder_at} is not below the level of {up_to}")
    numbers = {"position": position, "reorder_at": reorder_at, "up_to": up_to}
    if position > reorder_at:
        why = f"{position} held and on order are more than the order point of {reorder_at}."
        return Order(0, 0, position, (Reason("enough", why, dict(numbers)),))
    wanted = up_to - position
    cases = max(-(-wanted // units_per_case), minimum_cases)
    units = cases * units_per_case
    reasons = [
        Reason(
            "order_point",
            f"{position} held and on order are at or below the order point of {reorder_at}: "
            f"{wanted} are missing from {up_to}.",
            {**numbers, "wanted": wanted},
        )
    ]
    if units != wanted:
        reasons.append(
            Reason(
                "whole_cases",
                f"{cases} cases of {units_per_case} are {units}, "
                f"{units - wanted} more than is missing.",
                {
                    "cases": cases,
                    "units_per_case": units_per_case,
                    "minimum_cases": minimum_cases,
                    "more": units - wanted,
                },
            )
        )
    return Order(units, cases, position + units, tuple(reasons))


def _best(
    left_cost: float, short_cost: float, level: float, lost: Loss, served: float
) -> BestLevel:
    ratio = critical_ratio(left_cost, short_cost)
    cost = left_cost * lost.left + short_cost * lost.short
    values = {
        "left_cost_minor": left_cost,
        "short_cost_minor": short_cost,
        "ratio": ratio,
        "level": level,
        "served": served,
    }
    text = (
        f"A unit short costs {short_cost:g}, a unit left {left_cost:g}: all demand is to be met "
        f"with a chance of {ratio:.1%}, which {level:.4g} units reach ({served:.1%})."
    )
    outcome = Reason(
        "outcome",
        f"{lost.short:.2f} units short and {lost.left:.2f} left are expected: {cost:.4g} in all.",
        {"short": lost.short, "left": lost.left, "cost_minor": cost},
    )
    return BestLevel(
        level=level,
        cost_minor=cost,
        ratio=ratio,
        served=served,
        short=lost.short,
        left=lost.left,
        reasons=(Reason("critical_ratio", text, dict(values)), outcome),
    )
