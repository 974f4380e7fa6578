"""A night's refit of a large fleet, beside the bare arithmetic that any fit of it must do.

Run by name, on one core:
`OMP_NUM_THREADS=1 pytest tests/bench/bench_demand.py -m bench -n 0 -s`.
The bare arithmetic collapses the days to weekday sums, adds up sales and exposure against one
prior, and takes one quantile; it learns nothing, fills in nothing and has one half-life: none.
Measured is the time of the processor, which neighbours on the machine change less than that of
the clock, but which counts what idle threads of a linear algebra library spin away.
"""

from __future__ import annotations

from time import process_time

import numpy as np
import pytest

from fleet.compute.demand import Calendar, IntervalSales, exposures, fit, quantiles
from fleet.compute.demand.predict import quantile_of

COLUMNS, DAYS, EACH = 120_000, 90, 12
FIRST = 20_454
LEVEL = 0.95


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
    """Collapse to [columns, 7], sums of the fit, quantiles of the next week."""
    weekday = (sales.starts.astype(np.int64) + 3) % 7
    cell = sales.column * 7 + weekday
    sold = np.bincount(cell, sales.units, COLUMNS * 7).reshape(COLUMNS, 7)
    seen = np.bincount(cell, minlength=COLUMNS * 7).reshape(COLUMNS, 7)
    factor = sold.sum(axis=0) / sold.sum() * 7
    shape = 2 + sold.sum(axis=1)
    exposed = 2 + seen @ factor
    return quantile_of(shape / exposed * 7, shape, LEVEL)


@pytest.mark.bench
def test_a_large_fleet_is_refitted_within_four_times_of_the_bare_arithmetic() -> None:
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
