"""Sales laid out for the fit: rows in order, days and weeks counted back from the last day known.

A row is one interval of one column. Everything that concerns a machine as a whole (weekdays, the
season) is learned from its stretches, the intervals its columns share, and not from each column:
that is an order of magnitude fewer.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Self

import numpy as np

from .arrays import BadSales, Flags, Floats, Ints, sums
from .calendar import Calendar, weekdays
from .sales import IntervalSales

DAYS_A_WEEK = 7


@dataclass(frozen=True, eq=False)
class History:
    """Rows in order of column and time, and the grid of days [first_day, first_day + days).

    `days` is whole weeks that end with the day `as_of` falls in (or just before it, at midnight).
    machine, machines   each column's machine, 0 .. machines-1
    usual               [machines, days] how much of usual is open, by the calendar
    """

    sales: IntervalSales
    as_of: float
    first_day: int
    days: int
    machine: Ints
    machines: int
    usual: Floats

    @classmethod
    def of(cls, sales: IntervalSales, calendar: Calendar, as_of: float, history_days: int) -> Self:
        """What was known at `as_of`: intervals that ended by then. Raises BadSales."""
        if len(calendar.row) != sales.columns:
            raise BadSales("row", f"has {len(calendar.row)} entries, must have {sales.columns}")
        last = int(np.ceil(as_of))
        # An empty column that sold nothing tells nothing: at least 0 would have been sold.
        told = (sales.ends <= as_of) & (sales.starts >= last - history_days)
        told &= ~(sales.ran_dry & (sales.units == 0))
        kept = (sales if told.all() else sales.where(told)).in_order()
        oldest = int(np.floor(kept.starts.min())) if len(kept) else last
        weeks = max(-(-(last - oldest) // DAYS_A_WEEK), 1)
        first = last - weeks * DAYS_A_WEEK
        known, machine = np.unique(sales.machine, return_inverse=True)
        row = np.zeros(len(known), np.int64)
        row[machine] = calendar.row
        astray = row[machine] != calendar.row
        if astray.any():
            raise BadSales(
                "row", "differs from another column's of the machine", int(np.argmax(astray))
            )
        days = weeks * DAYS_A_WEEK
        usual = calendar.between(first, days)[row]
        return cls(kept, as_of, first, days, machine, len(known), usual)

    @property
    def weeks(self) -> int:
        return self.days // DAYS_A_WEEK

    @cached_property
    def weekday(self) -> Ints:
        """[days] weekday of each day of the grid."""
        return weekdays(np.arange(self.first_day, self.first_day + self.days))

    @cached_property
    def middle(self) -> Ints:
        """[rows] day of the grid that the middle of each interval falls in.

        A whole interval counts on that day when weeks are compared: spread over two weeks, it
        would tell the one what the other sold.
        """
        halfway = (self.sales.starts + self.sales.ends) * 0.5
        return np.minimum(halfway.astype(np.int64) - self.first_day, self.days - 1)

    @cached_property
    def within_a_day(self) -> Flags:
        """[rows] intervals that no midnight divides."""
        return self.sales.ends <= np.floor(self.sales.starts) + 1

    @cached_property
    def length(self) -> Floats:
        """[rows] days."""
        return self.sales.ends - self.sales.starts

    @cached_property
    def bounds(self) -> Ints:
        """[columns + 1] where each column's rows begin."""
        return np.searchsorted(self.sales.column, np.arange(self.sales.columns + 1))

    def by_column(self, rows: Floats) -> Floats:
        """[columns] sums over each column's rows."""
        totals = np.zeros(self.sales.columns)
        filled = np.flatnonzero(np.diff(self.bounds))
        if len(filled):
            totals[filled] = np.add.reduceat(rows, self.bounds[filled])
        return totals


