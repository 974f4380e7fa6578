"""What columns hold, will be asked for, and lose if nobody comes, as arrays over columns."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fleet.compute.demand import (
    Calendar,
    Fitted,
    exposure_between,
    exposures,
    moment_number,
    predictive,
)
from fleet.compute.demand.calendar import day_number
from fleet.compute.restock import dry, stock
from fleet.sales.stock import ColumnStock, estimate
from people.models import Business

from .calendars import calendar_for
from .columns import Columns

Floats = NDArray[np.float64]
#: A column of which nobody ever counted anything may hold anything.
NEVER: Final = "never counted"


@dataclass(frozen=True)
class Prospect:
    """N columns from the moment `as_of` on; day 1 is the business's day `first_day`.

    `held` (N, U) are the chances of what each holds now; `by_day` (N, days) the exposure from now
    to the end of each day.
    """

    columns: Columns
    at: datetime
    fitted: Fitted
    held: Floats
    stocks: list[ColumnStock]
    calendar: Calendar
    first_day: date
    as_of: float
    by_day: Floats

    @property
    def days(self) -> int:
        return self.by_day.shape[1]

    def day(self, on: date) -> int:
        """The number of a day: 1 is the first. Its beginning is the end of the day before."""
        return (on - self.first_day).days + 1

    def until_end_of(self, day: int) -> Floats:
        """Exposure (N,) from now to the end of a day; 0 is now, and beyond the last the last."""
        if day <= 0:
            return np.zeros(len(self.columns))
        return self.by_day[:, min(day, self.days) - 1]

    def asked(self, from_day: int, to_day: int) -> Floats:
        """Chances (N, V) of what is asked for from the end of one day to the end of another."""
        return predictive(self.fitted, self.until_end_of(to_day) - self.until_end_of(from_day))

    def held_at(self, day: int) -> Floats:
        """Chances (N, U) of what is held at the end of a day, if nobody comes."""
        if day <= 0:
            return self.held
        return stock.after_sales(self.held, self.asked(0, day))

    def demand_by_day(self, days: int) -> Iterator[Floats]:
        for day in range(1, days + 1):
            yield self.asked(0, day)

    def outlook(self, days: int | None = None) -> dry.Outlook:
        """When each runs dry and what is lost, by the end of each day."""
        many = self.days if days is None else min(days, self.days)
        return dry.outlook(self.held, self.demand_by_day(many), self.columns.margin_minor)


def look_ahead(columns: Columns, fitted: Fitted, *, at: datetime, days: int) -> Prospect:
    """From what was counted, filled and sold, and the demand since, to what comes. `days` ahead.

    What sold between the last read and now nobody knows: it is as the demand foretells it.
    """
    zone = Business.the().time_zone
    local = at.astimezone(zone)
    today = local.date()
    now = moment_number(local)
    calendar = calendar_for(
        columns.machines, since=today - timedelta(days=200), until=today + timedelta(days=days + 1)
    )
    found = estimate(columns.ids.tolist(), at)
    stocks = [found[column] for column in columns.ids.tolist()]
    most = int(columns.capacities.max(initial=1))
    known = np.array(
        [
            now
            if one.known_until is None or one.basis == NEVER
            else moment_number(one.known_until.astimezone(zone))
            for one in stocks
        ]
    )
    # What nobody counted is anything from empty to full; books that began at nothing say nothing.
    expected = [one.capacity / 2 if one.basis == NEVER else one.expected for one in stocks]
    # A capacity set lower than what lies there would cut the estimate short of the truth.
    most = max(most, int(np.ceil(max((one.high for one in stocks), default=0))))
    before = stock.between(
        expected,
        np.floor([one.low for one in stocks]),
        np.ceil([one.high for one in stocks]),
        most,
    )
    since = exposure_between(fitted, calendar, np.minimum(known, now), now)
    held = stock.after_sales(before, predictive(fitted, since)) if (since > 0).any() else before
    by_day = exposures(fitted, calendar, day_number(today), days)
    by_day[:, 0] *= day_number(today) + 1 - now
    return Prospect(
        columns=columns,
        at=at,
        fitted=fitted,
        held=held,
        stocks=stocks,
        calendar=calendar,
        first_day=today,
        as_of=now,
        by_day=np.cumsum(by_day, axis=1),
    )


def means(chances: Floats) -> Floats:
    mean: Floats = chances @ np.arange(chances.shape[1], dtype=np.float64)
    return mean


def at_quantile(chances: Floats, level: float) -> NDArray[Any]:
    """The fewest units that are not exceeded with a chance, one a row."""
    reached = np.cumsum(chances, axis=1) >= level - 1e-9
    reached[:, -1] = True
    return np.argmax(reached, axis=1)
