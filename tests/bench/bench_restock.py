"""Restock of a large fleet in arrays beside the plain loop, and what fits where.

Run by name: `pytest tests/bench/bench_restock.py -m bench -s`. Ratios are asserted beside the
baseline that runs with them. Times are of the processor, which is the time of a quiet machine.
"""

from __future__ import annotations

from collections.abc import Callable
from time import process_time

import numpy as np
import pytest
from scipy import special

from fleet.compute.columns import Columns
from fleet.compute.fit import fit
from fleet.compute.fleetwide import where_each_fits
from fleet.compute.packages import Package, PackageKind
from fleet.compute.restock.arrangements import EMPTY, Arrangement, Machine, Products
from fleet.compute.restock.distributions import gamma_poisson
from fleet.compute.restock.dry import outlook
from fleet.compute.restock.fill import Terms, levels, needs
from fleet.compute.restock.stock import between
from fleet.compute.restock.swap import suggest
from fleet.compute.restock.truck import carry
from tests.bench.bench_fit import BOTTLE, a_fleet

COLUMNS, PACKAGES, DAYS, MOST = 10_000, 200, 14, 40
SHAPE, MARGIN, LEFTOVER = 6.0, 110.0, 6.0


def best_of(times: int, work: Callable[[], object]) -> float:
    taken = []
    for _ in range(times):
        start = process_time()
        work()
        taken.append(process_time() - start)
    return min(taken)


def packages() -> list[Package]:
    """Bottles and cans that all differ a little."""
    bottles = [
        Package(
            PackageKind.NECKED_BOTTLE,
            length_mm=BOTTLE.length_mm - number % 20,
            diameter_mm=60 + number % 13,
            neck_from_mm=BOTTLE.neck_from_mm - number % 20,
            neck_to_mm=BOTTLE.neck_to_mm - number % 20,
            neck_diameter_mm=28,
        )
        for number in range(PACKAGES // 2)
    ]
    cans = [
        Package(PackageKind.CAN, 90 + number / 3, 50 + number % 25)
        for number in range(PACKAGES - len(bottles))
    ]
    return bottles + cans


@pytest.mark.bench
def test_what_fits_where_over_a_whole_fleet():
    fleet, many = a_fleet(), packages()

    found = where_each_fits(Columns.of(fleet), many)
    taken_s = best_of(3, lambda: where_each_fits(Columns.of(fleet), many))

    part = [(column, package) for column in range(0, COLUMNS, 97) for package in range(0, 200, 19)]
    start = process_time()
    plain = [fit(*_asked(fleet[column], many[package])) for column, package in part]
    loop_s = (process_time() - start) / len(part) * COLUMNS * PACKAGES
    for (column, package), one in zip(part, plain, strict=True):
        held = one.capacity.units if one.capacity is not None else 0
        assert found[column, package] == held
    print(
        f"\n{COLUMNS} columns x {PACKAGES} packages: {taken_s:.2f} s with laying out; "
        f"one by one it would be {loop_s:.0f} s ({loop_s / taken_s:.0f}x)"
    )
    assert taken_s < 2
    assert loop_s / taken_s > 50


def _asked(place, package):
    position, board = place
    return position, package, board


@pytest.mark.bench
def test_dry_days_and_fills_of_a_fleet_beside_the_plain_loop():
    rng = np.random.default_rng(7)
    daily = rng.gamma(2, 0.7, COLUMNS)
    expected = rng.uniform(0, 25, COLUMNS)
    low, high = np.floor(expected * 0.8), np.ceil(expected * 1.2)
    capacity = rng.integers(8, MOST, COLUMNS)
    terms = Terms.of(MARGIN, LEFTOVER)

    def in_arrays():
        stock = between(expected, low, high, MOST)
        days = (gamma_poisson(SHAPE, daily * day, 80) for day in range(1, DAYS + 1))
        seen = outlook(stock, days, MARGIN)
        found = levels(gamma_poisson(SHAPE, daily * 7, 80), terms, capacity)
        return stock, seen, found, needs(found.level, stock)

    stock, seen, found, need = in_arrays()
    arrays_s = best_of(3, in_arrays)

    few = range(0, COLUMNS, 50)
    start = process_time()
    plain = [_one(daily[n], stock[n], int(capacity[n])) for n in few]
    loop_s = (process_time() - start) * COLUMNS / len(few)

    for n, (lost, level) in zip(few, plain, strict=True):
        assert seen.units_lost[n] == pytest.approx(lost, abs=1e-6)
        assert found.level[n] == level
    print(
        f"\n{COLUMNS} columns, {DAYS} days, stock, fill and need: loop {loop_s:.1f} s, "
        f"arrays {arrays_s:.2f} s ({loop_s / arrays_s:.0f}x)"
    )
    assert need.shape[0] == COLUMNS
    assert loop_s / arrays_s > 5


def _one(daily: float, stock, capacity: int) -> tuple[list[float], int]:
    """One column as one would write it first: demand by demand and unit by unit."""
    at = np.arange(80)

    def chances(days: int):
        p = SHAPE / (SHAPE + daily * days)
        cdf = special.betainc(SHAPE, at + 1.0, p)
        cdf[-1] = 1
        return np.diff(cdf, prepend=0.0)

    lost = []
    for day in range(1, DAYS + 1):
        pmf = chances(day)
        lost.append(
            sum(chance * (pmf @ np.maximum(at - held, 0)) for held, chance in enumerate(stock))
        )
    reached = np.cumsum(chances(7)) >= MARGIN / (MARGIN + LEFTOVER)
    return lost, min(int(np.argmax(reached)), capacity)


@pytest.mark.bench
def test_a_truck_of_a_product_for_forty_columns():
    rng = np.random.default_rng(2)
    rows = list(gamma_poisson(SHAPE, rng.uniform(1, 12, 40), MOST))

    taken_s = best_of(5, lambda: carry(rows, 0.95))

    print(f"\none product for 40 columns: {taken_s * 1e3:.1f} ms")
    assert taken_s < 0.1


@pytest.mark.bench
@pytest.mark.parametrize(("columns", "products"), [(10, 40), (10, 200), (45, 100)])
def test_suggested_changes_of_a_machine(columns, products):
    rng = np.random.default_rng(columns * products)
    known = Products.of(
        np.arange(products),
        rng.gamma(2, 5, products),
        rng.integers(50, 150, products),
        weekly_sd_units=rng.uniform(0.5, 4, products),
        leftover_minor=3,
        waste_minor=60,
        life_days=rng.choice([np.inf, 60], products),
    )
    capacity = rng.integers(0, 2, (columns, products)) * rng.integers(8, 30, (columns, products))
    held = np.array([rng.choice([EMPTY, *np.flatnonzero(row)]) for row in capacity])
    room = np.where(held == EMPTY, 0, capacity[np.arange(columns), held])
    machine = Machine.of(
        np.arange(columns),
        known,
        capacity,
        Arrangement.of(held, room),
        visit_days=7,
        minutes=25,
        minute_minor=60,
    )

    found = suggest(machine)
    taken_s = best_of(1, lambda: suggest(machine))

    print(
        f"\n{columns} columns x {products} products: {taken_s:.2f} s, "
        f"{len(found.changes)} changes, proven: {found.proven}"
    )
    assert found.proven
    assert taken_s < 10
