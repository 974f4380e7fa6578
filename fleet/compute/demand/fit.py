"""The whole fit: sales in intervals to what is known of every column, and of new ones."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from . import factors, levels
from .arrays import BadSales, Floats
from .calendar import Calendar
from .factors import Factors
from .history import History, Stretches
from .model import Fitted
from .pool import Pool, Prior, prior_of
from .sales import IntervalSales
from .settings import DEFAULT_SETTINGS, DemandSettings

#: Factors need the columns' rates and rates the factors: so many times around.
ROUNDS: Final = 3
#: Half-life of sales in the means of machines and products.
POOL_HALF_LIFE_DAYS: Final = 56.0


@dataclass(frozen=True, eq=False)
class Fit:
    """What was learned: each column's demand, and what they have in common."""

    columns: Fitted
    pool: Pool


def fit(
    sales: IntervalSales,
    calendar: Calendar,
    as_of: float,
    settings: DemandSettings = DEFAULT_SETTINGS,
) -> Fit:
    """The demand of every column from what was known at `as_of` (days since 1970-01-01).

    Intervals that end later are left out. A column without any starts from its pool. The order
    of the intervals changes nothing. Raises BadSales.
    """
    if not sales.columns:
        raise BadSales("machine", "names no column; there is nothing to fit")
    history = History.of(sales, calendar, as_of, settings.history_days)
    stretches = Stretches.of(history)
    products, product = np.unique(sales.product, return_inverse=True)
    units = history.sales.units.astype(np.float64)
    fading = 0.5 ** ((history.days - history.middle) / POOL_HALF_LIFE_DAYS)
    shared = Factors.none(history)
    dispersion: Floats = np.ones(sales.columns)
    pooled = 1.0
    for around in range(ROUNDS + 1):
        exposure = stretches.exposure(shared.by_day(history))
        prior = prior_of(
            history.by_column(units * fading),
            history.by_column(exposure * fading),
            history.machine,
            product,
            dispersion,
            settings.pool_worth_sales,
        )
        units = levels.fill_dry(history, exposure, prior.mean, prior.shape, dispersion, units)
        dispersion, pooled = levels.dispersion_of(
            history, units, exposure, settings.dispersion_worth
        )
        if around < ROUNDS:
            rate = (history.by_column(units) + prior.shape) / (
                history.by_column(exposure) + prior.shape / prior.mean
            )
            shared = factors.learn(stretches, units, rate, shared, settings)
    found = levels.learn(history, units, exposure, prior.mean, prior.shape, dispersion, settings)
    one = np.ones(sales.columns)
    return Fit(
        Fitted(
            found.shape,
            found.exposure_days,
            dispersion,
            shared.weekday[history.machine],
            shared.trend_a_week * one,
            settings.trend_damping * one,
            as_of * one,
            np.where(found.own_exposure > 0, found.half_life_days, 0),
            found.own_exposure,
        ),
        _pool(sales, products.tolist(), prior, pooled, shared, as_of, settings),
    )


def _pool(
    sales: IntervalSales,
    products: list[int],
    prior: Prior,
    dispersion: float,
    shared: Factors,
    as_of: float,
    settings: DemandSettings,
) -> Pool:
    machines: list[int] = np.unique(sales.machine).tolist()
    return Pool(
        base=prior.base,
        machine=dict(zip(machines, prior.machine.tolist(), strict=True)),
        product=dict(zip(products, prior.product.tolist(), strict=True)),
        shape=prior.shape,
        machine_spread=prior.machine_spread,
        product_spread=prior.product_spread,
        dispersion=dispersion,
        fleet_weekday=tuple(shared.fleet.tolist()),
        weekday={
            key: tuple(row) for key, row in zip(machines, shared.weekday.tolist(), strict=True)
        },
        trend_a_week=shared.trend_a_week,
        trend_damping=settings.trend_damping,
        fitted_at=as_of,
    )
