"""Tests that go on day by day, against published run lengths and bounds.

Sources: Wald, Annals of Mathematical Statistics 16 (1945), for the bounds of his test; Lucas,
Technometrics 27 (1985), for average run lengths of the cumulative sum of Poisson counts with k 2
and h 6, with and without a head start of h / 2; Montgomery, Introduction to Statistical Quality
Control, for the two-sided sum with k 1/2 and h 5 (465 and 10.4; from memory).
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compute.watch import BadEvidence
from service.compute.watch.sequential import CountSum, LevelSum, RateTest

SILENT = RateTest(usual=1.4, faulty=0.05 * 1.4, alpha=0.001, beta=0.1)


def test_the_bounds_are_walds() -> None:
    assert pytest.approx(6.8024, abs=5e-5) == SILENT.upper
    assert pytest.approx(-2.3016, abs=5e-5) == SILENT.lower


def test_six_silent_days_of_a_column_that_sells_one_point_four_a_day_are_enough() -> None:
    """Worked by hand: a silent day adds 1.4 - .07 = 1.33, and 6 x 1.33 = 7.98 > 6.80 > 5 x 1.33."""
    outcome = SILENT.run([0] * 10)
    assert outcome.faulty is True
    assert outcome.after == 6
    assert outcome.path[0] == pytest.approx(1.33)


def test_a_day_of_usual_sales_ends_it_the_other_way() -> None:
    """Worked by hand: 2 units add 1.33 + 2 ln .05 = -4.66, below -2.30."""
    outcome = SILENT.run([2, 0, 0])
    assert (outcome.faulty, outcome.after) == (False, 1)
    assert outcome.path == pytest.approx((1.33 + 2 * math.log(0.05),))


def test_it_goes_on_while_it_does_not_know() -> None:
    outcome = SILENT.run([0, 0])
    assert (outcome.faulty, outcome.after, len(outcome.path)) == (None, None, 2)


def test_its_errors_are_within_those_it_was_given() -> None:
    """Wald's inequality: the chance of a false alarm is at most alpha / (1 - beta)."""
    luck = np.random.default_rng(2)
    test = RateTest(2.0, 0.5, 0.05, 0.1)
    false = [test.run(luck.poisson(2.0, 200)).faulty for _ in range(2_000)]
    missed = [test.run(luck.poisson(0.5, 200)).faulty for _ in range(2_000)]
    assert np.mean(false) <= 0.05 / 0.9 + 3 * math.sqrt(0.05 / 2_000)
    assert 1 - np.mean(missed) <= 0.1 / 0.95 + 3 * math.sqrt(0.1 / 2_000)


def test_a_sale_disproves_a_column_that_cannot_sell_at_all() -> None:
    outcome = RateTest(1.0, 0.0, 0.01, 0.1).run([0, 1])
    assert (outcome.faulty, outcome.after) == (False, 2)


@pytest.mark.parametrize(
    ("mean", "start", "published"),
    [(1.88, 0, 37.20), (3.20, 0, 5.49), (1.88, 3, 29.19), (3.20, 3, 3.33)],
)
def test_run_lengths_of_counts_are_those_published(
    mean: float, start: float, published: float
) -> None:
    assert CountSum(2, 6, start).run_length(mean) == pytest.approx(published, abs=0.005)


@pytest.mark.parametrize(("k", "h", "mean"), [(1.5, 4, 1.0), (0.25, 3, 0.2), (2, 4.5, 1.7)])
def test_run_lengths_are_those_of_a_simulation(k: float, h: float, mean: float) -> None:
    luck = np.random.default_rng(7)
    chart, lengths = CountSum(k, h), []
    for _ in range(1_500):
        level, length = 0.0, 0
        while level < h - 1e-9:
            level, length = max(0.0, level + float(luck.poisson(mean)) - k), length + 1
        lengths.append(length)
    error = np.std(lengths) / math.sqrt(len(lengths))
    assert chart.run_length(mean) == pytest.approx(np.mean(lengths), abs=4 * error)


def test_the_reference_value_between_two_means_is_lucas_ratio() -> None:
    chart = CountSum.between(1.0, 3.0, 5)
    assert chart.k == pytest.approx(2 / math.log(3))


def test_the_sum_signals_where_it_reaches_its_limit_and_not_before() -> None:
    """Worked by hand with k 2, h 6: 5-2=3, 3+1-2=2, 2+6-2=6: a signal at the third count."""
    assert CountSum(2, 6).path([5, 1, 6]).tolist() == [3, 2, 6]
    assert CountSum(2, 6).signals([5, 1, 6]).tolist() == [2]


@given(st.lists(st.integers(0, 20), max_size=30), st.integers(0, 29), st.integers(0, 10))
def test_more_counted_never_lowers_the_sum(counts: list[int], at: int, more: int) -> None:
    chart = CountSum(2, 6)
    raised = [one + more * (index == at) for index, one in enumerate(counts)]
    assert (chart.path(raised) >= chart.path(counts)).all()


@pytest.mark.parametrize(("shift", "published", "longest"), [(0.0, 465.0, 2_500), (1.0, 10.4, 100)])
def test_the_two_sided_sum_runs_as_long_as_published(
    shift: float, published: float, longest: int
) -> None:
    """Values over signals; a run that is cut short counts by its length alone."""
    luck = np.random.default_rng(3)
    chart, values, signals = LevelSum(), 0, 0
    for _ in range(400):
        high, low = chart.path(luck.normal(shift, 1, longest))
        over = np.flatnonzero(np.maximum(high, low) >= chart.h)
        values += int(over[0]) + 1 if len(over) else longest
        signals += bool(len(over))
    assert values / signals == pytest.approx(published, rel=4 / math.sqrt(signals))


@given(st.lists(st.floats(-5, 5), max_size=20))
def test_the_two_sided_sum_is_its_own_mirror(values: list[float]) -> None:
    high, low = LevelSum().path(values)
    mirrored_high, mirrored_low = LevelSum().path([-one for one in values])
    assert high.tolist() == mirrored_low.tolist()
    assert low.tolist() == mirrored_high.tolist()


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        (lambda: RateTest(0, 0, 0.01, 0.1), "usual"),
        (lambda: RateTest(1, 1, 0.01, 0.1), "faulty"),
        (lambda: RateTest(1, 0.1, 0, 0.1), "alpha"),
        (lambda: RateTest(1, 0.1, 0.1, 0.5), "beta"),
        (lambda: CountSum(0, 6), "k"),
        (lambda: CountSum(2, 0), "h"),
        (lambda: CountSum(2, 6, 6), "start"),
        (lambda: CountSum(2, 6).run_length(0), "mean"),
        (lambda: CountSum.between(2, 2, 6), "faulty"),
    ],
)
def test_a_test_that_cannot_be_is_refused_by_its_figure(wrong: object, field: str) -> None:
    with pytest.raises(BadEvidence) as refused:
        wrong()  # type: ignore[operator]
    assert refused.value.field == field
