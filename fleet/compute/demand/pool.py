"""What columns have in common by machine and product: where a new one starts from.

The mean rate of a column is taken as base x machine x product, each of the two factors shrunk to
1 as if the fleet's mean had been sold there a few times. How far columns stray from that mean
(an empirical-Bayes prior: Robbins 1956, Casella 1985) is found by moments.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Self

import numpy as np

from .arrays import BadSales, Floats, Ints, sums
from .model import FORM, ColumnModel

STEPS: Final = 12
LEAST_SHAPE: Final = 0.3
MOST_SHAPE: Final = 50.0


@dataclass(frozen=True, slots=True)
class Pool:
    """The common part of a fit, small enough to be stored as JSON.

    base            units a usual day of a column of which nothing else is known
    machine         factor by machine number; product: by product number
    shape           of the Gamma prior of a column whose machine and product are known
    machine_spread  variance of the logarithm of machines' factors; product_spread likewise
    dispersion      of counts around their rate, pooled
    weekday         7 factors by machine number; fleet_weekday for a new machine
    """

    base: float
    machine: Mapping[int, float]
    product: Mapping[int, float]
    shape: float
    machine_spread: float
    product_spread: float
    dispersion: float
    fleet_weekday: tuple[float, ...]
    weekday: Mapping[int, tuple[float, ...]]
    trend_a_week: float
    trend_damping: float
    fitted_at: float

    def as_json(self) -> dict[str, Any]:
        """JSON, read back by `from_json`; its size goes with machines and products."""
        kept = {name: getattr(self, name) for name in self.__dataclass_fields__}
        for name in ("machine", "product"):
            kept[name] = {str(key): value for key, value in kept[name].items()}
        kept["fleet_weekday"] = list(self.fleet_weekday)
        kept["weekday"] = {str(key): list(value) for key, value in self.weekday.items()}
        return {"form": FORM, **kept}

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Self:
        """A stored pool. Raises BadSales when it was not written by `as_json` of this form."""
        if kept.get("form") != FORM:
            raise BadSales("form", f"is {kept.get('form')!r}, must be {FORM}: fit again")
        missing = [name for name in cls.__dataclass_fields__ if name not in kept]
        if missing:
            raise BadSales(missing[0], "is missing: fit again")
        given = {name: kept[name] for name in cls.__dataclass_fields__}
        for name in ("machine", "product"):
            given[name] = {int(key): float(value) for key, value in given[name].items()}
        given["fleet_weekday"] = tuple(given["fleet_weekday"])
        given["weekday"] = {int(key): tuple(value) for key, value in given["weekday"].items()}
        return cls(**given)


def pool_model(pool: Pool, machine: int | None = None, product: int | None = None) -> ColumnModel:
    """The demand of a column that has sold nothing yet.

    A machine or product that is not known (None, or none of the pool's) takes the fleet's mean,
    and the uncertainty grows by how far machines or products are spread.
    """
    known_machine = machine is not None and machine in pool.machine
    known_product = product is not None and product in pool.product
    rate = pool.base
    spread = 1 / pool.shape
    weekday = pool.fleet_weekday
    if machine is not None and known_machine:
        rate *= pool.machine[machine]
        weekday = pool.weekday[machine]
    else:
        spread += pool.machine_spread
    if product is not None and known_product:
        rate *= pool.product[product]
    else:
        spread += pool.product_spread
    return ColumnModel(
        shape=1 / spread,
        exposure_days=1 / spread / rate,
        dispersion=pool.dispersion,
        weekday=weekday,
        trend_a_week=pool.trend_a_week,
        trend_damping=pool.trend_damping,
        fitted_at=pool.fitted_at,
        half_life_days=0.0,
        own_exposure=0.0,
    )


def pooled(models: Sequence[ColumnModel], shares: Sequence[float]) -> ColumnModel:
    """One column's demand from several columns' of one kind: their mean, and their spread.

    `shares` are weights above zero. For a product in a column where neither its machine nor its
    place is known, say: the columns that hold it elsewhere.
    """
    if not models or len(models) != len(shares) or min(shares) <= 0:
        raise BadSales("shares", "must be above zero, one a model, and at least one")
    weight = np.array(shares) / sum(shares)
    rate = np.array([one.rate for one in models])
    mean = float(weight @ rate)
    own = np.array([one.shape / one.exposure_days**2 for one in models])
    variance = float(weight @ (own + (rate - mean) ** 2))
    weekday = weight @ np.array([one.weekday for one in models])
    last = max(models, key=lambda one: one.fitted_at)
    return ColumnModel(
        shape=mean**2 / variance,
        exposure_days=mean / variance,
        dispersion=float(weight @ np.array([one.dispersion for one in models])),
        weekday=tuple((weekday / weekday.mean()).tolist()),
        trend_a_week=last.trend_a_week,
        trend_damping=last.trend_damping,
        fitted_at=last.fitted_at,
        half_life_days=0.0,
        own_exposure=0.0,
    )


@dataclass(frozen=True, eq=False)
class Prior:
    """Each column's prior: its mean rate [columns] and the shape that all share.

    The means leave the column's own sales out: they will be counted with the column itself.
    """

    mean: Floats
    shape: float
    base: float
    machine: Floats
    product: Floats
    machine_spread: float
    product_spread: float


def prior_of(
    sold: Floats, exposure: Floats, machine: Ints, product: Ints, dispersion: Floats, worth: float
) -> Prior:
    """From each column's faded sales and exposure; `machine` and `product` from 0 on."""
    total = float(exposure.sum())
    # Half a unit, even if nothing at all was sold; and in no days at all, half a unit a day.
    base = (float(sold.sum()) + 0.5) / (total if total > 0 else 1.0)
    sold_m, sold_p = (
        sums(machine, sold, int(machine.max()) + 1),
        sums(product, sold, int(product.max()) + 1),
    )
    of_m, of_p = np.ones(len(sold_m)), np.ones(len(sold_p))
    for _ in range(STEPS):
        plain_m = sums(machine, base * exposure * of_p[product], len(of_m))
        of_m = (sold_m + worth) / (plain_m + worth)
        plain_p = sums(product, base * exposure * of_m[machine], len(of_p))
        of_p = (sold_p + worth) / (plain_p + worth)
    plain_m = sums(machine, base * exposure * of_p[product], len(of_m))
    own = base * exposure
    others_m = (sold_m[machine] - sold + worth) / (plain_m[machine] - own * of_p[product] + worth)
    others_p = (sold_p[product] - sold + worth) / (plain_p[product] - own * of_m[machine] + worth)
    mean = base * np.maximum(others_m, 1e-3) * np.maximum(others_p, 1e-3)
    return Prior(
        mean,
        _shape(sold, mean * exposure, dispersion),
        base,
        of_m,
        of_p,
        _spread(of_m, sold_m + worth),
        _spread(of_p, sold_p + worth),
    )


def _shape(sold: Floats, expected: Floats, dispersion: Floats) -> float:
    """Shape of the Gamma by which columns stray from what their machine and product expect."""
    counted = dispersion * expected
    weight = 1 / np.maximum(counted + expected**2 / 2, 1e-9) * (expected > 0)
    strayed = float(weight @ ((sold - expected) ** 2 - counted))
    size = float(weight @ expected**2)
    if strayed <= size / MOST_SHAPE:
        return MOST_SHAPE
    return max(size / strayed, LEAST_SHAPE)


def _spread(factor: Floats, weight: Floats) -> float:
    logs = np.log(factor)
    mean = float(logs @ weight) / float(weight.sum())
    # Factors shrunk to 1 understate it; a floor keeps a new machine from being sure of itself.
    return max(float(weight @ (logs - mean) ** 2) / float(weight.sum()), 0.02)
