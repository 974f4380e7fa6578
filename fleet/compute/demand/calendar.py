"""Days on which a site sells as usual, less, or not at all."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, Self

import numpy as np
import numpy.typing as npt

from .arrays import BadSales, Floats, Ints, as_ints

EPOCH: Final = date(1970, 1, 1).toordinal()
#: 1970-01-01 was a Thursday; weekdays are counted from Monday, 0.
FIRST_WEEKDAY: Final = 3
SECONDS_A_DAY: Final = 86_400


def day_number(day: date) -> int:
    """Days since 1970-01-01."""
    return day.toordinal() - EPOCH


def moment_number(moment: datetime) -> float:
    """Days since 1970-01-01 00:00 by the clock on the wall: a zone, if any, is not converted."""
    into = moment.hour * 3600 + moment.minute * 60 + moment.second
    return day_number(moment.date()) + into / SECONDS_A_DAY


def weekdays(days: npt.ArrayLike) -> Ints:
    """Weekday of day numbers, Monday 0."""
    return (np.asarray(days, dtype=np.int64) + FIRST_WEEKDAY) % 7


@dataclass(frozen=True, slots=True)
class Closure:
    """A day that is not as usual. `part` is how much of usual sells: 0 closed, .5 half.

    `row` is the row of the calendar that it holds for; None holds for all.
    """

    day: int
    part: float = 0.0
    row: int | None = None


@dataclass(frozen=True, eq=False)
class Calendar:
    """How much of usual sells on each day, by rows that columns share (a row a site, say).

    first_day   day number of the first day
    usual       [rows, days] 1 a day as usual, 0 closed, .5 half a day, 2 a fair next door
    row         [columns] which row each column follows; columns of one machine follow one
    A day outside the calendar is taken as usual.
    """

    first_day: int
    usual: Floats
    row: Ints

    @classmethod
    def of(
        cls,
        columns: int,
        closures: Iterable[Closure] = (),
        *,
        row: npt.ArrayLike | None = None,
    ) -> Self:
        """From the days that are not as usual. Raises BadSales."""
        rows = np.zeros(columns, np.int64) if row is None else as_ints("row", row, columns)
        if len(rows) and rows.min() < 0:
            raise BadSales("row", "cannot be below zero", int(np.argmin(rows)))
        given = list(closures)
        height = int(rows.max(initial=0)) + 1
        first = min((one.day for one in given), default=0)
        last = max((one.day for one in given), default=0)
        usual = np.ones((height, last - first + 1))
        for index, one in enumerate(given):
            if not 0 <= one.part < np.inf:
                raise BadSales("closures", "part must be 0 or more", index)
            if one.row is None:
                usual[:, one.day - first] = one.part
            elif 0 <= one.row < height:
                usual[one.row, one.day - first] = one.part
            else:
                raise BadSales("closures", f"row must be 0 to {height - 1}", index)
        return cls(first, usual, rows)

    def __post_init__(self) -> None:
        if self.usual.ndim != 2:
            raise BadSales("usual", f"must be [rows, days], not of shape {self.usual.shape}")
        if not (np.isfinite(self.usual) & (self.usual >= 0)).all():
            raise BadSales("usual", "must be 0 or more")
        if len(self.row) and not 0 <= self.row.min() <= self.row.max() < len(self.usual):
            raise BadSales("row", f"names none of the {len(self.usual)} rows")

    def between(self, first_day: int, days: int) -> Floats:
        """[rows, days] from `first_day` on."""
        cut = np.ones((len(self.usual), days))
        starts = max(first_day, self.first_day)
        ends = min(first_day + days, self.first_day + self.usual.shape[1])
        if ends > starts:
            cut[:, starts - first_day : ends - first_day] = self.usual[
                :, starts - self.first_day : ends - self.first_day
            ]
        return cut
