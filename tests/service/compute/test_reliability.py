"""Reliability figures: what holds whatever the figures."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compute.reliability import (
    BadFigures,
    alike,
    between_failures,
    per_month,
    share,
    typical,
)

FAILURES = st.integers(0, 500)
DAYS = st.floats(0.5, 1e6)
VALUES = st.lists(st.floats(0, 1e5), max_size=60)


@given(failures=FAILURES, days=DAYS)
def test_the_estimate_lies_in_its_interval(failures: int, days: float) -> None:
    found = between_failures(failures, days)
    if found.days is not None and found.most_days is not None:
        assert found.least_days < found.days < found.most_days
    assert found.few is (failures < 5)


@given(failures=st.integers(1, 200), days=DAYS)
def test_more_confidence_is_wider(failures: int, days: float) -> None:
    narrow, wide = (between_failures(failures, days, confidence=one) for one in (0.5, 0.95))
    assert wide.least_days < narrow.least_days
    assert (wide.most_days or 0) > (narrow.most_days or 0)


@given(hits=st.integers(0, 300), more=st.integers(0, 300))
def test_shares_mirror(hits: int, more: int) -> None:
    one, other = share(hits, hits + more), share(more, hits + more)
    assert one.least == pytest.approx(1 - other.most, abs=1e-12)
    assert 0 <= one.least <= one.most <= 1
    if one.share is not None:
        assert one.least <= one.share <= one.most


@given(values=VALUES)
def test_the_middle_does_not_care_for_order(values: list[float]) -> None:
    found = typical(values)
    assert found == typical(values[::-1])
    if found.least is not None and found.most is not None and found.middle is not None:
        assert found.least <= found.middle <= found.most
        assert found.confidence >= 0.90


def test_with_few_cases_it_says_so() -> None:
    assert "too few" in between_failures(1, 300).said
    assert "too few" in share(1, 2).said
    assert typical([3.0, 4.0]).least is None
    assert share(0, 0).share is None
    assert typical([]).middle is None
    assert alike([2, 2], [10, 10]).p_value is None


def test_cost_by_month_is_exact() -> None:
    # 100.00 over two machines for a year of 365.25 days: 24 months, 4.1667.
    assert per_month(Decimal("100.00"), Decimal("730.5")) == Decimal("4.17")


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: between_failures(-1, 10),
        lambda: between_failures(1, 0),
        lambda: between_failures(1, 10, confidence=1.0),
        lambda: share(3, 2),
        lambda: typical([float("nan")]),
        lambda: alike([1], [1.0, 2.0]),
        lambda: per_month(Decimal(1), 0),
    ],
)
def test_figures_that_cannot_be_are_refused(wrong: object) -> None:
    with pytest.raises(BadFigures):
        wrong()  # type: ignore[operator]
