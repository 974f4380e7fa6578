"""What the demand model takes in: sales, calendars, stored models; and what it refuses."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest

from fleet.compute.demand import (
    BadSales,
    Calendar,
    Closure,
    ColumnModel,
    DemandSettings,
    Fitted,
    IntervalSales,
    Pool,
    day_number,
    exposure_between,
    exposures,
    fit,
    moment_number,
    predictive,
    quantiles,
)
from fleet.compute.demand.calendar import weekdays

GOOD: dict[str, Any] = {
    "column": [0, 1, 0],
    "starts": [20_000, 20_000, 20_003.5],
    "ends": [20_003.5, 20_007, 20_007],
    "units": [3, 4, 2],
    "ran_dry": [False, True, False],
    "machine": [7, 7],
    "product": [1, 2],
}
MODEL = ColumnModel(4, 2.5, 1.2, (1.2, 1, 1, 1, 1.2, 0.9, 0.7), 0.02, 0.7, 20_007, 40, 30)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"column": [0, 2, 0]}, "column.1"),
        ({"column": [0, -1, 0]}, "column.1"),
        ({"column": [0, 0.5, 0]}, "column.1"),
        ({"column": [0, 1]}, "ran_dry"),
        ({"ends": [20_000, 20_007, 20_007]}, "ends.0"),
        ({"starts": [20_000, 20_000, float("nan")]}, "starts.2"),
        ({"units": [3, 4, -1]}, "units.2"),
        ({"units": ["3", "4", "2"]}, "units"),
        ({"ran_dry": [False, True]}, "ran_dry"),
        ({"product": [1]}, "product"),
    ],
)
def test_sales_that_cannot_be_are_refused_by_place(change: dict[str, Any], field: str) -> None:
    with pytest.raises(BadSales) as refused:
        IntervalSales.of(**{**GOOD, **change})
    assert refused.value.field == field


def test_moments_and_weekdays_are_of_the_clock_on_the_wall() -> None:
    assert day_number(date(1970, 1, 2)) == 1
    assert (
        moment_number(datetime(2026, 1, 1, 18, tzinfo=UTC)) == day_number(date(2026, 1, 1)) + 0.75
    )
    for day in (date(1970, 1, 1), date(2026, 2, 28), date(2028, 2, 29)):
        assert weekdays([day_number(day)])[0] == day.weekday()


def test_a_calendar_tells_days_that_are_not_as_usual() -> None:
    calendar = Calendar.of(3, [Closure(10), Closure(12, 0.5, row=1)], row=[0, 0, 1])
    assert calendar.between(9, 5).tolist() == [[1, 0, 1, 1, 1], [1, 0, 1, 0.5, 1]]
    assert calendar.between(100, 2).tolist() == [[1, 1], [1, 1]]
    for wrong in (Closure(1, -0.1), Closure(1, float("nan")), Closure(1, 0.5, row=2)):
        with pytest.raises(BadSales):
            Calendar.of(3, [wrong], row=[0, 0, 1])
    with pytest.raises(BadSales):
        fit(IntervalSales.of(**GOOD), Calendar.of(3), 20_007)
    with pytest.raises(BadSales, match="another column's of the machine"):
        fit(IntervalSales.of(**GOOD), Calendar.of(2, row=[0, 1]), 20_007)


def test_settings_that_cannot_be_are_refused() -> None:
    for wrong in (
        {"half_lives_days": ()},
        {"trend_damping": 1.5},
        {"score_memory": 0},
        {"history_days": 3},
        {"weekday_worth_sales": 0},
        {"leap_a_week": 1},
    ):
        with pytest.raises(BadSales):
            DemandSettings(**wrong)  # type: ignore[arg-type]


def test_a_model_is_stored_without_loss() -> None:
    kept = json.loads(json.dumps(MODEL.as_json()))
    assert ColumnModel.from_json(kept) == MODEL
    assert Fitted.of([MODEL, MODEL]).column(1) == MODEL
    for wrong in ({**kept, "form": 0}, {**kept, "weekday": [1]}):
        with pytest.raises(BadSales):
            ColumnModel.from_json(wrong)
    del kept["shape"]
    with pytest.raises(BadSales, match="shape"):
        ColumnModel.from_json(kept)


def test_a_pool_is_stored_without_loss() -> None:
    pool = fit(IntervalSales.of(**GOOD), Calendar.of(2), 20_007).pool
    assert Pool.from_json(json.loads(json.dumps(pool.as_json()))) == pool
    with pytest.raises(BadSales):
        Pool.from_json({})


def test_exposure_follows_weekday_closure_and_the_fading_trend() -> None:
    fitted = Fitted.of([MODEL])
    calendar = Calendar.of(1, [Closure(20_009)])
    days = exposures(fitted, calendar, 20_007, 200)[0]
    assert days[2] == 0
    weekday = np.array(MODEL.weekday)[weekdays(np.arange(20_007, 20_207))]
    season = days / weekday
    # In all a trend that keeps d of itself a week grows by d / (1 - d) weeks' worth.
    assert season[199] == pytest.approx(np.exp(0.02 * 0.7 / 0.3), rel=1e-3)
    assert 1 < season[0] < season[7] < season[199]
    half = exposure_between(fitted, calendar, 20_008.25, 20_010.5)[0]
    assert half == pytest.approx(0.75 * days[1] + 0.5 * days[3])
    with pytest.raises(BadSales):
        exposure_between(fitted, calendar, 20_009, 20_008)


def test_what_cannot_be_foretold_is_refused() -> None:
    fitted = Fitted.of([MODEL])
    for wrong in (
        lambda: predictive(fitted, -1),
        lambda: predictive(fitted, 1, 0),
        lambda: quantiles(fitted, 1, [1.0]),
        lambda: exposures(fitted, Calendar.of(2), 20_007, 3),
    ):
        with pytest.raises(BadSales):
            wrong()


def test_nothing_is_asked_for_in_no_time() -> None:
    fitted = Fitted.of([MODEL])
    assert predictive(fitted, 0)[0, 0] == 1
    assert quantiles(fitted, 0, [0.99])[0, 0] == 0
