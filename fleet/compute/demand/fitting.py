"""The whole fit: sales in intervals to what is known of every column, and of new ones."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from . import courses, factors, levels
from .arrays import BadSales, Floats
from .calendar import Calendar
from .factors import Factors
from .filling import fill_dry
from .history import DAYS_A_WEEK, History
from .model import Fitted
from .pool import Pool, Prior, prior_of
from .sales import IntervalSales
from .scatter import dispersion_of
from .settings import DEFAULT_SETTINGS, DemandSettings
from .stretches import Stretches

#: Factors need the columns' rates and rates the factors: so many times around, each time with
#: so many steps of filling in what was not sold. After the last, factors are left alone.
FILL_STEPS: Final = (1, 3)
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
    weeks_ago = (history.weeks - np.arange(history.weeks)) * DAYS_A_WEEK
    fading = 0.5 ** (weeks_ago / POOL_HALF_LIFE_DAYS)
    shared = Factors.none(history)
    units = history.loose.units
    dispersion: Floats = np.ones(sales.columns)
    pooled = 1.0
    for around, steps in enumerate(FILL_STEPS, start=1):
        by_day = shared.by_day(history)
        exposure = stretches.exposure(by_day)
        weekly = history.weekly_exposure(by_day, exposure)
        prior = prior_of(
            fading @ history.weekly_units(units),
            fading @ weekly,
            history.machine,
            product,
            dispersion,
            settings.pool_worth_sales,
        )
        units = fill_dry(
            history,
            weekly,
            exposure,
            prior.mean,
            prior.shape,
            dispersion,
            units if around > 1 else None,
            steps,
        )
        sold = history.weekly_units(units)
        dispersion, pooled = dispersion_of(history, sold, weekly, settings.dispersion_worth)
        if around < len(FILL_STEPS):
            rate = (sold.sum(axis=0) + prior.shape) / (
                weekly.sum(axis=0) + prior.shape / prior.mean
            )
            shared = factors.learn(stretches, units, rate, shared, settings)
            shared = _with_courses(
                stretches,
                shared,
                units,
                rate,
                courses.scatter_of(history, sold, rate * weekly, dispersion),
                settings,
            )
    found = levels.learn(
        history, by_day, units, exposure, prior.mean, prior.shape, dispersion, settings
    )
    one = np.ones(sales.columns)
    # What is not known of the machine's level is not known of any of its columns.
    less_sure = 1 + found.shape * shared.courses.variance[history.machine]
    return Fit(
        Fitted(
            found.shape / less_sure,
            found.exposure_days / less_sure,
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


def _with_courses(
    stretches: Stretches,
    shared: Factors,
    units: Floats,
    rate: Floats,
    scatter: Floats,
    settings: DemandSettings,
) -> Factors:
    """With the courses of the machines, given each loose row's units and each column's rate."""
    history = stretches.history
    sold, expected = stretches.by_week(units, rate, shared.by_day(history))
    return replace(shared, courses=courses.learn(sold, expected, scatter, settings.leap_a_week))


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
