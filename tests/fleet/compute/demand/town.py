"""An invented town of machines whose sales follow people, not the demand model.

People come to a machine by weekday, season and luck. Each comes for one column; in half of the
columns some people take several at once. When the column is empty a part of them takes a
neighbour's product instead, the rest leave. Prices rise now and then and some stay away; fairs
and closed days come and go; a site may gain or lose people for good. Machines are filled every
few days, and what was left unsold or ran dry is known only by what was sold.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from fleet.compute.demand import Calendar, Closure, IntervalSales

FIRST_DAY = 20_454  # 2026-01-01, a Thursday
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Town:
    """How the town is; the plain one has none of what can be turned on."""

    machines: int = 50
    columns_each: int = 10
    products: int = 40
    days: int = 140
    substitution: float = 0.0
    price_rises: float = 0.0
    level_shifts: float = 0.0
    holidays: bool = False
    season: float = 0.25
    seed: int = 1


@dataclass(frozen=True)
class Past:
    """What happened. `wanted` [columns] is what each column is really asked for in the horizon,
    `rate` [columns] its true mean, `draws` [draws, columns] what it might have been asked for.
    """

    town: Town
    machine: Ints
    product: Ints
    daily: IntervalSales
    totals: IntervalSales
    calendar: Calendar
    as_of: int
    horizon: Ints
    mean: Floats
    wanted: Ints
    draws: Ints
    tight: npt.NDArray[np.bool_]
    dry_part: float


@dataclass
class _Rows:
    column: list[int] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)
    ends: list[int] = field(default_factory=list)
    units: list[int] = field(default_factory=list)
    dry: list[bool] = field(default_factory=list)

    def add(self, column: int, starts: int, ends: int, units: int, dry: bool) -> None:
        self.column.append(column)
        self.starts.append(starts)
        self.ends.append(ends)
        self.units.append(units)
        self.dry.append(dry)

    def sales(self, machine: Ints, product: Ints) -> IntervalSales:
        return IntervalSales.of(
            column=self.column,
            starts=self.starts,
            ends=self.ends,
            units=self.units,
            ran_dry=self.dry,
            machine=machine,
            product=product,
        )


def live(town: Town) -> Past:
    """The town's past, and what will be asked of it in the next 3 to 10 days."""
    luck = np.random.default_rng(town.seed)
    columns = town.machines * town.columns_each
    machine = np.repeat(np.arange(town.machines), town.columns_each)
    product = luck.integers(0, town.products, columns)
    liked = luck.gamma(3, 1 / 3, town.products)
    busy = luck.gamma(3, 1 / 3, town.machines)
    rate = 1.1 * liked[product] * busy[machine] * luck.gamma(5, 1 / 5, columns)
    rate = np.clip(rate, 0.05, 8)
    several = np.where(luck.random(columns) < 0.5, luck.uniform(0.15, 0.45, columns), 0.0)
    total = town.days + 10
    mean = rate[:, None] * _by_day(town, luck, total)[machine]
    mean *= _changes(town, luck, columns, total)
    usual, closures = _closed(town, luck, total)
    mean *= usual[machine]

    horizon = luck.integers(3, 11, town.machines)[machine]
    ahead = np.arange(10)[None, :] < horizon[:, None]
    expected = (mean[:, town.days :] * ahead).sum(axis=1)
    tightness = luck.uniform(0.9, 3.2, columns)
    capacity = np.maximum(np.rint(rate * 6.5 * tightness), 2).astype(np.int64)
    daily, totals, dry_part = _sell(town, luck, mean, several, capacity, machine, product)
    return Past(
        town,
        machine,
        product,
        daily,
        totals,
        Calendar.of(columns, closures, row=machine),
        FIRST_DAY + town.days,
        horizon,
        expected,
        _taken(luck, expected, several),
        np.stack([_taken(luck, expected, several) for _ in range(600)]),
        tightness <= np.quantile(tightness, 0.2),
        dry_part,
    )


