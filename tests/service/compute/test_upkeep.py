"""When maintenance is due: worked examples, and what holds whatever the figures."""

from datetime import date, timedelta
from math import ceil

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compute.upkeep import (
    BadInterval,
    Sold,
    after_days,
    after_vends,
    day_of_year,
    on_season,
)

BEGINS = date(2026, 1, 5)
TODAY = date(2026, 3, 2)


def test_days_count_from_the_last_work() -> None:
    due = after_days(91, last=date(2026, 2, 1), begins=BEGINS, key=7)
    assert due.on == date(2026, 5, 3)
    assert "2026-02-01" in due.said


@given(every=st.integers(1, 400), key=st.integers(1, 10**6))
def test_first_turns_come_within_one_interval(every: int, key: int) -> None:
    due = after_days(every, last=None, begins=BEGINS, key=key)
    assert BEGINS + timedelta(days=ceil(every / 4)) <= due.on <= BEGINS + timedelta(days=every)
    assert "never recorded" in due.said


def test_first_turns_are_spread() -> None:
    days = [after_days(90, last=None, begins=BEGINS, key=key).on for key in range(1, 691)]
    # Over some 68 days 690 machines are ten a day; nobody wants all of them on one morning.
    assert max(days.count(day) for day in set(days)) <= 14


def steady(a_day: int) -> list[Sold]:
    return [Sold(7.0, 7 * a_day) for _ in range(12)]


def test_vends_at_a_steady_pace() -> None:
    due = after_vends(
        5000,
        last=date(2026, 1, 1),
        begins=BEGINS,
        key=1,
        sold_since=3000,
        pace=steady(50),
        today=TODAY,
    )
    assert due is not None
    assert due.on == TODAY + timedelta(days=40)  # 2000 more at 50 a day
    assert due.earliest is not None
    assert due.latest is not None
    assert TODAY < due.earliest < due.on < due.latest


def test_vends_that_are_past_are_due_today() -> None:
    due = after_vends(
        5000, last=BEGINS, begins=BEGINS, key=1, sold_since=5001, pace=[], today=TODAY
    )
    assert due is not None
    assert (due.on, due.earliest) == (TODAY, None)


def test_without_sales_no_day_is_told() -> None:
    for pace in ([], [Sold(7.0, 0)], [Sold(0.0, 5)]):
        due = after_vends(
            5000, last=BEGINS, begins=BEGINS, key=1, sold_since=10, pace=pace, today=TODAY
        )
        assert due is None


def test_a_pace_of_few_vends_has_an_open_end_and_says_so() -> None:
    due = after_vends(
        5000,
        last=BEGINS,
        begins=BEGINS,
        key=1,
        sold_since=0,
        pace=[Sold(7.0, 1)],
        today=TODAY,
    )
    assert due is not None
    assert due.latest == TODAY + timedelta(days=3660)


@given(
    units=st.lists(st.integers(0, 400), min_size=1, max_size=12),
    remaining=st.integers(1, 50_000),
)
def test_the_day_lies_in_its_band(units: list[int], remaining: int) -> None:
    pace = [Sold(7.0, one) for one in units]
    due = after_vends(
        remaining, last=BEGINS, begins=BEGINS, key=1, sold_since=0, pace=pace, today=TODAY
    )
    if due is None:
        assert sum(units) == 0
    else:
        assert due.earliest is not None
        assert due.latest is not None
        assert TODAY <= due.earliest <= due.on <= due.latest


def test_the_band_holds_nine_times_in_ten() -> None:
    """Machines of a known pace, sold as negative binomial with a variance of twice the mean."""
    rng = np.random.default_rng(11)
    daily, spread, held = 20.0, 2.0, 0
    n, p = daily / (spread - 1), 1 / spread
    for _ in range(400):
        seen = rng.negative_binomial(n, p, size=84)
        pace = [Sold(7.0, int(week.sum())) for week in seen.reshape(12, 7)]
        due = after_vends(
            800, last=BEGINS, begins=BEGINS, key=1, sold_since=0, pace=pace, today=TODAY
        )
        ahead = np.cumsum(rng.negative_binomial(n, p, size=400))
        day = TODAY + timedelta(days=int(np.searchsorted(ahead, 800)) + 1)
        assert due is not None
        assert due.earliest is not None
        assert due.latest is not None
        held += due.earliest <= day <= due.latest
    assert 0.86 <= held / 400 <= 0.98


def test_days_of_the_year() -> None:
    season = ["10-15", "05-01"]
    first = on_season(season, last=None, begins=date(2026, 5, 1), notice_days=14)
    assert first.on == date(2026, 5, 1)
    after = on_season(season, last=date(2026, 5, 20), begins=BEGINS, notice_days=14)
    assert after.on == date(2026, 10, 15)
    # Ten days early counts for the day; three weeks early does not.
    early = on_season(season, last=date(2026, 4, 21), begins=BEGINS, notice_days=14)
    assert early.on == date(2026, 10, 15)
    too_early = on_season(season, last=date(2026, 4, 10), begins=BEGINS, notice_days=14)
    assert too_early.on == date(2026, 5, 1)
    new_year = on_season(season, last=date(2026, 12, 1), begins=BEGINS, notice_days=14)
    assert new_year.on == date(2027, 5, 1)


def test_leap_day() -> None:
    assert day_of_year("02-29", 2028) == date(2028, 2, 29)
    assert day_of_year("02-29", 2027) == date(2027, 3, 1)


@pytest.mark.parametrize("text", ["", "5-1", "13-01", "02-30", "0501", "05/01", "aa-bb", "05-011"])
def test_what_is_no_day_of_the_year_is_refused(text: str) -> None:
    with pytest.raises(BadInterval, match="day of the year"):
        day_of_year(text, 2026)


def test_intervals_that_cannot_be_are_refused() -> None:
    with pytest.raises(BadInterval):
        after_days(0, last=None, begins=BEGINS, key=1)
    with pytest.raises(BadInterval):
        after_vends(0, last=None, begins=BEGINS, key=1, sold_since=0, pace=[], today=TODAY)
    with pytest.raises(BadInterval):
        on_season([], last=None, begins=BEGINS, notice_days=0)
