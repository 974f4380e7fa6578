"""What would change what a machine earns: how often it is visited, its prices, its place.

Each answer is a week's gain with how sure it is, from the same beliefs about demand that fills and
suggestions stand on (`fleet.compute.restock.worth`). Money in minor units, as expectations.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.compute.restock.arrangements import Machine
from fleet.compute.restock.swap import HIGH_CHANCE, LOW_CHANCE
from fleet.compute.restock.worth import Worths
from fleet.compute.units import BadMeasure

Floats = NDArray[np.float64]
WEEK_DAYS: Final = 7.0
#: Elasticities weighed between the least and the most, each as likely.
STEPS: Final = 5
#: Fewer places tell nothing of where else a machine could stand.
LEAST_PLACES: Final = 5


@dataclass(frozen=True, slots=True)
class Gain:
    """A week's gain of a change, in minor units.

    `low_minor` and `high_minor` are the 5 % and the 95 % case, `chance_of_gain` how likely there is
    any gain at all; `of` is what was changed to: days between visits, the price as a part of what
    it was, or the quantile of places.
    """

    of: float
    gain_minor: float
    low_minor: float
    high_minor: float
    chance_of_gain: float


def rhythm(machine: Machine, *, visit_minor: float, gaps: Sequence[float]) -> tuple[Gain, ...]:
    """What a week would earn if visits came every so many days, each costing `visit_minor`.

    What is filled in at a visit is what sells until the next; longer gaps run columns dry and let
    goods grow old, shorter ones cost visits. Raises BadMeasure for a gap or a cost below zero.
    """
    if visit_minor < 0:
        raise BadMeasure("visit_minor", "give 0 minor units or more")
    if any(gap <= 0 for gap in gaps):
        raise BadMeasure("gaps", "give more than 0 days")
    now = _weekly(machine) - visit_minor * WEEK_DAYS / machine.visit_days
    return tuple(
        _gain(
            gap,
            _weekly(replace(machine, visit_days=float(gap))) - visit_minor * WEEK_DAYS / gap - now,
        )
        for gap in gaps
    )


def price(
    machine: Machine, prices_minor: ArrayLike, *, part: float, elasticity: tuple[float, float]
) -> Gain:
    """What a week would earn if every price were `part` of what it is (1.05: five percent more).

    Demand follows with a constant elasticity, part ** -e, which nobody knows: it is weighed between
    the two given (both 0 or more), evenly. `prices_minor` is the price of each product, (P,).
    Raises BadMeasure.
    """
    prices = np.asarray(prices_minor, dtype=np.float64)
    least, most = elasticity
    if prices.shape != machine.products.margin_minor.shape or (prices < 0).any():
        raise BadMeasure("prices_minor", "give one price of 0 or more for each product")
    if not 0 < part <= 10:
        raise BadMeasure("part", f"{part:g} cannot be used; give more than 0 and up to 10")
    if not 0 <= least <= most:
        raise BadMeasure("elasticity", "give two numbers of 0 or more, the lesser first")
    now = _weekly(machine)
    margins = machine.products.margin_minor + prices * (part - 1)
    found = []
    for one in np.linspace(least, most, STEPS):
        asked = part ** -float(one)
        products = replace(
            machine.products,
            margin_minor=margins,
            weekly_units=machine.products.weekly_units * asked,
            weekly_sd_units=machine.products.weekly_sd_units * asked,
        )
        found.append(_weekly(replace(machine, products=products)) - now)
    return _gain(part, np.concatenate(found))


def buyers_to_lose(margin_minor: float, more_minor: float) -> float:
    """The part of buyers that a rise of the price may drive away before it earns less.

    more / (margin + more): arithmetic. 0 without a margin or a rise.
    """
    whole = margin_minor + more_minor
    return more_minor / whole if more_minor > 0 and whole > 0 else 0.0


def moving(
    own_minor: float, others_minor: ArrayLike, *, work_minor: float, weeks: float
) -> Gain | None:
    """What a week would earn at another place, judged by what like machines earn where they stand.

    The place it would get is taken to be any of theirs, each as likely; the work of moving is
    spread over `weeks`. None with fewer than LEAST_PLACES others. Raises BadMeasure.
    """
    if weeks <= 0 or work_minor < 0:
        raise BadMeasure("weeks", "give more than 0 weeks, and work of 0 minor units or more")
    others = np.atleast_1d(np.asarray(others_minor, dtype=np.float64))
    if others.size < LEAST_PLACES:
        return None
    return _gain(0.5, others - own_minor - work_minor / weeks)


def _weekly(machine: Machine) -> Floats:
    return Worths(machine).weekly_under(machine.now)


def _gain(of: float, net: Floats) -> Gain:
    low, high = (float(one) for one in np.quantile(net, (LOW_CHANCE, HIGH_CHANCE)))
    return Gain(float(of), float(net.mean()), low, high, float((net > 0).mean()))
