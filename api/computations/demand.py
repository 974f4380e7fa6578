"""`compute demand`: what columns would sell, from what they sold."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Final

import numpy as np
from pydantic import NaiveDatetime
from pydantic.dataclasses import dataclass as checked

from fleet.compute.demand import (
    DEFAULT_SETTINGS,
    Calendar,
    Closure,
    DemandSettings,
    IntervalSales,
    day_number,
    exposures,
    fit,
    moment_number,
    predictive,
    quantiles,
)
from fleet.compute.units import BadMeasure, require_between

from .asking import ASKED_STRICTLY, Computation

MOST_DAYS: Final = 366
LOW, MEDIAN, HIGH = 0.05, 0.5, 0.95


@checked(frozen=True, config=ASKED_STRICTLY)
class ColumnAsked:
    """A column by a name of the asker's, with its machine and product likewise."""

    column: str
    machine: str
    product: str


@checked(frozen=True, config=ASKED_STRICTLY)
class IntervalSold:
    """Units a column sold from `starts` up to `ends`, by the clock at the machine.

    `ran_dry`: it was empty at some time, so that `units` is the least that would have been sold.
    """

    column: str
    starts: NaiveDatetime
    ends: NaiveDatetime
    units: int
    ran_dry: bool = False


@checked(frozen=True, config=ASKED_STRICTLY)
class UnusualDay:
    """A day that is not as usual at one machine, or at all (null).

    `part` of usual: 0 closed, .5 half, 2 twice.
    """

    day: date
    part: float = 0.0
    machine: str | None = None


@checked(frozen=True, config=ASKED_STRICTLY)
class DemandQuestion:
    """Sales up to the morning of `as_of`; what will be asked for on the `days` from then on?"""

    columns: tuple[ColumnAsked, ...]
    intervals: tuple[IntervalSold, ...]
    as_of: date
    days: int = 7
    calendar: tuple[UnusualDay, ...] = ()
    settings: DemandSettings = DEFAULT_SETTINGS

    def __post_init__(self) -> None:
        if not self.columns:
            raise BadMeasure("question.columns", "name at least one")
        require_between("question.days", self.days, 1, MOST_DAYS, "days")


@dataclass(frozen=True)
class DayAhead:
    """Units asked for from the morning of `as_of` up to the end of `day`.

    `low_units` and `high_units` bound nine tenths of what may happen.
    """

    day: date
    mean_units: float
    low_units: int
    median_units: int
    high_units: int


@dataclass(frozen=True)
class DemandOfColumn:
    """What will be asked of one column, and what that rests on.

    chances          of 0, 1, 2 .. units in all the days asked about; the last is of all beyond
    rate_a_day       mean units on a usual day
    rate_low_a_day, rate_high_a_day  bound nine tenths of what the rate may be
    own_days         usual days of the column's own in the rate, after fading; 0: from its pool
    half_life_days   in which old sales lose half their weight, as the column has learned
    weekday          factors of its machine, Monday first
    """

    column: str
    by_day: tuple[DayAhead, ...]
    chances: tuple[float, ...]
    rate_a_day: float
    rate_low_a_day: float
    rate_high_a_day: float
    dispersion: float
    from_pool: bool
    own_days: float
    half_life_days: float
    weekday: tuple[float, ...]


@dataclass(frozen=True)
class Demand:
    """The demand of every column asked about, in the order asked."""

    as_of: date
    days: int
    season_trend_a_week: float
    columns: tuple[DemandOfColumn, ...]


def _demand(question: DemandQuestion) -> Demand:
    sales, calendar = _sales(question), _calendar(question)
    as_of = day_number(question.as_of)
    fitted = fit(sales, calendar, as_of, question.settings)
    models = fitted.columns
    ahead = np.cumsum(exposures(models, calendar, as_of, question.days), axis=1)
    bands = [quantiles(models, ahead[:, day], (LOW, MEDIAN, HIGH)) for day in range(question.days)]
    pmf = predictive(models, ahead[:, -1])
    low, high = models.rate_quantile(LOW), models.rate_quantile(HIGH)
    answers = []
    for index, asked in enumerate(question.columns):
        model = models.column(index)
        days = tuple(
            DayAhead(
                question.as_of + timedelta(day),
                float(models.rate[index] * ahead[index, day]),
                *(int(units) for units in bands[day][index]),
            )
            for day in range(question.days)
        )
        answers.append(
            DemandOfColumn(
                asked.column,
                days,
                tuple(pmf[index].tolist()),
                model.rate,
                float(low[index]),
                float(high[index]),
                model.dispersion,
                model.from_pool,
                model.own_exposure,
                model.half_life_days,
                model.weekday,
            )
        )
    return Demand(question.as_of, question.days, fitted.pool.trend_a_week, tuple(answers))


def _sales(question: DemandQuestion) -> IntervalSales:
    place = {asked.column: index for index, asked in enumerate(question.columns)}
    for index, asked in enumerate(question.columns):
        if place[asked.column] != index:
            raise BadMeasure(f"columns.{index}.column", f"{asked.column} is named twice")
    for index, sold in enumerate(question.intervals):
        if sold.column not in place:
            raise BadMeasure(f"intervals.{index}.column", f"{sold.column} is none of the columns")
        if sold.ends <= sold.starts:
            raise BadMeasure(f"intervals.{index}.ends", "must be later than its start")
        if sold.units < 0:
            raise BadMeasure(f"intervals.{index}.units", "cannot be below zero")
    _refuse_overlaps(question.intervals)
    intervals = question.intervals
    return IntervalSales.of(
        column=[place[sold.column] for sold in intervals],
        starts=[moment_number(sold.starts) for sold in intervals],
        ends=[moment_number(sold.ends) for sold in intervals],
        units=[sold.units for sold in intervals],
        ran_dry=[sold.ran_dry for sold in intervals],
        machine=_numbered([asked.machine for asked in question.columns]),
        product=_numbered([asked.product for asked in question.columns]),
    )


def _refuse_overlaps(intervals: Sequence[IntervalSold]) -> None:
    order = sorted(
        range(len(intervals)), key=lambda at: (intervals[at].column, intervals[at].starts)
    )
    for before, after in pairwise(order):
        one, other = intervals[before], intervals[after]
        if one.column == other.column and other.starts < one.ends:
            raise BadMeasure(
                f"intervals.{after}.starts",
                f"lies inside interval {before} of column {one.column}; must be its end or later",
            )


def _calendar(question: DemandQuestion) -> Calendar:
    machines = [asked.machine for asked in question.columns]
    row = dict(zip(machines, _numbered(machines), strict=True))
    closures = []
    for index, unusual in enumerate(question.calendar):
        if unusual.machine is not None and unusual.machine not in row:
            raise BadMeasure(
                f"calendar.{index}.machine", f"{unusual.machine} is the machine of no column"
            )
        require_between(f"calendar.{index}.part", unusual.part, 0, 100, "of usual")
        of_row = None if unusual.machine is None else row[unusual.machine]
        closures.append(Closure(day_number(unusual.day), unusual.part, of_row))
    return Calendar.of(len(machines), closures, row=[row[name] for name in machines])


def _numbered(names: list[str]) -> list[int]:
    numbers = {name: index for index, name in enumerate(dict.fromkeys(names))}
    return [numbers[name] for name in names]


DEMAND = Computation(
    "demand",
    "What columns would sell in the days ahead, from what they sold in intervals.",
    DemandQuestion,
    Demand,
    _demand,
)
