"""Worked figures of the demand model, each found in a second way of its own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from fleet.compute.demand import (
    Calendar,
    ColumnModel,
    DemandSettings,
    Fitted,
    IntervalSales,
    censored_rate,
    expected_when_dry,
    mean_and_size,
    predictive,
    quantiles,
)
from fleet.compute.demand import levels as column_levels
from fleet.compute.demand.history import History
from fleet.compute.demand.stretches import Stretches
from tests.checks.lumpy import croston, sba, tsb

WEEKS = np.array([3, 4, 2, 5, 4, 6, 6, 6])
DRY = np.array([False] * 5 + [True] * 3)


def test_censored_poisson() -> None:
    """Five weeks of 3, 4, 2, 5, 4 and three sold out at 6: own figure, by two roads."""

    def unlikely(rate: float) -> float:
        seen = stats.poisson.logpmf(WEEKS[~DRY], rate).sum()
        at_least = stats.poisson.logsf(WEEKS[DRY] - 1, rate).sum()
        return -float(seen + at_least)

    by_search = optimize.minimize_scalar(
        unlikely, bounds=(1, 20), method="bounded", options={"xatol": 1e-10}
    ).x
    found = censored_rate(WEEKS, np.ones(8), DRY)
    assert found == pytest.approx(4.978338, abs=5e-7)
    assert found == pytest.approx(by_search, abs=1e-6)
    # Taken as they stand, or left out, the weeks that sold out tell too little.
    assert WEEKS.mean() == 4.5
    assert WEEKS[~DRY].mean() == pytest.approx(3.6)


@pytest.mark.parametrize(
    ("sold", "mean", "asked"), [(6, 4, 6.909550), (3, 1.4, 3.431991), (8, 5.5, 9.063878)]
)
def test_asked_for_when_dry(sold: int, mean: float, asked: float) -> None:
    """Own figures, against the plain sum over what is possible (SciPy's Poisson)."""
    count = np.arange(sold, 200)
    chance = stats.poisson.pmf(count, mean)
    found = float(expected_when_dry(sold, mean))
    assert found == pytest.approx(asked, abs=5e-7)
    assert found == pytest.approx(float(count @ chance / chance.sum()), rel=1e-10)


@pytest.mark.parametrize("dispersion", [1.2, 2.0, 5.0])
@pytest.mark.parametrize(("sold", "mean"), [(1, 0.3), (6, 4), (12, 5.5), (40, 3)])
def test_asked_for_when_dry_and_scattered(sold: int, mean: float, dispersion: float) -> None:
    """Against the plain sum over SciPy's negative binomial of that mean and variance."""
    count = np.arange(sold, 2000)
    size = mean / (dispersion - 1)
    chance = stats.nbinom.pmf(count, size, size / (size + mean))
    found = float(expected_when_dry(sold, mean, dispersion))
    assert found == pytest.approx(float(count @ chance / chance.sum()), rel=1e-8)


def test_gamma_poisson() -> None:
    """Gamma(2, 1) and 3, 1, 2, 0, 2 over 1.2, .8, 1, .5, 1.5 days make Gamma(10, 6).

    The rule is any Bayesian textbook's; the predictive is checked by integrating over the rate.
    """
    units, days = np.array([3, 1, 2, 0, 2]), np.array([1.2, 0.8, 1.0, 0.5, 1.5])
    ends = 20_005 - 5 + np.cumsum(days)
    sales = IntervalSales.of(
        column=np.zeros(5),
        starts=ends - days,
        ends=ends,
        units=units,
        ran_dry=np.zeros(5, bool),
        machine=[1],
        product=[1],
    )
    history = History.of(sales, Calendar.of(1), 20_005, 100)
    never_fades = DemandSettings(half_lives_days=(1e12,))
    every_day_alike = np.ones((1, history.days))
    in_stretches = Stretches.of(history).exposure(every_day_alike)
    found = column_levels.learn(
        history,
        every_day_alike,
        history.loose.units,
        in_stretches,
        np.array([2.0]),
        2.0,
        np.ones(1),
        never_fades,
    )
    assert found.shape[0] == pytest.approx(10, rel=1e-6)
    assert found.exposure_days[0] == pytest.approx(6, rel=1e-6)

    model = Fitted.of([ColumnModel(10, 6, 1, (1,) * 7, 0, 0.7, 20_005, 28, 5)])
    mean, size = mean_and_size(model, 3)
    assert mean[0] == pytest.approx(5)
    assert mean[0] + mean[0] ** 2 / size[0] == pytest.approx(7.5)
    assert quantiles(model, 3, [0.95])[0, 0] == 10
    pmf = predictive(model, 3)[0]
    assert pmf[8:].sum() == pytest.approx(0.171857, abs=5e-7)
    for count in (0, 4, 8, 15):
        by_rate, _ = integrate.quad(
            lambda rate, k=count: (
                stats.poisson.pmf(k, 3 * rate) * stats.gamma.pdf(rate, 10, scale=1 / 6)
            ),
            0,
            20,
        )
        assert pmf[count] == pytest.approx(by_rate, rel=1e-7)


def test_lumpy_forecasts() -> None:
    """Own figures, which the library statsforecast 2.1.1 gives too (run once, not installed)."""
    sold = np.array([[0, 0, 3, 0, 0, 0, 2, 0, 1, 0]])
    assert croston(sold)[0] == pytest.approx(0.906354515, abs=5e-10)
    assert sba(sold)[0] == pytest.approx(0.861036789, abs=5e-10)
    assert tsb(sold)[0] == pytest.approx(0.571077460, abs=5e-10)


def test_chances_and_quantiles_are_scipys() -> None:
    """Means from nearly nothing to hundreds, against SciPy's negative binomial."""
    shape = np.array([0.3, 2, 10, 80, 400])
    rate = np.array([0.001, 0.2, 1.4, 9, 60])
    models = Fitted.of(
        [
            ColumnModel(a, a / r, c, (1,) * 7, 0, 0.7, 0, 28, 5)
            for a, r, c in zip(shape, rate, (1, 1.5, 1.1, 3, 1), strict=True)
        ]
    )
    mean, size = mean_and_size(models, 7)
    pmf = predictive(models, 7)
    assert pmf.sum(axis=1) == pytest.approx(1)
    count = np.arange(pmf.shape[1] - 1)
    for index in range(len(models)):
        reference = stats.nbinom(size[index], size[index] / (size[index] + mean[index]))
        assert pmf[index, :-1] == pytest.approx(reference.pmf(count), rel=1e-8, abs=1e-13)
        levels = np.array([0.01, 0.05, 0.5, 0.9, 0.95, 0.999])
        assert quantiles(models, 7, levels)[index].tolist() == reference.ppf(levels).tolist()
