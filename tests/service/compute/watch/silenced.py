"""An invented fleet in which columns fall silent, watched day by day, with the truth beside it.

What makes it hard: sites close without anybody saying so, days are good and bad for whole
machines, half the columns sell in bursts, some lose their buyers for good, and some stand empty
unknown to the books. A fault ends when it is found, or when somebody stumbles on it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from service.compute.watch.silent import Intervals, judge, since_last_sale

FIRST = 20_454
WEEK = np.array([1.1, 1.1, 1.1, 1.15, 1.25, 0.75, 0.55])


@dataclass(frozen=True)
class Noise:
    """How unruly the fleet is. Chances are of a machine or column on a day."""

    machine_day_sd: float = 0.2
    closes: float = 0.008
    closed_days: float = 2.5
    told_of: float = 0.4
    half_weeks: float = 0.004
    bursts: float = 1.8
    loses_buyers: float = 0.0008
    faults: float = 0.0012
    stumbled_on_days: int = 45
    runs_empty: float = 0.006
    empty_known: float = 0.7


@dataclass
class Fleet:
    """Columns of machines of twelve, with what is true of each day and what is known of it.

    sold [columns, days]; open_known, by_calendar [columns, days] what the calendar says of a day;
    empty, empty_known [columns, days]; faults: column, day on which it began.
    """

    machines: int
    days: int
    noise: Noise = field(default_factory=Noise)
    seed: int = 1
    each: int = 12

    def __post_init__(self) -> None:
        luck = np.random.default_rng(self.seed)
        noise, n, days = self.noise, self.machines * self.each, self.days
        self.columns = n
        self.machine = np.arange(n) // self.each
        trade = np.exp(luck.normal(0, 0.4, self.machines))
        self.rate = luck.gamma(2, 0.6, n) * trade[self.machine]
        usual = WEEK[(FIRST + 3 + np.arange(days)) % 7]
        day = np.exp(luck.normal(0, noise.machine_day_sd, (self.machines, days)))
        told = np.ones((self.machines, days))
        for machine, start in np.argwhere(luck.random(day.shape) < noise.closes):
            end = start + luck.geometric(1 / noise.closed_days)
            day[machine, start:end] = 0
            if luck.random() < noise.told_of:
                told[machine, start:end] = 0
        for machine, start in np.argwhere(luck.random(day.shape) < noise.half_weeks):
            day[machine, start : start + 7] *= 0.4
        self.by_calendar = told * usual
        level = np.ones((n, days))
        for column, start in np.argwhere(luck.random((n, days)) < noise.loses_buyers):
            level[column, start:] *= 0.4
        mean = self.rate[:, None] * usual * day[self.machine] * level
        burst = np.where(luck.random(n) < 0.5, noise.bursts, 1.0)[:, None]
        shape = np.maximum(mean, 1e-9) / np.maximum(burst - 1, 1e-9)
        mean = np.where(burst > 1, luck.gamma(shape) * (burst - 1), mean)
        self.wanted = luck.poisson(mean)
        self.empty = np.zeros((n, days), bool)
        self.empty_known = np.zeros((n, days), bool)
        for column, start in np.argwhere(luck.random((n, days)) < noise.runs_empty):
            end = start + luck.integers(1, 4)
            self.empty[column, start:end] = True
            self.empty_known[column, start:end] = luck.random() < noise.empty_known
        self.begins = luck.random((n, days)) < noise.faults
        self.sold = np.where(self.empty, 0, self.wanted)


@dataclass
class Watched:
    """What a watch achieved: findings that were true and false, and faults found and missed.

    A false finding is one of a column that sold, or would have: one that stood empty unknown to the
    books, and one that lost its buyers, count as false too.
    """

    true: int = 0
    false: int = 0
    faults: int = 0
    delays: list[int] = field(default_factory=list)
    fast_delays: list[int] = field(default_factory=list)
    column_days: int = 0

    @property
    def precision(self) -> float:
        return self.true / max(1, self.true + self.false)

    @property
    def found(self) -> float:
        return self.true / max(1, self.faults)

    def and_(self, other: Watched) -> Watched:
        return Watched(
            self.true + other.true,
            self.false + other.false,
            self.faults + other.faults,
            self.delays + other.delays,
            self.fast_delays + other.fast_delays,
            self.column_days + other.column_days,
        )

    def said(self) -> str:
        return (
            f"precision {self.precision:.3f}, found {self.found:.3f} of {self.faults}, median "
            f"{np.median(self.delays or [0]):.0f} days "
            f"({np.median(self.fast_delays or [0]):.0f} at more than 2 a day), "
            f"{1000 * self.false / max(1, self.column_days):.3f} false alarms per 1,000 column-days"
        )


Judge = Callable[[Intervals, NDArray[np.bool_]], NDArray[np.bool_]]


def by_the_watch(known: Intervals, can_sell: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return judge(since_last_sale(known, can_sell=can_sell)).found


def watch(
    fleet: Fleet, found_by: Judge = by_the_watch, first: int = 70, back: int = 120
) -> Watched:
    """Look every day from day `first` on, at the last `back` days. What is found is mended at once,
    and a false finding stands until the column sells again."""
    n, days = fleet.columns, fleet.days
    result = Watched()
    broken = np.full(n, -1)
    stands = np.zeros(n, bool)
    sold = np.zeros((n, days))
    last_start = days - fleet.noise.stumbled_on_days
    rows = np.arange(n)
    for day in range(days):
        begun = fleet.begins[:, day] & (broken < 0) & (first <= day < last_start)
        broken[begun] = day
        result.faults += int(begun.sum())
        sold[:, day] = np.where(broken >= 0, 0, fleet.sold[:, day])
        stands &= sold[:, day] == 0
        if day < first:
            continue
        result.column_days += n
        past = np.arange(max(0, day + 1 - back), day + 1)
        recent = sold[:, past]
        of_machine = recent.reshape(fleet.machines, fleet.each, -1).sum(axis=1)[fleet.machine]
        known = Intervals.of(
            column=np.repeat(rows, len(past)),
            ends=np.tile(past + 1.0, n),
            units=recent.ravel(),
            exposure=fleet.by_calendar[:, past][fleet.machine].ravel(),
            beside=(of_machine - recent).ravel(),
            empty=fleet.empty_known[:, past].ravel(),
            machine=fleet.machine,
            dispersion=scatter(recent),
        )
        for column in np.flatnonzero(found_by(known, ~fleet.empty_known[:, day]) & ~stands):
            stands[column] = True
            if broken[column] < 0:
                result.false += 1
                continue
            result.true += 1
            delay = int(day - broken[column]) + 1
            result.delays.append(delay)
            if fleet.rate[column] > 2:
                result.fast_delays.append(delay)
            broken[column] = -1
        broken[(broken >= 0) & (day - broken >= fleet.noise.stumbled_on_days)] = -1
    return result


def scatter(sold: NDArray[np.float64]) -> NDArray[np.float64]:
    """[columns] variance over mean, from neighbouring weeks, shrunk to the fleet's."""
    weeks = sold.shape[1] // 7
    weekly = sold[:, -7 * weeks :].reshape(len(sold), weeks, 7).sum(axis=2)
    both = weekly[:, 1:] + weekly[:, :-1]
    square = (weekly[:, 1:] - weekly[:, :-1]) ** 2
    # Of weeks that stood still for a closure or a fault nothing is learned of bursts.
    lived = (weekly[:, 1:] > 0) & (weekly[:, :-1] > 0)
    pooled = (square * lived).sum() / max(1.0, (both * lived).sum())
    own = (square * lived).sum(axis=1) / np.maximum((both * lived).sum(axis=1), 1e-9)
    pairs = lived.sum(axis=1)
    return np.clip((12 * pooled + pairs * own) / (12 + pairs), 1, 20)
