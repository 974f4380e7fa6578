"""Chances that the watch reckons with, against worked numbers and a reference library.

The worked numbers were each reckoned in two ways (by hand from the formula, and by scipy.stats).
Reference library: scipy (stats nbinom, betabinom, binom, poisson, ttest_1samp; optimize linprog).
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from service.compute.watch import cash, clock, missing, power, silent


def arrays(*values: float) -> list[np.ndarray]:
    return [np.array([one], np.float64) for one in values]


def test_five_silent_days_at_forty_sales_of_experience() -> None:
    """Gamma(40, 40 / 1.4), 5 days: (28.571 / 33.571)^40 = .00157938; Poisson e^-7 = .000911882."""
    shape, expected, dispersion = arrays(40, 7, 1)
    assert silent.silent_by_rate(expected, shape, dispersion) == pytest.approx(0.00157938, rel=3e-6)
    known = arrays(1e12)[0]
    assert silent.silent_by_rate(expected, known, dispersion) == pytest.approx(
        0.000911882, rel=1e-6
    )


def test_sixty_sales_of_neighbours_beside_a_share_of_twelve_in_a_hundred() -> None:
    """.88^60 = 4.67e-4."""
    found = silent.silent_by_share(*arrays(0.12, 60, np.inf, 1))
    assert found == pytest.approx(0.88**60, rel=1e-9)
    assert found == pytest.approx(4.67e-4, abs=5e-7)


@given(st.floats(0.1, 60), st.floats(0.5, 80), st.floats(1, 6))
def test_the_chance_of_no_sale_is_that_of_the_negative_binomial(
    expected: float, shape: float, dispersion: float
) -> None:
    size = 1 / ((dispersion - 1) / expected + 1 / shape)
    theirs = stats.nbinom.pmf(0, size, size / (size + expected))
    found = silent.silent_by_rate(*arrays(expected, shape, dispersion))
    assert found == pytest.approx(theirs, rel=1e-9)


@given(st.floats(0.01, 0.9), st.integers(0, 300), st.floats(1, 90))
def test_a_share_not_known_exactly_is_beta_binomial(share: float, sold: int, shape: float) -> None:
    theirs = stats.betabinom.pmf(0, sold, shape, shape * (1 - share) / share)
    found = silent.silent_by_share(*arrays(share, sold, shape, 1))
    assert found == pytest.approx(theirs, rel=1e-7)


def test_three_and_four_missing_of_one_hundred_and_fifty_vends() -> None:
    """Tolerated .2 %: P(>=3) .003543, P(>=4) .0002569; with a count off by one 8 % each way
    P(>=4) is .0005004."""
    vended = np.array([150.0, 150.0])
    exact = missing.missing_tail(vended, np.array([3.0, 4.0]), np.zeros(2), 0.002, 0.08)
    assert exact == pytest.approx([0.003543, 0.0002569], rel=2e-4)
    counted = missing.missing_tail(vended[:1], np.array([4.0]), np.ones(1), 0.002, 0.08)
    assert counted == pytest.approx(0.0005004, rel=1e-4)


@given(st.integers(0, 400), st.integers(-5, 20), st.integers(0, 5), st.floats(0, 0.1))
def test_missing_units_are_a_binomial_and_the_error_of_the_counts(
    vended: int, gone: int, count: int, rate: float
) -> None:
    """Convolved in the long way: every error with its chance, every tail by the library."""
    error = {0: 1.0}
    for _ in range(count):
        wider: dict[int, float] = {}
        for off, chance in error.items():
            for step, part in ((-1, 0.08), (0, 0.84), (1, 0.08)):
                wider[off + step] = wider.get(off + step, 0.0) + chance * part
        error = wider
    theirs = sum(
        chance * float(stats.binom.sf(gone - off - 1, vended, rate))
        for off, chance in error.items()
    )
    found = missing.missing_tail(*arrays(vended, gone, count), rate, 0.08)
    assert found == pytest.approx(theirs, rel=1e-7, abs=1e-13)
    surplus = sum(chance for off, chance in error.items() if off <= gone)
    assert missing.surplus_tail(*arrays(gone, count), 0.08) == pytest.approx(surplus, abs=1e-12)


@given(st.lists(st.floats(-500, 500), min_size=2, max_size=20))
def test_without_a_spread_known_beforehand_the_test_of_bags_is_students(
    differences: list[float],
) -> None:
    if np.std(differences) < 1e-6:
        return
    theirs = stats.ttest_1samp(differences, 0).pvalue
    assert cash.student(differences, 0.0) == pytest.approx(theirs, rel=1e-6, abs=1e-12)


@given(st.integers(1, 40), st.floats(1, 90), st.floats(0.1, 5))
def test_losses_of_power_are_a_poisson_tail(losses: int, days: float, limit: float) -> None:
    judged = power.judge(power.PowerLosses.of(losses=[losses], days=[days]), limit)
    theirs = stats.poisson.sf(losses - 1, limit * days / 7)
    assert judged.p_value == pytest.approx(theirs, rel=1e-7, abs=1e-300)


@given(
    st.lists(
        st.tuples(st.integers(0, 60), st.floats(-50, 50)),
        min_size=3,
        max_size=15,
        unique_by=lambda point: point[0],
    )
)
def test_the_drift_is_that_of_the_nearest_line_above_every_read(
    points: list[tuple[int, float]],
) -> None:
    """Moon, Skelly & Towsley, Proceedings of IEEE INFOCOM 1999, put it as a linear program; ours is
    as good a line as the reference library's (scipy.optimize.linprog) finds."""
    days, ahead = (np.array(one, float) for one in zip(*sorted(points), strict=True))
    if days[-1] - days[0] < clock.LEAST_DRIFT_DAYS:
        return
    above = np.stack([-days, -np.ones_like(days)], axis=1)
    least = optimize.linprog(
        [days.sum(), len(days)], A_ub=above, b_ub=-ahead, bounds=[(None, None)] * 2
    )
    slope = clock.drift(days, ahead)
    height = (ahead - slope * days).max()
    assert slope * days.sum() + height * len(days) == pytest.approx(least.fun, rel=1e-7, abs=1e-6)


def test_the_chance_of_no_sale_by_hand() -> None:
    """Two units expected of a Poisson column: e^-2; sold in pairs on average (dispersion 2) the
    chance is 2^-2."""
    expected, known = arrays(2, 1e12)
    assert silent.silent_by_rate(expected, known, np.ones(1)) == pytest.approx(math.exp(-2))
    assert silent.silent_by_rate(expected, known, np.full(1, 2.0)) == pytest.approx(0.25)
