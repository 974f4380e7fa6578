"""What all columns of a machine share: its weekdays, and the fleet's season.

The weekday factors of a machine are those of the fleet until it has sold enough to have its own:
the fleet's count as a few sales of the machine. The season is the fleet's sales of each week
against what its columns' rates and weekdays expect, smoothed by local-linear regression
(Cleveland 1979) on the logarithm; ahead, its slope fades (Gardner & McKenzie 1985).
"""

from dataclasses import dataclass

import numpy as np

from .arrays import Floats
from .history import DAYS_A_WEEK, History, Stretches
from .settings import DemandSettings

STEPS = 4


@dataclass(frozen=True, eq=False)
class Factors:
    """fleet [7] and weekday [machines, 7], 1 on average; season [days], 1 now; its trend now."""

    fleet: Floats
    weekday: Floats
    season: Floats
    trend_a_week: float

    @classmethod
    def none(cls, history: History) -> "Factors":
        """Every day alike."""
        flat = np.ones(DAYS_A_WEEK)
        weekday = np.ones((history.machines, DAYS_A_WEEK))
        return cls(flat, weekday, np.ones(history.days), 0.0)

    def by_day(self, history: History) -> Floats:
        """[machines, days] exposure of each machine day."""
        return self.weekday[:, history.weekday] * history.usual * self.season


def learn(
    stretches: Stretches,
    units: Floats,
    rate: Floats,
    before: Factors,
    settings: DemandSettings,
) -> Factors:
    """Better factors, given each row's units and each column's rate.

    Totals of several days are spread by the factors as they stand, and the factors are taken
    from what was spread: expectation-maximisation, a few steps of it.
    """
    history = stretches.history
    expected = stretches.expected(rate) * history.usual
    found = before
    for _ in range(STEPS if stretches.stretches else 1):
        sold = stretches.sold(units, found.by_day(history))
        found = _weekdays(history, sold, expected, found, settings)
        found = _season(history, sold, expected, found, settings)
    return found


def _weekdays(
    history: History, sold: Floats, expected: Floats, before: Factors, settings: DemandSettings
) -> Factors:
    by_weekday = np.eye(DAYS_A_WEEK)[history.weekday]
    sold_by = sold @ by_weekday
    expected_by = (expected * before.season) @ by_weekday
    # The level of a machine against its columns' rates is no weekday's: taken out first.
    level = _ratio(sold_by.sum(axis=1), (expected_by * before.weekday).sum(axis=1))
    expected_by *= level[:, None]
    worth = settings.weekday_worth_sales
    flat = expected_by.sum(axis=0)
    fleet = _to_one((sold_by.sum(axis=0) + worth / 7) / (flat + worth / 7))
    total = expected_by.sum(axis=1, keepdims=True)
    share = np.divide(expected_by, total, out=np.full_like(expected_by, 1 / 7), where=total > 0)
    prior = worth * share
    weekday = _to_one((sold_by + prior * fleet) / (expected_by + prior))
    # A weekday on which a machine is always closed has no share; the fleet's stands for it.
    weekday = np.where(share > 0, weekday, fleet)
    return Factors(fleet, weekday, before.season, before.trend_a_week)


def _season(
    history: History, sold: Floats, expected: Floats, before: Factors, settings: DemandSettings
) -> Factors:
    plain = expected * before.weekday[:, history.weekday]
    weeks = (history.weeks, DAYS_A_WEEK)
    sold_in = sold.sum(axis=0).reshape(weeks).sum(axis=1)
    plain_in = plain.sum(axis=0).reshape(weeks).sum(axis=1)
    worth = settings.season_worth_sales
    ratio = np.log((sold_in + worth) / (plain_in + worth))
    middles = np.arange(history.weeks) + 0.5
    points = np.append(middles, history.weeks)
    level, slope = _local_linear(
        points, middles, ratio, plain_in + worth * 1e-3, settings.season_reach_weeks
    )
    days = (np.arange(history.days) + 0.5) / DAYS_A_WEEK
    season = np.exp(np.interp(days, points, level) - level[-1])
    return Factors(before.fleet, before.weekday, season, float(slope[-1]))


def _local_linear(
    at: Floats, x: Floats, y: Floats, weight: Floats, reach: float
) -> tuple[Floats, Floats]:
    """Level and slope at each of `at` by weighted regression under a Gaussian kernel."""
    away = x[None, :] - at[:, None]
    kernel = np.exp(-0.5 * (away / reach) ** 2) * weight
    kernel /= kernel.sum(axis=1, keepdims=True)
    first = (kernel * away).sum(axis=1)
    second = (kernel * away**2).sum(axis=1) - first**2
    mean = kernel @ y
    joint = (kernel * away) @ y - first * mean
    # A single week has no slope; a hair of stiffness keeps the division whole.
    slope = joint / (second + 1e-6 * reach**2)
    if len(x) < 3:
        slope = np.zeros_like(slope)
    return mean - slope * first, slope


def _to_one(factors: Floats) -> Floats:
    """Scaled so that a week's factors are 1 on average."""
    scaled: Floats = factors / factors.mean(axis=-1, keepdims=True)
    return scaled


def _ratio(above: Floats, below: Floats) -> Floats:
    return np.divide(above, below, out=np.ones_like(above), where=(below > 0) & (above > 0))
