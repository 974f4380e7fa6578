"""What all columns of a machine share: its weekdays, and the fleet's season.

The season is the fleet's sales of each week against what its columns' rates and weekdays expect,
smoothed by local-linear regression (Cleveland 1979) on the logarithm; ahead, its slope fades
(Gardner & McKenzie 1985).
"""

from dataclasses import dataclass
from typing import Final, Self

import numpy as np

from . import weekdays
from .arrays import Floats
from .courses import Courses
from .history import DAYS_A_WEEK, History
from .settings import DemandSettings
from .stretches import Stretches

STEPS: Final = 3
#: Fewer weeks than this have no season to speak of.
LEAST_WEEKS: Final = 4
STIFFNESS: Final = 1e-3


@dataclass(frozen=True, eq=False)
class Factors:
    """fleet [7] and weekday [machines, 7], 1 on average; season [days], 1 now; its trend now; and
    the courses of the machines, 1 now.
    """

    fleet: Floats
    weekday: Floats
    season: Floats
    trend_a_week: float
    courses: Courses

    @classmethod
    def none(cls, history: History) -> Self:
        """Every day alike."""
        flat = np.ones(DAYS_A_WEEK)
        weekday = np.ones((history.machines, DAYS_A_WEEK))
        return cls(
            flat, weekday, np.ones(history.days), 0.0, Courses.none(history.weeks, history.machines)
        )

    def by_day(self, history: History) -> Floats:
        """[machines, days] exposure of each machine day."""
        course = np.repeat(self.courses.by_week, DAYS_A_WEEK, axis=0).T
        return self.weekday[:, history.weekday] * history.usual * self.season * course


def learn(
    stretches: Stretches,
    loose_units: Floats,
    rate: Floats,
    before: Factors,
    settings: DemandSettings,
) -> Factors:
    """Better factors, given each loose row's units and each column's rate.

    Weekdays are regressed on totals as they are. For the season, totals of several days are spread
    by the factors as they stand, and the season is taken from what was spread:
    expectation-maximisation, a few steps of it.
    """
    history = stretches.history
    told = stretches.by_weekday(loose_units, rate, history.usual * before.season)
    fleet, weekday = weekdays.learn(history, told, settings.weekday_worth_sales)
    found = Factors(fleet, weekday, before.season, before.trend_a_week, before.courses)
    expected = stretches.expected(rate) * history.usual
    for _ in range(STEPS if stretches.guessed else 1):
        sold = stretches.sold(loose_units, found.by_day(history))
        found = _season(history, sold, expected, found, settings)
    return found


def _season(
    history: History, sold: Floats, expected: Floats, before: Factors, settings: DemandSettings
) -> Factors:
    plain = expected * before.weekday[:, history.weekday]
    weeks = (history.weeks, DAYS_A_WEEK)
    sold_in = sold.sum(axis=0).reshape(weeks).sum(axis=1)
    plain_in = plain.sum(axis=0).reshape(weeks).sum(axis=1)
    worth = settings.season_worth_sales
    ratio = np.log((sold_in + worth) / (plain_in + worth))
    curve, trend = smoothed(ratio, plain_in + worth * 1e-3, settings)
    points = np.append(np.arange(history.weeks) + 0.5, history.weeks)
    days = (np.arange(history.days) + 0.5) / DAYS_A_WEEK
    season = np.exp(np.interp(days, points, curve) - curve[-1])
    return Factors(before.fleet, before.weekday, season, trend, before.courses)


def smoothed(ratio: Floats, weight: Floats, settings: DemandSettings) -> tuple[Floats, float]:
    """The season's curve at each week's middle and at the end, and its trend a week there.

    `ratio` [weeks] is the logarithm of sales over what is expected, `weight` [weeks] how much it
    is believed. How far to look around, and whether to follow the slope, is learned: each way is
    weighted by how well it would have foretold each week from those before.
    """
    weeks = len(ratio)
    middles: Floats = np.arange(weeks, dtype=np.float64) + 0.5
    points: Floats = np.append(middles, weeks).astype(np.float64)
    flat = float(ratio @ weight / weight.sum())
    if weeks < LEAST_WEEKS:
        return np.full(weeks + 1, flat), 0.0
    errors, curves, trends = [], [], []
    for reach in settings.season_reaches_weeks:
        around = _kernel(points, middles, weight, reach)
        before = _kernel(middles[:-1], middles, weight, reach) * np.tri(weeks - 1, weeks)
        level, slope = _local_linear(points, middles, ratio, around)
        level_before, slope_before = _local_linear(middles[:-1], middles, ratio, before)
        plain_before = before @ ratio / before.sum(axis=1)
        plain = around @ ratio / around.sum(axis=1)
        following = level_before + settings.trend_damping * slope_before
        errors += [following - ratio[1:], plain_before - ratio[1:]]
        curves += [level, plain]
        trends += [float(slope[-1]), 0.0]
    so_far = np.cumsum(ratio * weight) / np.cumsum(weight)
    errors.append(so_far[:-1] - ratio[1:])
    curves.append(np.full(weeks + 1, flat))
    trends.append(0.0)
    # The first weeks foretell nothing yet.
    late = np.array(errors)[:, LEAST_WEEKS - 2 :]
    size = (late**2 * weight[LEAST_WEEKS - 1 :]).sum(axis=1) + 1e-12
    score = -0.5 * late.shape[1] * np.log(size)
    share = np.exp(score - score.max())
    share /= share.sum()
    return share @ np.array(curves), float(share @ np.array(trends))


def _kernel(at: Floats, x: Floats, weight: Floats, reach: float) -> Floats:
    """[at, x] weights that fall off with distance, its standard deviation being `reach`."""
    found: Floats = np.exp(-0.5 * ((x[None, :] - at[:, None]) / reach) ** 2) * weight
    return found


def _local_linear(at: Floats, x: Floats, y: Floats, kernel: Floats) -> tuple[Floats, Floats]:
    """Level and slope at each of `at` by regression with the weights [at, x] of a kernel."""
    share = kernel / kernel.sum(axis=1, keepdims=True)
    away = x[None, :] - at[:, None]
    first = (share * away).sum(axis=1)
    second = (share * away**2).sum(axis=1) - first**2
    mean = share @ y
    joint = (share * away) @ y - first * mean
    # Where a single week is all there is, a hair of stiffness makes the slope nothing.
    slope = joint / (second + STIFFNESS)
    return mean - slope * first, slope
