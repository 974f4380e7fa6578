"""Distributions as rows: what is missing, tails, quantiles, sums, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fleet.compute.restock.distributions import (
    as_pmf,
    gamma_poisson,
    means,
    poisson,
    quantiles,
    tails,
    total,
)
from fleet.compute.units import BadMeasure

rows = st.lists(st.floats(0.001, 1), min_size=1, max_size=9).map(
    lambda weights: np.array(weights) / sum(weights)
)


def test_what_a_row_lacks_lies_on_its_last_entry():
    assert as_pmf("demand", [[0.5, 0.2], [0.0, 1.0]]).tolist() == [[0.5, 0.5], [0.0, 1.0]]


@pytest.mark.parametrize(
    ("chances", "where"),
    [
        ([[0.5, 0.5], [0.7, 0.7]], "demand.1"),
        ([[0.5, -0.1]], "demand.0"),
        ([[0.5, float("nan")]], "demand.0"),
        ([[]], "demand"),
    ],
)
def test_what_is_no_distribution_is_refused_with_its_place(chances, where):
    with pytest.raises(BadMeasure) as refused:
        as_pmf("demand", chances)
    assert refused.value.field == where


@given(rows, st.integers(0, 14))
def test_tails_are_the_chances_of_at_least_so_many(row, units):
    found = tails(row[np.newaxis, :], units)[0]
    assert found == pytest.approx([row[at:].sum() for at in range(1, units + 1)], abs=1e-12)


def test_poisson_and_negative_binomial_rows_are_those_of_scipy():
    """scipy.stats as reference."""
    at = np.arange(59)
    assert poisson([3.5, 12.0], 60)[:, :59] == pytest.approx(
        stats.poisson.pmf(at, [[3.5], [12.0]]), abs=1e-14
    )
    shape, mean = 2.5, 8.0
    ours = gamma_poisson(shape, mean, 60)[0]
    assert ours[:59] == pytest.approx(stats.nbinom.pmf(at, shape, shape / (shape + mean)))
    assert ours.sum() == pytest.approx(1)


def test_a_mean_of_nothing_is_nothing():
    assert poisson(0.0, 4).tolist() == [[1, 0, 0, 0]]


@given(st.lists(rows, min_size=1, max_size=5))
def test_the_sum_of_columns_is_their_convolution_in_any_order(each):
    width = max(row.size for row in each)
    padded = np.array([np.pad(row, (0, width - row.size)) for row in each])

    found = total(padded)

    plain = np.array([1.0])
    for row in padded:
        plain = np.convolve(plain, row)
    assert found == pytest.approx(plain, abs=1e-12)
    assert total(padded[::-1]) == pytest.approx(found, abs=1e-12)
    assert means(found[np.newaxis, :])[0] == pytest.approx(means(padded).sum())


@given(rows, st.floats(0.01, 0.99))
def test_a_quantile_is_the_least_that_reaches_its_chance(row, chance):
    found = int(quantiles(row[np.newaxis, :], chance)[0])
    assert row[: found + 1].sum() >= chance - 1e-9
    assert row[:found].sum() < chance
