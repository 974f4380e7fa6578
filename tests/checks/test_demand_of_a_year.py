"""The demand model on a year of real counts: 91 items by kind and size, 365 days.

Source: `pizzaplace`, shipped in the package great-tables 1.1.0 (MIT licence) as
`data/05-pizzaplace.csv`, read from where it is installed. Foretold are windows of seven days from
six origins fifty days apart, and every item's count is scored (CRPS, in units). In these windows
the plain average of all days before, taken as Poisson, scores 1.77; nothing known does much
better, since hardly an item's level moves in that year.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import date
from functools import cache
from pathlib import Path

import great_tables
import numpy as np
import numpy.typing as npt
from scipy import stats

from fleet.compute.demand import (
    Calendar,
    Closure,
    IntervalSales,
    crps,
    day_number,
    exposures,
    fit,
    mean_and_size,
    predictive,
)

FIRST = day_number(date(2015, 1, 1))
DAYS, WINDOW = 365, 7
ORIGINS = tuple(range(101, DAYS - WINDOW + 1, 50))
Counts = npt.NDArray[np.int64]


@cache
def a_year() -> Counts:
    """[items, days] sold."""
    path = Path(great_tables.__file__).parent / "data" / "05-pizzaplace.csv"
    with path.open(newline="") as file:
        rows = [
            ((row["name"], row["size"]), day_number(date.fromisoformat(row["date"])))
            for row in csv.DictReader(file)
        ]
    place = {item: index for index, item in enumerate(sorted({item for item, _ in rows}))}
    sold = np.zeros((len(place), DAYS), np.int64)
    for item, day in rows:
        sold[place[item], day - FIRST] += 1
    return sold


def closed_days(sold: Counts) -> list[Closure]:
    return [Closure(FIRST + int(day)) for day in np.flatnonzero(sold.sum(axis=0) == 0)]


def foretell(past: Callable[[int], IntervalSales]) -> tuple[float, float]:
    """Mean score and bias over the windows, knowing what `past` gives for each origin."""
    sold = a_year()
    calendar = Calendar.of(len(sold), closed_days(sold))
    scores, foretold, came = [], 0.0, 0.0
    for origin in ORIGINS:
        truth = sold[:, origin : origin + WINDOW].sum(axis=1)
        models = fit(past(origin), calendar, FIRST + origin).columns
        ahead = exposures(models, calendar, FIRST + origin, WINDOW).sum(axis=1)
        scores.append(crps(predictive(models, ahead, 150), truth).mean())
        foretold += mean_and_size(models, ahead)[0].sum()
        came += truth.sum()
    return float(np.mean(scores)), foretold / came - 1


def sales_of(
    units: Counts, starts: npt.ArrayLike, ends: npt.ArrayLike, dry: npt.NDArray[np.bool_]
) -> IntervalSales:
    """From [items, intervals]; all items of one machine, each a product."""
    items, intervals = units.shape
    return IntervalSales.of(
        column=np.repeat(np.arange(items), intervals),
        starts=np.tile(np.asarray(starts), items),
        ends=np.tile(np.asarray(ends), items),
        units=units.ravel(),
        ran_dry=dry.ravel(),
        machine=np.zeros(items, np.int64),
        product=np.arange(items),
    )


def all_of_it(origin: int) -> IntervalSales:
    sold = a_year()[:, :origin]
    days = FIRST + np.arange(origin)
    return sales_of(sold, days, days + 1, np.zeros(sold.shape, bool))


@cache
def as_if_kept_short() -> tuple[Counts, npt.NDArray[np.bool_]]:
    """[items, days] what is left of the sales with few in stock on each seventh day, and when dry.

    How few is drawn for each item, from much less than a usual week's sales to plenty.
    """
    sold = a_year()
    luck = np.random.default_rng(5)
    stock = np.maximum(np.rint(sold.mean(axis=1) * 7 * luck.uniform(0.6, 1.5, len(sold))), 1)
    left, dry = sold.copy(), np.zeros(sold.shape, bool)
    for first in range(0, DAYS, WINDOW):
        week = slice(first, first + WINDOW)
        so_far = np.minimum(np.cumsum(sold[:, week], axis=1), stock[:, None])
        left[:, week] = np.diff(so_far, axis=1, prepend=0)
        dry[:, week] = so_far >= stock[:, None]
    return left.astype(np.int64), dry


def kept_short(origin: int) -> IntervalSales:
    left, dry = as_if_kept_short()
    days = FIRST + np.arange(origin)
    return sales_of(left[:, :origin], days, days + 1, dry[:, :origin])


def kept_short_by_the_week(origin: int) -> IntervalSales:
    left, dry = as_if_kept_short()
    weeks = origin // WINDOW
    shape = (len(left), weeks, WINDOW)
    starts = FIRST + WINDOW * np.arange(weeks)
    return sales_of(
        left[:, : weeks * WINDOW].reshape(shape).sum(axis=2),
        starts,
        starts + WINDOW,
        dry[:, : weeks * WINDOW].reshape(shape).any(axis=2),
    )


def plain_average() -> float:
    """Mean score of the plain average of all open days before, as Poisson."""
    sold = a_year()
    is_open = sold.sum(axis=0) > 0
    scores = []
    for origin in ORIGINS:
        ahead = slice(origin, origin + WINDOW)
        a_day = sold[:, :origin].sum(axis=1) / is_open[:origin].sum()
        pmf = stats.poisson.pmf(np.arange(150), (a_day * is_open[ahead].sum())[:, None])
        scores.append(crps(pmf, sold[:, ahead].sum(axis=1)).mean())
    return float(np.mean(scores))


def test_the_windows_are_as_said() -> None:
    assert a_year().shape == (91, 365)
    assert ORIGINS == (101, 151, 201, 251, 301, 351)
    assert round(plain_average(), 2) == 1.77


def test_all_of_the_year() -> None:
    score, bias = foretell(all_of_it)
    print(f"\na year of counts: CRPS {score:.3f}, bias {bias:+.1%}; average {plain_average():.3f}")
    assert score <= 1.80
    assert abs(bias) <= 0.02


def test_the_year_with_much_of_it_hidden() -> None:
    left, _ = as_if_kept_short()
    lost = 1 - left.sum() / a_year().sum()
    assert 0.12 < lost < 0.15
    score, bias = foretell(kept_short)
    by_week, week_bias = foretell(kept_short_by_the_week)
    as_it_stands, blind = foretell(
        lambda origin: sales_of(
            left[:, :origin],
            FIRST + np.arange(origin),
            FIRST + np.arange(origin) + 1,
            np.zeros((len(left), origin), bool),
        )
    )
    print(
        f"\n{lost:.0%} of demand hidden: CRPS {score:.3f}, bias {bias:+.1%}; by the week "
        f"{by_week:.3f}, {week_bias:+.1%}; taken as it stands {as_it_stands:.3f}, {blind:+.1%}"
    )
    assert score <= 1.82
    assert abs(bias) <= 0.02
    assert by_week <= 1.82
    assert abs(week_bias) <= 0.04
    # What the marks of having run dry are worth.
    assert blind < -0.08
