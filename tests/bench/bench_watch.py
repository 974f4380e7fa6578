"""A night's watch over a large fleet, beside the bare arithmetic that any watch of it must do.

Run by name, on one core:
`OMP_NUM_THREADS=1 pytest tests/bench/bench_watch.py -m bench -n 0 -s`.
The bare arithmetic of silences adds up sales and exposure before and after each last sale, takes
both chances by the plainest formula (no dispersion, a share known exactly) and sorts them; that of
missing units is one binomial tail a column and error of its two counts. Measured is the time of the
processor.

How well silences are found is measured on a larger fleet than in the tests: 600 machines.
"""

from __future__ import annotations

from collections.abc import Callable
from time import process_time

import numpy as np
import pytest
from scipy import special

from service.compute.watch import (
    Case,
    CauseCode,
    CauseCounts,
    ColumnFacts,
    Kind,
    lost,
    missing,
    power,
    rank,
    silent,
    takings,
)
from tests.service.compute.watch.silenced import Fleet, Watched, watch

COLUMNS, DAYS, EACH = 120_000, 90, 12
MACHINES = COLUMNS // EACH
SUSPECTED = 1_000
SECONDS = 10.0


def least(work: Callable[[], object], times: int = 3) -> float:
    found = 1e9
    for _ in range(times):
        begun = process_time()
        work()
        found = min(found, process_time() - begun)
    return found


def days_of_sale() -> silent.Intervals:
    luck = np.random.default_rng(3)
    rate = luck.gamma(2, 0.6, (COLUMNS, 1))
    units = luck.poisson(rate, (COLUMNS, DAYS))
    broken = luck.random(COLUMNS) < 0.005
    units[broken, -20:] = 0
    of_machine = units.reshape(MACHINES, EACH, DAYS).sum(axis=1).repeat(EACH, axis=0)
    return silent.Intervals.of(
        column=np.repeat(np.arange(COLUMNS), DAYS),
        ends=np.tile(np.arange(1.0, DAYS + 1), COLUMNS),
        units=units.ravel(),
        exposure=np.ones(COLUMNS * DAYS),
        beside=(of_machine - units).ravel(),
        empty=(luck.random((COLUMNS, DAYS)) < 0.01).ravel(),
        machine=np.arange(COLUMNS) // EACH,
        dispersion=luck.uniform(1, 1.6, COLUMNS),
    )


def bare_silence(given: silent.Intervals) -> object:
    column, units = given.column, given.units
    last = np.full(COLUMNS, -np.inf)
    np.maximum.at(last, column[units > 0], given.ends[units > 0])
    before = given.ends <= last[column]
    sold = np.bincount(column, units * before, COLUMNS)
    days = np.bincount(column, given.exposure * before, COLUMNS)
    silence = np.bincount(column, given.exposure * ~before, COLUMNS)
    beside = np.bincount(column, given.beside * ~before, COLUMNS)
    rate = (2 + sold) / (2 + days)
    share = rate / np.bincount(given.machine, rate)[given.machine]
    p_value = np.maximum((1 + silence / (2 + days)) ** -(2 + sold), (1 - share) ** beside)
    order = np.argsort(p_value)
    return p_value[order] * COLUMNS / np.arange(1, COLUMNS + 1) <= 0.05


