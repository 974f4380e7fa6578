"""A night's refit of a large fleet, beside the same method in bare numpy.

Run by name, on one core:
`OMP_NUM_THREADS=1 pytest tests/bench/bench_demand.py -m bench -n 0 -s`.
The bare kernel is a discounted Gamma-Poisson over whole weeks: days collapsed to weekday and weekly
sums, eight half-lives weighted by how well each foretold every next week, the mixture's quantile.
It reads no interval but a day, fills in nothing for dry ones, and knows no season, pool or scatter.
Measured is the time of the processor, which neighbours on the machine change less than that of
the clock, but which counts what idle threads of a linear algebra library spin away.
"""

from __future__ import annotations

from time import process_time

import numpy as np
import pytest
from scipy.special import gammaln

from fleet.compute.demand import Calendar, IntervalSales, exposures, fit, quantiles
from fleet.compute.demand.predict import quantile_of

COLUMNS, DAYS, EACH = 120_000, 90, 12
FIRST = 20_454
LEVEL = 0.95
WEEKS = -(-DAYS // 7)
HALF_LIVES = (2, 4, 7, 14, 28, 56, 112, 224)


def a_fleet() -> IntervalSales:
    """Daily sales of many columns, a few of them dry at times, in order of column and day."""
    luck = np.random.default_rng(3)
    rate = luck.gamma(2, 0.6, (COLUMNS, 1))
    week = np.array([1.1, 1.1, 1.1, 1.15, 1.25, 0.75, 0.55])[(FIRST + 3 + np.arange(DAYS)) % 7]
    units = luck.poisson(rate * week).astype(np.int64)
    dry = (luck.random((COLUMNS, DAYS)) < 0.02) & (units > 0)
    days = FIRST + np.arange(DAYS, dtype=np.float64)
    return IntervalSales.of(
        column=np.repeat(np.arange(COLUMNS), DAYS),
        starts=np.tile(days, COLUMNS),
        ends=np.tile(days + 1, COLUMNS),
        units=units.ravel(),
        ran_dry=dry.ravel(),
        machine=np.arange(COLUMNS) // EACH,
        product=luck.integers(0, 400, COLUMNS),
    )


def bare(sales: IntervalSales) -> object:
    """Weekday factors, a discounted posterior at each half-life, the mixture's quantile."""
    day = sales.starts.astype(np.int64)
    weekly = np.bincount(sales.column * WEEKS + (day - FIRST) // 7, sales.units, COLUMNS * WEEKS)
    sold = weekly.reshape(COLUMNS, WEEKS)
    weekday = (day + 3) % 7
    factor = np.bincount(weekday, sales.units, 7) / np.bincount(weekday, minlength=7)
    week = np.bincount((np.arange(DAYS)) // 7, (factor / factor.mean())[weekday[:DAYS]])
    shapes, rates, scores = [], [], []
    for half_life in HALF_LIVES:
        fade = 0.5 ** (7 / half_life)
        shape, seen, score = np.full(COLUMNS, 2.0), 2.0, np.zeros(COLUMNS)
        for at in range(WEEKS):
            units, ahead = sold[:, at], week[at]
            score += (
                gammaln(units + shape)
                - gammaln(shape)
                + shape * np.log(seen / (seen + ahead))
                + units * np.log(ahead / (seen + ahead))
            )
            shape = fade * shape + units + (1 - fade) * 2
            seen = fade * seen + ahead + (1 - fade) * 2
        shapes.append(shape)
        rates.append(shape / seen)
        scores.append(score)
    weight = np.exp(np.array(scores) - np.max(scores, axis=0))
    weight /= weight.sum(axis=0)
    return quantile_of(
        (weight * np.array(rates)).sum(axis=0) * 7, (weight * np.array(shapes)).sum(axis=0), LEVEL
    )


@pytest.mark.bench
def test_a_large_fleet_is_refitted_within_four_times_of_the_bare_kernel() -> None:
    sales, calendar = a_fleet(), Calendar.of(COLUMNS)

    def refit() -> object:
        models = fit(sales, calendar, FIRST + DAYS).columns
        ahead = exposures(models, calendar, FIRST + DAYS, 7).sum(axis=1)
        return quantiles(models, ahead, [LEVEL])

    taken: dict[str, float] = {}
    for name, work in (("bare", lambda: bare(sales)), ("refit", refit)) * 5:
        begun = process_time()
        work()
        taken[name] = min(taken.get(name, 1e9), process_time() - begun)
    ratio = taken["refit"] / taken["bare"]
    print(
        f"\n{COLUMNS} columns x {DAYS} days: bare {taken['bare']:.2f} s, refit "
        f"{taken['refit']:.2f} s, {ratio:.1f} times"
    )
    assert ratio <= 4