@dataclass(frozen=True, eq=False)
class Stretches:
    """The machines' intervals, taken apart into days. A machine day is machine * days + day.

    Rows within a day lie on one machine day each. The others are gathered by machine, start and
    end into stretches, and each stretch is taken apart into pieces, one a day it touches.
    """

    history: History
    day_rows: Ints
    day_cell: Ints
    long_rows: Ints
    stretch: Ints
    stretches: int
    piece_stretch: Ints
    piece_cell: Ints
    piece_part: Floats

    @classmethod
    def of(cls, history: History) -> Self:
        sales, days = history.sales, history.days
        short = history.within_a_day
        day_rows, long_rows = np.flatnonzero(short), np.flatnonzero(~short)
        day_cell = history.machine[sales.column[day_rows]] * days + history.middle[day_rows]
        keys = np.stack(
            (
                history.machine[sales.column[long_rows]].astype(np.float64),
                sales.starts[long_rows],
                sales.ends[long_rows],
            )
        )
        order = np.lexsort(keys[::-1])
        inverse = np.zeros(len(long_rows), np.int64)
        if len(order):
            ordered = keys[:, order]
            new = np.concatenate(([True], (np.diff(ordered, axis=1) != 0).any(axis=0)))
            inverse[order] = np.cumsum(new) - 1
            machine, starts, ends = ordered[:, new]
        else:
            machine = starts = ends = np.zeros(0)
        first = np.floor(starts).astype(np.int64)
        touched = np.ceil(ends).astype(np.int64) - first
        piece_stretch = np.repeat(np.arange(len(first)), touched)
        since = np.arange(len(piece_stretch)) - np.repeat(np.cumsum(touched) - touched, touched)
        day = first[piece_stretch] + since
        part = np.minimum(ends[piece_stretch], day + 1) - np.maximum(starts[piece_stretch], day)
        cell = machine[piece_stretch].astype(np.int64) * days + day - history.first_day
        return cls(
            history, day_rows, day_cell, long_rows, inverse, len(first), piece_stretch, cell, part
        )

    def exposure(self, by_day: Floats) -> Floats:
        """[rows] exposure of each row, from [machines, days] of each machine day."""
        flat = by_day.ravel()
        found = np.empty(len(self.history.sales))
        found[self.day_rows] = flat[self.day_cell] * self.history.length[self.day_rows]
        found[self.long_rows] = self._of_stretches(flat)[self.stretch]
        # Sold although the calendar says closed: the calendar is wrong, and the length is right.
        wrong = (found <= 0) & (self.history.sales.units > 0)
        return np.where(wrong, self.history.length, found) if wrong.any() else found

    def _of_stretches(self, flat: Floats) -> Floats:
        return sums(self.piece_stretch, self.piece_part * flat[self.piece_cell], self.stretches)

    def expected(self, rate: Floats) -> Floats:
        """[machines, days] units expected on a usual day, from each column's rate.

        Only of the columns that were observed, and of the part of the day that they were.
        """
        of_row = rate[self.history.sales.column]
        return self._laid_out(
            of_row[self.day_rows] * self.history.length[self.day_rows],
            sums(self.stretch, of_row[self.long_rows], self.stretches)[self.piece_stretch]
            * self.piece_part,
        )

    def sold(self, units: Floats, by_day: Floats) -> Floats:
        """[machines, days] units sold; those of a stretch spread as `by_day` has it."""
        flat = by_day.ravel()
        weight = self.piece_part * flat[self.piece_cell]
        whole = sums(self.piece_stretch, weight, self.stretches)
        total = sums(self.stretch, units[self.long_rows], self.stretches)
        a_unit = np.divide(total, whole, out=np.zeros_like(total), where=whole > 0)
        return self._laid_out(units[self.day_rows], weight * a_unit[self.piece_stretch])

    def _laid_out(self, of_day_rows: Floats, of_pieces: Floats) -> Floats:
        size = self.history.machines * self.history.days
        laid = sums(self.day_cell, of_day_rows, size)
        if self.stretches:
            laid = laid + sums(self.piece_cell, of_pieces, size)
        return laid.reshape(self.history.machines, self.history.days)
