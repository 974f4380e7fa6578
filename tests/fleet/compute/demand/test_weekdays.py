"""Machines speak for themselves as far as the fleet's machines are seen to differ."""

from __future__ import annotations

from typing import Any

import numpy as np

from fleet.compute.demand import Calendar, IntervalSales, fit

FIRST, DAYS, MACHINES, EACH = 20_454, 140, 60, 4
OFFICE = np.array([1.3, 1.3, 1.3, 1.3, 1.3, 0.3, 0.2])
STATION = np.array([0.9, 0.9, 0.9, 0.9, 1.1, 1.2, 1.1])
TELLS = np.arange(MACHINES) % 2 == 0


def weekdays_of(offices: np.ndarray, rate: float, several_days: bool, seed: int) -> np.ndarray:
    """[machines, 7] learned where `offices` are offices and the rest stations."""
    luck = np.random.default_rng(seed)
    week = np.where(offices[:, None], OFFICE, STATION)
    days = FIRST + np.arange(DAYS)
    machine = np.repeat(np.arange(MACHINES), EACH)
    daily = luck.poisson(rate * week[machine][:, (days + 3) % 7])
    rows: dict[str, list[Any]] = {name: [] for name in ("column", "starts", "ends", "units")}
    for place in range(MACHINES):
        at = 0
        while at < DAYS:
            until = min(at + (int(luck.integers(3, 9)) if several_days else 1), DAYS)
            for column in range(EACH * place, EACH * place + EACH):
                rows["column"].append(column)
                rows["starts"].append(FIRST + at)
                rows["ends"].append(FIRST + until)
                rows["units"].append(daily[column, at:until].sum())
            at = until
    sales = IntervalSales.of(
        **rows, ran_dry=np.zeros(len(rows["units"]), bool), machine=machine, product=machine % 5
    )
    return fit(sales, Calendar.of(len(machine)), FIRST + DAYS).columns.weekday[::EACH]


def error(offices: np.ndarray, rate: float, several_days: bool) -> float:
    """Root mean square of what the factors learned are off."""
    truth = np.where(offices[:, None], OFFICE, STATION)
    off = [weekdays_of(offices, rate, several_days, seed) - truth for seed in (4, 5)]
    return float(np.sqrt(np.mean(np.square(off))))


def test_machines_that_are_alike_keep_the_fleets_weekdays() -> None:
    """Sales of 8 a week and column; that the fleet is worth 20 sales, always, is off by 0.26."""
    offices = np.ones(MACHINES, bool)
    # By itself a machine of 56 sales a weekday would be off by 0.13 where its factor is 1.
    assert error(offices, 0.7, False) < 0.04
    assert error(offices, 0.7, True) < 0.15


def test_machines_that_differ_have_their_own() -> None:
    """That the fleet is worth 10 sales, always, is off by 0.31 with totals of several days.

    And the fleet's own factors, which are in the middle between the two, by 0.29.
    """
    assert error(TELLS, 2.0, False) < 0.09
    assert error(TELLS, 2.0, True) < 0.25