@pytest.mark.bench
def test_a_large_fleet_is_watched_in_seconds() -> None:
    luck = np.random.default_rng(4)
    given = days_of_sale()
    vended = luck.poisson(150, COLUMNS)
    gone = luck.binomial(vended, 0.002) + luck.integers(-1, 2, COLUMNS)
    paid = luck.poisson(100, COLUMNS)
    rate = luck.gamma(2, 0.6, COLUMNS)
    facts = ColumnFacts(deep_loaded=2, deep_programmed=1, days_since_changeover=5, events=("EJL",))
    history = CauseCounts.of([Case(CauseCode.SPACER, {"changed_lately": True})] * 50)

    def silences() -> object:
        return silent.judge(silent.since_last_sale(given)).found

    def losses() -> object:
        return missing.judge(missing.Unaccounted.of(vended=vended, missing=gone)).p_value

    def bare_losses() -> object:
        found = np.zeros(COLUMNS)
        for off, chance in zip(range(-2, 3), missing.counting_error(2), strict=True):
            least_gone = np.maximum(gone - off, 1)
            tail = special.betainc(least_gone, vended - least_gone + 1.0, 0.002)
            found += chance * np.where(gone - off > 0, tail, 1)
        return found

    def the_rest() -> None:
        takings.judge(
            takings.Takings.of(paid_units=paid, paid_minor=paid * 200, least_minor=[200] * COLUMNS)
        )
        lost.judge(
            lost.Emptiness.of(
                shape=rate * 90,
                exposure_days=np.full(COLUMNS, 90.0),
                dry_exposure=luck.exponential(1, COLUMNS),
                weeks=np.full(COLUMNS, 4.0),
                margin_minor=np.full(COLUMNS, 80.0),
            )
        )
        power.judge(
            power.PowerLosses.of(losses=luck.poisson(0.2, MACHINES), days=np.full(MACHINES, 28.0))
        )

    def causes() -> None:
        for _ in range(SUSPECTED):
            rank(Kind.SILENT, facts, history)

    times = {
        "bare silences": least(lambda: bare_silence(given)),
        "silences": least(silences),
        "bare missing": least(bare_losses),
        "missing": least(losses),
        "the rest": least(the_rest),
        f"causes of {SUSPECTED}": least(causes, 1),
    }
    whole = sum(times[name] for name in times if not name.startswith("bare"))
    print(
        f"\n{COLUMNS} columns x {DAYS} days: {whole:.2f} s in all; "
        + ", ".join(f"{name} {taken:.2f} s" for name, taken in times.items())
        + f"; ratios: silences {times['silences'] / times['bare silences']:.1f}, "
        + f"missing {times['missing'] / times['bare missing']:.1f}"
    )
    assert whole < SECONDS


@pytest.mark.bench
def test_silences_are_found_and_few_of_them_are_false() -> None:
    result = Watched()
    for seed in (11, 12):
        result = result.and_(watch(Fleet(machines=300, days=190, seed=seed)))
    print("\n" + result.said())
    assert result.precision >= 0.80
    assert result.found >= 0.88


@pytest.mark.bench
def test_double_vends_are_found_and_few_of_them_are_false() -> None:
    """Columns counted every week, one count in six off by one; half a percent begin to double."""
    luck = np.random.default_rng(6)
    columns, weeks = 20_000, 12
    vends = luck.poisson(luck.gamma(3, 4, (columns, 1)), (columns, weeks))
    faulty = luck.random(columns) < 0.005
    often = luck.uniform(0.05, 0.9, columns)
    begins = luck.integers(0, weeks - 4, columns)
    doubled = faulty[:, None] & (np.arange(weeks) >= begins[:, None])
    extra = luck.binomial(vends, np.where(doubled, often[:, None], 0.0005))
    error = luck.choice([-1, 0, 1], (columns, weeks + 1), p=[0.08, 0.84, 0.08])
    gone = extra + error[:, 1:] - error[:, :-1]
    raised = np.zeros(columns, bool)
    delay, false = [], 0
    for week in range(weeks):
        seen = slice(max(0, week - 3), week + 1)
        judged = missing.judge(
            missing.Unaccounted.of(vended=vends[:, seen].sum(1), missing=gone[:, seen].sum(1))
        )
        new = (judged.too_few <= 0.0005) & ~raised
        raised |= new
        true = new & faulty & (begins <= week)
        false += int(new.sum() - true.sum())
        delay += (week - begins[true] + 1).tolist()
    found = len(delay) / faulty.sum()
    precision = len(delay) / (len(delay) + false)
    print(
        f"\ndouble vends: precision {precision:.3f}, found {found:.3f} of {faulty.sum()}, "
        f"median {np.median(delay):.0f} weekly counts"
    )
    assert precision >= 0.80
    assert found >= 0.88
