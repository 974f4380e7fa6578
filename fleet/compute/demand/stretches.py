"""Loose intervals taken apart into machine days, to learn what all columns of a machine share.

Columns of a machine share their intervals. Gathered by machine, start and end, the rows become an
order of magnitude fewer stretches, and each stretch is taken apart into pieces, one a day that it
touches. A machine day is numbered machine x days + day.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Self

import numpy as np

from .arrays import Floats, Ints, sums
from .history import DAYS_A_WEEK, History


@dataclass(frozen=True, eq=False)
class Weekdays:
    """Of single days [machines, days] each; of each stretch of several days its machine, its
    units, and [7, stretches] what is expected of it.
    """

    sold: Floats
    expected: Floats
    machine: Ints
    total: Floats
    of_stretch: Floats


@dataclass(frozen=True, eq=False)
class Stretches:
    """stretch: of each loose row; machine: of each stretch. Of each piece its stretch, its machine
    day, and the part of the day that it covers.
    """

    history: History
    stretch: Ints
    stretches: int
    machine: Ints
    piece_stretch: Ints
    piece_cell: Ints
    piece_part: Floats

    @classmethod
    def of(cls, history: History) -> Self:
        loose = history.loose
        machine = history.machine[loose.column]
        order = np.lexsort((loose.ends, loose.starts, machine))
        inverse = np.zeros(len(loose), np.int64)
        ordered = [one[order] for one in (machine, loose.starts, loose.ends)]
        new = np.ones(len(order), bool)
        new[1:] = np.any([one[1:] != one[:-1] for one in ordered], axis=0)
        inverse[order] = np.cumsum(new) - 1
        machine, starts, ends = (
            machine[order][new],
            loose.starts[order][new],
            loose.ends[order][new],
        )
        first = np.floor(starts).astype(np.int64)
        touched = np.ceil(ends).astype(np.int64) - first
        piece_stretch = np.repeat(np.arange(len(first)), touched)
        since = np.arange(len(piece_stretch)) - np.repeat(np.cumsum(touched) - touched, touched)
        day = first[piece_stretch] + since
        part = np.minimum(ends[piece_stretch], day + 1) - np.maximum(starts[piece_stretch], day)
        cell = machine[piece_stretch] * history.days + day - history.first_day
        return cls(history, inverse, len(first), machine, piece_stretch, cell, part)

    @property
    def guessed(self) -> bool:
        """Some stretch is of several days, so that its days are guessed."""
        return len(self.piece_stretch) > self.stretches

    @cached_property
    def plain_sold(self) -> Floats:
        """[machines, days] units of plain days."""
        return self.history.by_machine(self.history.sold)

    def exposure(self, by_day: Floats) -> Floats:
        """[loose] exposure of each row, from [machines, days] of each machine day."""
        loose = self.history.loose
        found = self._whole(by_day)[self.stretch]
        wrong = (found <= 0) & (loose.units > 0)
        # Sold although the calendar says closed: it is wrong, and the length is right.
        return np.where(wrong, loose.ends - loose.starts, found)

    def _whole(self, by_day: Floats) -> Floats:
        weight = self.piece_part * by_day.ravel()[self.piece_cell]
        return sums(self.piece_stretch, weight, self.stretches)

    def expected(self, rate: Floats) -> Floats:
        """[machines, days] units expected on a usual day, from each column's rate.

        Only of the columns that were watched, and of the part of the day that they were.
        """
        of_stretch = sums(self.stretch, rate[self.history.loose.column], self.stretches)
        return self.history.by_machine(self.history.seen, rate) + self._by_day(
            of_stretch[self.piece_stretch] * self.piece_part
        )

    def sold(self, loose_units: Floats, by_day: Floats) -> Floats:
        """[machines, days] units sold; those of a stretch spread as `by_day` has it."""
        whole = self._whole(by_day)
        total = sums(self.stretch, loose_units, self.stretches)
        a_unit = np.divide(total, whole, out=np.zeros_like(total), where=whole > 0)
        weight = self.piece_part * by_day.ravel()[self.piece_cell]
        return self.plain_sold + self._by_day(weight * a_unit[self.piece_stretch])

    def by_weekday(self, loose_units: Floats, rate: Floats, by_day: Floats) -> Weekdays:
        """What was sold and is expected by weekday, of plain days and of stretches.

        A stretch within one day is a day as good as a plain one, and is added to those.
        """
        history = self.history
        of_stretch = sums(self.stretch, rate[history.loose.column], self.stretches)
        total = sums(self.stretch, loose_units, self.stretches)
        expected = (
            of_stretch[self.piece_stretch] * self.piece_part * by_day.ravel()[self.piece_cell]
        )
        touched = np.bincount(self.piece_stretch, minlength=self.stretches)
        several = touched > 1
        split = several[self.piece_stretch]
        # Sold although the calendar says closed: tells nothing of the weekday.
        alone = ~split & (expected > 0)
        shape = (history.machines, history.days)
        cell, size = self.piece_cell[alone], shape[0] * shape[1]
        sold_alone = sums(cell, total[self.piece_stretch[alone]], size).reshape(shape)
        expected_alone = sums(cell, expected[alone], size).reshape(shape)
        plain = history.by_machine(history.seen, rate) * by_day
        place = np.cumsum(several) - 1
        weekday = history.weekday[self.piece_cell[split] % history.days]
        of_several = int(several.sum())
        at = weekday * of_several + place[self.piece_stretch[split]]
        return Weekdays(
            self.plain_sold + sold_alone,
            plain + expected_alone,
            self.machine[several],
            total[several],
            sums(at, expected[split], DAYS_A_WEEK * of_several).reshape(DAYS_A_WEEK, of_several),
        )

    def by_week(self, loose_units: Floats, rate: Floats, by_day: Floats) -> tuple[Floats, Floats]:
        """[weeks, machines] units sold and expected; a stretch counts in the week of its middle."""
        history = self.history
        loose = history.loose
        of_stretch = sums(self.stretch, rate[loose.column], self.stretches)
        expected = of_stretch * self._whole(by_day)
        middle = np.zeros(self.stretches, np.int64)
        middle[self.stretch] = loose.middle
        cell = self.machine * history.days + middle
        shape = (history.machines, history.days)
        size = shape[0] * shape[1]
        units = sums(self.stretch, loose_units, self.stretches)
        sold_days = self.plain_sold + sums(cell, units, size).reshape(shape)
        expected_days = history.by_machine(history.seen, rate) * by_day
        expected_days += sums(cell, expected, size).reshape(shape)
        weeks = (history.machines, history.weeks, DAYS_A_WEEK)
        return (
            sold_days.reshape(weeks).sum(axis=2).T,
            expected_days.reshape(weeks).sum(axis=2).T,
        )

    def _by_day(self, of_pieces: Floats) -> Floats:
        shape = (self.history.machines, self.history.days)
        return sums(self.piece_cell, of_pieces, shape[0] * shape[1]).reshape(shape)
