"""Sales laid out for the fit: a grid of days for what is plain, rows for what is not.

Plain are intervals that lie within one day and did not run dry: of a machine read daily, nearly
all. They are added up by column and day, and from then on it is arithmetic on whole arrays. The
rest stay rows ("loose"): intervals of several days, whose days must be guessed, and those that
ran dry, whose units must.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any, Final, Self

import numpy as np
import numpy.typing as npt
from scipy import sparse

from .arrays import BadSales, Flags, Floats, Ints, sums
from .calendar import Calendar, weekdays
from .sales import IntervalSales

DAYS_A_WEEK: Final = 7
#: Columns laid out at a time: what is worked on then stays in the cache.
AT_ONCE: Final = 2048
#: More runs of days than this in a part are added up one by one, which is then faster.
MOST_RUNS: Final = 256

#: The grids hold small whole numbers and parts of days; half the memory is half the time.
Grid = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Loose:
    """Rows that are no plain days, in order of column and time.

    `middle` is the day of the grid that the middle of the interval falls in. A whole interval
    counts on that day when weeks are compared: spread over two weeks, it would tell the one what
    the other sold.
    """

    column: Ints
    starts: Floats
    ends: Floats
    units: Floats
    ran_dry: Flags
    middle: Ints

    def __len__(self) -> int:
        return len(self.column)


@dataclass(frozen=True, eq=False)
class History:
    """Days [first_day, first_day + days): whole weeks that end with the day `as_of` falls in.

    machine, machines   each column's machine, 0 .. machines-1
    usual               [machines, days] how much of usual is open, by the calendar
    sold, seen          [columns, days] units of plain days, and the part of the day watched
    """

    as_of: float
    first_day: int
    days: int
    machine: Ints
    machines: int
    usual: Floats
    sold: Grid
    seen: Grid
    loose: Loose

    @classmethod
    def of(cls, sales: IntervalSales, calendar: Calendar, as_of: float, history_days: int) -> Self:
        """What was known at `as_of`: intervals that ended by then. Raises BadSales."""
        if len(calendar.row) != sales.columns:
            raise BadSales("row", f"has {len(calendar.row)} entries, must have {sales.columns}")
        last = int(np.ceil(as_of))
        oldest = int(np.floor(sales.starts.min(initial=last)))
        weeks = max(-(-min(last - oldest, history_days) // DAYS_A_WEEK), 1)
        days = weeks * DAYS_A_WEEK
        first = last - days
        known, machine = np.unique(sales.machine, return_inverse=True)
        row = np.zeros(len(known), np.int64)
        row[machine] = calendar.row
        astray = row[machine] != calendar.row
        if astray.any():
            raise BadSales(
                "row", "differs from another column's of the machine", int(np.argmax(astray))
            )
        sold, seen, loose = _laid_out(sales.in_order(), as_of, first, days)
        usual = calendar.between(first, days)[row]
        return cls(as_of, first, days, machine, len(known), usual, sold, seen, loose)

    @property
    def columns(self) -> int:
        return len(self.machine)

    @property
    def weeks(self) -> int:
        return self.days // DAYS_A_WEEK

    @cached_property
    def weekday(self) -> Ints:
        """[days] weekday of each day of the grid."""
        return weekdays(np.arange(self.first_day, self.first_day + self.days))

    @cached_property
    def loose_week(self) -> Ints:
        """[loose] place of each row among weeks x columns."""
        return self.loose.middle // DAYS_A_WEEK * self.columns + self.loose.column

    @cached_property
    def plain_weeks(self) -> Floats:
        """[weeks, columns] units of plain days. Weeks first: neighbours are then whole rows."""
        found = np.empty((self.weeks, self.columns))
        for part in self.parts():
            found[:, part] = _by_week(self.sold[part])
        return found

    def weekly_units(self, loose_units: Floats) -> Floats:
        """[weeks, columns] units, given those of the loose rows."""
        return self.plain_weeks + self.loose_weeks(loose_units)

    def loose_weeks(self, values: Floats) -> Floats:
        """[weeks, columns] sums over loose rows."""
        size = self.columns * self.weeks
        return sums(self.loose_week, values, size).reshape(self.weeks, self.columns)

    def weekly_exposure(self, by_day: Floats, loose_exposure: Floats) -> Floats:
        """[weeks, columns] exposure, from [machines, days] and that of the loose rows."""
        found = np.empty((self.weeks, self.columns))
        narrow = by_day.astype(np.float32)
        for part in self.parts():
            found[:, part] = _by_week(self.plain_exposure(narrow, part))
        return found + self.loose_weeks(loose_exposure)

    def plain_exposure(self, by_day: Grid, part: slice) -> Grid:
        """[columns of the part, days] exposure of the plain days."""
        seen = self.seen[part]
        exposure: Grid = seen * by_day[self.machine[part]]
        if self._is_ever_closed:
            # Sold although the calendar says closed: it is wrong, and the part watched is right.
            wrong = (exposure <= 0) & (self.sold[part] > 0)
            exposure = np.where(wrong, seen, exposure)
        return exposure

    @cached_property
    def _is_ever_closed(self) -> bool:
        return bool((self.usual <= 0).any())

    def parts(self) -> list[slice]:
        """The columns, a few at a time."""
        return [
            slice(first, min(first + AT_ONCE, self.columns))
            for first in range(0, self.columns, AT_ONCE)
        ]

    def by_machine(self, grid: Grid, weight: Floats | None = None) -> Floats:
        """[machines, days] sums of a grid over each machine's columns, weighted by column."""
        of_column = np.ones(self.columns) if weight is None else weight
        member: Any = sparse.csr_array(
            (of_column.astype(np.float32), (self.machine, np.arange(self.columns))),
            shape=(self.machines, self.columns),
        )
        found: Floats = (member @ grid).astype(np.float64)
        return found


