"""Expected units short of, and left over from, a stock: the loss function and its complement."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from fleet.compute.restock.distributions import as_pmf
from fleet.compute.units import BadMeasure


@dataclass(frozen=True, slots=True)
class Loss:
    """E[(D - x)+] and E[(x - D)+], in units."""

    short: float
    left: float


def normal_loss(stock: float, mean: float, sd: float) -> Loss:
    """For normal demand: short = sd (phi(z) - z (1 - Phi(z))), z = (stock - mean) / sd.

    A standard result, as in Hadley & Whitin 1963. Raises BadMeasure for an sd below 0.
    """
    require_demand(mean, sd)
    if sd == 0:
        return Loss(max(mean - stock, 0.0), max(stock - mean, 0.0))
    z = (stock - mean) / sd
    density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    short = sd * (density - z * float(special.ndtr(-z)))
    return Loss(short, short + stock - mean)


def poisson_loss(stock: int, mean: float) -> Loss:
    """For Poisson demand: short = mean P(D >= stock) - stock P(D >= stock + 1).

    From u P(D = u) = mean P(D = u - 1). Stock below 0 is what is owed already.
    """
    require_demand(mean)
    if stock < 0:
        return Loss(mean - stock, 0.0)
    beyond = float(special.pdtrc(stock, mean))
    reached = float(special.pdtrc(stock - 1, mean)) if stock else 1.0
    short = mean * reached - stock * beyond
    return Loss(short, short + stock - mean)


def loss(stock: float, demand: ArrayLike) -> Loss:
    """For any demand in whole units, the chances of 0, 1, ... as (U,)."""
    pmf = as_pmf("demand", demand)[0]
    over = np.arange(pmf.size) - stock
    return Loss(float(pmf @ np.maximum(over, 0)), float(pmf @ np.maximum(-over, 0)))


def require_demand(mean: float, sd: float = 0.0) -> None:
    """Refuse a mean or a spread of demand that cannot be. Raises BadMeasure."""
    for field, value in (("mean", mean), ("sd", sd)):
        if not math.isfinite(value) or value < 0:
            raise BadMeasure(field, f"{value} cannot be used; give 0 units or more")
