"""What must hold of any fit, whatever was sold."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.compute.demand import (
    DEFAULT_SETTINGS,
    BadSales,
    Calendar,
    Closure,
    Fitted,
    IntervalSales,
    exposures,
    fit,
    pool_model,
    pooled,
    predictive,
)

FIRST = 20_454
#: One half-life, and everything that columns share held still: each column by itself.
BY_ITSELF = replace(
    DEFAULT_SETTINGS,
    half_lives_days=(28.0,),
    weekday_worth_sales=1e12,
    season_worth_sales=1e12,
    leap_a_week=0,
    pool_worth_sales=1e12,
    dispersion_worth=1e12,
)


@st.composite
def sales(draw: st.DrawFn, most_columns: int = 4) -> dict[str, Any]:
    """Columns of a few machines, read every few days at any hour."""
    columns = draw(st.integers(1, most_columns))
    rows: dict[str, list[Any]] = {
        name: [] for name in ("column", "starts", "ends", "units", "ran_dry")
    }
    for column in range(columns):
        moment = float(FIRST)
        for _ in range(draw(st.integers(0, 9))):
            length = draw(st.sampled_from((0.4, 1.0, 2.5, 3.0, 7.0)))
            rows["column"].append(column)
            rows["starts"].append(moment)
            rows["ends"].append(moment + length)
            rows["units"].append(draw(st.integers(0, 12)))
            rows["ran_dry"].append(draw(st.booleans()))
            moment += length
    machine = draw(st.lists(st.integers(1, 2), min_size=columns, max_size=columns))
    product = draw(st.lists(st.integers(1, 3), min_size=columns, max_size=columns))
    return {**rows, "machine": machine, "product": product}


def fitted(
    rows: dict[str, Any], *closures: Closure, by_itself: bool = False, **changed: float
) -> Fitted:
    calendar = Calendar.of(len(rows["machine"]), closures)
    chosen = replace(BY_ITSELF if by_itself else DEFAULT_SETTINGS, **changed)
    return fit(IntervalSales.of(**rows), calendar, FIRST + 63, chosen).columns


def the_same(one: Fitted, other: Fitted) -> bool:
    names = one.__dataclass_fields__
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in names)


@settings(max_examples=60, deadline=None)
@given(sales(), st.randoms(use_true_random=False))
def test_the_order_of_the_intervals_changes_nothing(rows: dict[str, Any], luck: Any) -> None:
    order = list(range(len(rows["column"])))
    luck.shuffle(order)
    shuffled = {
        name: [values[at] for at in order] if name not in ("machine", "product") else values
        for name, values in rows.items()
    }
    assert the_same(fitted(rows), fitted(shuffled))


@settings(max_examples=60, deadline=None)
@given(sales())
def test_any_sales_make_distributions(rows: dict[str, Any]) -> None:
    models = fitted(rows)
    assert (models.rate > 0).all()
    assert np.isfinite(models.rate).all()
    assert (models.dispersion >= 1).all()
    assert models.weekday.mean(axis=1) == pytest.approx(1)
    ahead = exposures(models, Calendar.of(len(models)), FIRST + 63, 5).sum(axis=1)
    pmf = predictive(models, ahead)
    assert (pmf >= 0).all()
    assert pmf.sum(axis=1) == pytest.approx(1)
    mean = pmf @ np.arange(pmf.shape[1])
    assert mean == pytest.approx(models.rate * ahead, rel=1e-4)


@settings(max_examples=60, deadline=None)
@given(sales(most_columns=1), st.data())
def test_more_sold_never_lowers_the_rate(rows: dict[str, Any], data: st.DataObject) -> None:
    """Of a column by itself, at one half-life. (A sale long ago may well speak for a level that
    has fallen since, once half-lives are learned.)"""
    if not rows["column"]:
        return
    at = data.draw(st.integers(0, len(rows["units"]) - 1))
    more = {**rows, "units": list(rows["units"])}
    if rows["ran_dry"][at] and rows["units"][at] == 0:
        # Empty all along tells nothing; having sold one tells something, which may be little.
        return
    more["units"][at] += data.draw(st.integers(1, 5))
    before, after = fitted(rows, by_itself=True), fitted(more, by_itself=True)
    assert after.rate[0] >= before.rate[0] * (1 - 1e-5)


@settings(max_examples=40, deadline=None)
@given(sales(most_columns=1), st.data())
def test_having_run_dry_never_lowers_the_rate(rows: dict[str, Any], data: st.DataObject) -> None:
    """But for what it says no more of the scatter, which weighs the other intervals: 2 % at most
    of a column by itself, whose scatter no other column steadies."""
    if not rows["column"]:
        return
    at = data.draw(st.integers(0, len(rows["units"]) - 1))
    if rows["units"][at] == 0:
        return
    plain = {**rows, "ran_dry": list(rows["ran_dry"])}
    plain["ran_dry"][at] = False
    dry = {**plain, "ran_dry": list(plain["ran_dry"])}
    dry["ran_dry"][at] = True
    assert fitted(dry, by_itself=True).rate[0] >= fitted(plain, by_itself=True).rate[0] * 0.98


@settings(max_examples=40, deadline=None)
@given(sales(), st.sampled_from((0.25, 0.5, 2.0)))
def test_days_of_half_the_worth_are_half_the_rate(rows: dict[str, Any], part: float) -> None:
    """What is foretold does not hang on what is called a usual day."""
    if not rows["column"]:
        return
    everywhere = [Closure(FIRST + day, part) for day in range(-1, 70)]
    calendar = Calendar.of(len(rows["machine"]), everywhere)
    given_sales = IntervalSales.of(**rows)
    plain = fit(given_sales, Calendar.of(len(rows["machine"])), FIRST + 63).columns
    scaled = fit(given_sales, calendar, FIRST + 63).columns
    one = exposures(plain, Calendar.of(len(plain)), FIRST + 63, 4).sum(axis=1) * plain.rate
    other = exposures(scaled, calendar, FIRST + 63, 4).sum(axis=1) * scaled.rate
    assert other == pytest.approx(one, rel=1e-3)


def steady(
    columns: int, weeks: int, rate: npt.ArrayLike, seed: int = 1, each: int = 4
) -> dict[str, Any]:
    luck = np.random.default_rng(seed)
    days = 7 * weeks
    units = luck.poisson(np.broadcast_to(rate, (days, columns)).T)
    return {
        "column": np.repeat(np.arange(columns), days),
        "starts": np.tile(FIRST + 63 - days + np.arange(days), columns),
        "ends": np.tile(FIRST + 64 - days + np.arange(days), columns),
        "units": units.ravel(),
        "ran_dry": np.zeros(columns * days, bool),
        "machine": np.arange(columns) // each,
        "product": np.arange(columns) % each,
    }


def test_a_level_that_shifted_is_followed_and_a_steady_one_is_believed() -> None:
    """One column of each of a few machines; its neighbours have not moved, nor has the machine."""
    shifted = np.arange(0, 32, 4)
    neighbours = np.setdiff1d(np.arange(32), shifted)
    rate = np.full((63, 120), 2.0)
    rate[-21:, shifted] = 6.0
    models = fitted(steady(120, 9, rate))
    # From 2 to 6 three weeks ago: near half of the way, all others being so much alike.
    assert 3.7 < models.rate[shifted].mean() < 6.5
    assert models.rate[neighbours].mean() == pytest.approx(2, rel=0.13)
    assert models.rate[32:].mean() == pytest.approx(2, rel=0.1)
    assert models.half_life_days[shifted].max() < np.median(models.half_life_days[32:]) / 2


def test_a_machine_that_gained_or_lost_people_is_followed_within_a_week() -> None:
    """All columns of two machines at once: together they show what each would show in weeks."""
    gained, lost, others = slice(0, 8), slice(8, 16), slice(16, 120)
    rate = np.full((63, 120), 2.0)
    rate[-7:, gained], rate[-7:, lost] = 6.0, 0.8
    rows = steady(120, 9, rate, each=8)
    models = fitted(rows)
    assert models.rate[gained].mean() == pytest.approx(6, rel=0.1)
    assert models.rate[lost].mean() == pytest.approx(0.8, rel=0.15)
    assert models.rate[others].mean() == pytest.approx(2, rel=0.05)
    one_by_one = fitted(rows, leap_a_week=0.0)
    assert one_by_one.rate[gained].mean() < 3.5
    assert one_by_one.rate[lost].mean() > 1.5
    # A week tells less of them than nine weeks would have.
    rate[:, gained] = 6.0
    assert models.shape[gained].max() < fitted(steady(120, 9, rate, each=8)).shape[gained].min()


def test_a_new_product_or_machine_starts_from_its_pool() -> None:
    rate = np.tile([0.5, 1.0, 2.0, 4.0], 10)
    rows = steady(40, 9, rate)
    # The last column has sold nothing yet.
    kept = rows["column"] != 39
    for name in ("column", "starts", "ends", "units", "ran_dry"):
        rows[name] = rows[name][kept]
    found = fit(IntervalSales.of(**rows), Calendar.of(40), FIRST + 63)
    new = found.columns.column(39)
    assert new.from_pool
    assert new.rate == pytest.approx(4, rel=0.25)
    known = found.columns.column(35)
    assert not known.from_pool
    assert new.shape < known.shape

    by_both = pool_model(found.pool, machine=9, product=3)
    by_product = pool_model(found.pool, machine=999, product=3)
    by_nothing = pool_model(found.pool)
    assert by_both.rate == pytest.approx(new.rate, rel=0.1)
    assert by_product.rate == pytest.approx(4, rel=0.25)
    assert by_nothing.rate == pytest.approx(np.mean(rate), rel=0.3)
    assert by_both.shape >= by_product.shape >= by_nothing.shape


def test_a_mean_of_columns_is_as_uncertain_as_they_differ() -> None:
    found = fitted(steady(8, 9, [1.0, 1.0, 1.0, 1.0, 3.0, 3.0, 3.0, 3.0]))
    alike = pooled([found.column(at) for at in range(4)], [1, 1, 1, 1])
    apart = pooled([found.column(at) for at in range(8)], [1] * 8)
    assert alike.rate == pytest.approx(1, rel=0.25)
    assert apart.rate == pytest.approx(2, rel=0.25)
    assert apart.shape < alike.shape
    with pytest.raises(BadSales):
        pooled([], [])


def test_closed_days_are_no_days_without_demand() -> None:
    rows = steady(8, 9, 2.0)
    shut = [FIRST + 63 - 20 + day for day in range(10)]
    rows["units"] = np.where(np.isin(rows["starts"], shut), 0, rows["units"])
    told = fitted(rows, *(Closure(day) for day in shut))
    untold = fitted(rows)
    assert told.rate.mean() == pytest.approx(2, rel=0.08)
    assert untold.rate.mean() < told.rate.mean() * 0.93


def test_weekdays_are_learned_from_totals_of_several_days() -> None:
    luck = np.random.default_rng(2)
    week = np.array([1.5, 1.2, 1.0, 1.0, 1.3, 0.6, 0.4])
    days = FIRST - 120 + np.arange(183)
    daily = luck.poisson(3 * week[(days + 3) % 7], (200, 183))
    rows: dict[str, list[Any]] = {
        name: [] for name in ("column", "starts", "ends", "units", "ran_dry")
    }
    for machine in range(50):
        at = 0
        while at < 183:
            until = min(at + int(luck.integers(2, 6)), 183)
            for column in range(4 * machine, 4 * machine + 4):
                rows["column"].append(column)
                rows["starts"].append(days[at])
                rows["ends"].append(days[0] + until)
                rows["units"].append(int(daily[column, at:until].sum()))
                rows["ran_dry"].append(False)
            at = until
    machine = np.arange(200) // 4
    found = fit(
        IntervalSales.of(**rows, machine=machine, product=machine % 3),
        Calendar.of(200),
        FIRST + 63,
    )
    assert found.pool.fleet_weekday == pytest.approx(tuple(week), abs=0.12)


def test_what_ended_later_is_not_known() -> None:
    rows = steady(4, 9, 2.0)
    early = fit(IntervalSales.of(**rows), Calendar.of(4), FIRST + 40).columns
    kept = np.asarray(rows["ends"]) <= FIRST + 40
    only = {
        name: values[kept] if name not in ("machine", "product") else values
        for name, values in rows.items()
    }
    assert the_same(early, fit(IntervalSales.of(**only), Calendar.of(4), FIRST + 40).columns)


def test_no_columns_are_refused() -> None:
    nothing = IntervalSales.of(
        column=[], starts=[], ends=[], units=[], ran_dry=[], machine=[], product=[]
    )
    with pytest.raises(BadSales):
        fit(nothing, Calendar.of(0), FIRST)