def _by_week(grid: Grid) -> Grid:
    """[weeks, columns] of [columns, days]."""
    columns, days = grid.shape
    daily = grid.reshape(columns, days // DAYS_A_WEEK, DAYS_A_WEEK)
    weekly: Grid = (daily @ np.ones(DAYS_A_WEEK, np.float32)).T
    return weekly


def _laid_out(
    sales: IntervalSales, as_of: float, first: int, days: int
) -> tuple[Grid, Grid, Loose]:
    """The grids of plain days and the loose rows, from intervals in order."""
    sold = np.empty((sales.columns, days), np.float32)
    seen = np.empty((sales.columns, days), np.float32)
    edges = np.arange(0, sales.columns + AT_ONCE, AT_ONCE)
    bounds = np.searchsorted(sales.column, edges)
    loose = []
    for begin, start, end in zip(edges[:-1], bounds[:-1], bounds[1:], strict=True):
        starts, ends = sales.starts[start:end], sales.ends[start:end]
        units, dry = sales.units[start:end], sales.ran_dry[start:end]
        day = starts.astype(np.int64)
        # An empty column that sold nothing tells nothing: at least 0 would have been sold.
        told = (ends <= as_of) & (starts >= first) & ~(dry & (units == 0))
        plain = told & (ends <= day + 1) & ~dry
        cell = (sales.column[start:end] - begin) * days + (day - first)
        length = ends - starts
        amount = units.astype(np.float64)
        if not plain.all():
            loose.append(start + np.flatnonzero(told & ~plain))
            # Rows left out weigh nothing, wherever they are put.
            left_out = np.flatnonzero(~plain)
            amount[left_out] = length[left_out] = 0
            outside = left_out[(starts[left_out] < first) | (day[left_out] >= first + days)]
            cell[outside] = 0
        height = min(AT_ONCE, sales.columns - int(begin))
        part = slice(int(begin), int(begin) + height)
        _add_up(cell, (amount, length), (sold[part], seen[part]))
    chosen = np.concatenate(loose) if loose else np.zeros(0, np.int64)
    halfway = (sales.starts[chosen] + sales.ends[chosen]) / 2
    rows = Loose(
        sales.column[chosen],
        sales.starts[chosen],
        sales.ends[chosen],
        sales.units[chosen].astype(np.float64),
        sales.ran_dry[chosen],
        np.floor(halfway).astype(np.int64) - first,
    )
    return sold, seen, rows


def _add_up(cell: Ints, values: tuple[Floats, ...], grids: tuple[Grid, ...]) -> None:
    """Sums of each of `values` by cell, into a grid each.

    Columns that are read every day fill cell after cell: whole runs of them are then copied.
    """
    step = np.diff(cell)
    breaks = np.flatnonzero(step != 1) + 1
    if len(breaks) > MOST_RUNS or not len(cell) or (step < 1).any():
        for given, grid in zip(values, grids, strict=True):
            grid[:] = np.bincount(cell, given, grid.size).reshape(grid.shape)
        return
    runs = list(pairwise((0, *breaks.tolist(), len(cell))))
    for given, grid in zip(values, grids, strict=True):
        flat = grid.reshape(-1)
        if len(cell) < len(flat):
            flat[:] = 0
        for first, end in runs:
            flat[cell[first] : cell[first] + end - first] = given[first:end]