def _by_day(town: Town, luck: np.random.Generator, total: int) -> Floats:
    """[machines, days]: an office sleeps at the weekend, a station does not."""
    days = np.arange(total)
    weekday = (FIRST_DAY + 3 + days) % 7
    usual_week = np.array([1.1, 1.1, 1.1, 1.15, 1.25, 0.75, 0.55])
    week = usual_week * luck.lognormal(0, 0.25, (town.machines, 7))
    week /= week.mean(axis=1, keepdims=True)
    wave = 1 + town.season * np.sin(2 * np.pi * (days / 365 + luck.random()))
    found: Floats = week[:, weekday] * wave
    return found


def _changes(town: Town, luck: np.random.Generator, columns: int, total: int) -> Floats:
    """[columns, days]: prices that rose, and sites that gained or lost people."""
    factor = np.ones((columns, total))
    for column in np.flatnonzero(luck.random(columns) < town.price_rises):
        factor[column, luck.integers(10, town.days) :] *= luck.uniform(0.7, 0.95)
    for machine in np.flatnonzero(luck.random(town.machines) < town.level_shifts):
        of_it = slice(machine * town.columns_each, (machine + 1) * town.columns_each)
        factor[of_it, luck.integers(20, town.days - 7) :] *= luck.choice([0.5, 0.65, 1.5, 2])
    return factor


def _closed(town: Town, luck: np.random.Generator, total: int) -> tuple[Floats, list[Closure]]:
    usual = np.ones((town.machines, total))
    if not town.holidays:
        return usual, []
    closures = []
    for day in luck.choice(total, 5, replace=False):
        usual[:, day] = 0.1
        closures.append(Closure(FIRST_DAY + int(day), 0.1))
    for machine in np.flatnonzero(luck.random(town.machines) < 0.3):
        first = int(luck.integers(0, total - 7))
        usual[machine, first : first + 7] = 0
        closures += [Closure(FIRST_DAY + day, 0.0, int(machine)) for day in range(first, first + 7)]
    return usual, closures


def _taken(luck: np.random.Generator, mean: Floats, several: Floats) -> Ints:
    """Units asked for: people come by chance, and each takes one more, and one more, ..."""
    people = luck.poisson(mean * (1 - several))
    more = luck.negative_binomial(np.maximum(people, 1), 1 - several)
    return people + np.where((people > 0) & (several > 0), more, 0)


def _sell(
    town: Town,
    luck: np.random.Generator,
    mean: Floats,
    several: Floats,
    capacity: Ints,
    machine: Ints,
    product: Ints,
) -> tuple[IntervalSales, IntervalSales, float]:
    columns = len(machine)
    stock = capacity.copy()
    daily, totals = _Rows(), _Rows()
    filled = np.zeros(town.machines, np.int64)
    due = luck.integers(3, 11, town.machines)
    since = np.zeros(columns, np.int64)
    home = machine[:, None] == np.arange(town.machines)[None, :]
    for day in range(town.days):
        asked = _taken(luck, mean[:, day], several)
        sold = np.minimum(asked, stock)
        if town.substitution:
            turned = (asked - sold) @ home
            crowd = luck.binomial(turned, town.substitution)
            for place in np.flatnonzero(crowd):
                there = np.flatnonzero(machine == place)
                appeal = mean[there, day] * (stock[there] > sold[there])
                if appeal.sum() > 0:
                    picked = luck.multinomial(crowd[place], appeal / appeal.sum())
                    sold[there] += np.minimum(picked, stock[there] - sold[there])
        was_empty = stock == 0
        stock = stock - sold
        since += sold
        empty = (stock == 0) | was_empty
        for column in range(columns):
            daily.add(
                column,
                FIRST_DAY + day,
                FIRST_DAY + day + 1,
                int(sold[column]),
                bool(empty[column]),
            )
        for place in np.flatnonzero(due == day + 1):
            for column in np.flatnonzero(machine == place):
                totals.add(
                    int(column),
                    FIRST_DAY + int(filled[place]),
                    FIRST_DAY + day + 1,
                    int(since[column]),
                    bool(stock[column] == 0),
                )
            there = machine == place
            stock[there], since[there] = capacity[there], 0
            filled[place] = day + 1
            due[place] = day + 1 + luck.integers(3, 11)
    dry = np.array(totals.dry)
    return daily.sales(machine, product), totals.sales(machine, product), float(dry.mean())
