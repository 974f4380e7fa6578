"""One change of a machine after the other, the best first, as long as any gains: greedy.

What the assignment is held against, and what puts the last hand to it where demand turns from one
product to another, which the assignment counts only by a straight line.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from fleet.compute.restock.arrangements import EMPTY, Arrangement, changes_between
from fleet.compute.restock.worth import Worths

#: Less than this a week, in minor units, is no gain but the rounding of sums.
SAME_MINOR = 1e-7


class Put(NamedTuple):
    """Put a product, of which the column then holds so many units, into a column."""

    column: int
    product: int
    units: int


def climbed(worths: Worths, start: Arrangement) -> Arrangement:
    """`start` improved until no change of one column, nor an exchange of two, gains any more."""
    climb = _Climb(worths, start)
    while climb.step():
        pass
    return climb.arrangement


def options(worths: Worths) -> tuple[Put, ...]:
    """What may be put where: another product that fits, or the column's own, set up anew.

    What is as it is now is no option, nor is anything in a fixed column.
    """
    machine = worths.machine
    now = machine.now
    same = (now.product[:, np.newaxis] == np.arange(machine.products.count)) & (
        machine.capacity == now.units[:, np.newaxis]
    )
    free = (machine.capacity > 0) & ~machine.fixed[:, np.newaxis] & ~same
    return tuple(
        Put(int(column), int(product), int(machine.capacity[column, product]))
        for column, product in np.argwhere(free)
    )


class _Climb:
    """Where the climb stands, with the worth of each product kept: a change touches a few."""

    def __init__(self, worths: Worths, start: Arrangement) -> None:
        machine = worths.machine
        self._worths, self._machine = worths, machine
        self.arrangement = start
        back = zip(range(start.product.size), machine.now.product, machine.now.units, strict=True)
        as_now = [Put(column, int(product), int(units)) for column, product, units in back]
        self._puts = [put for put in as_now if not machine.fixed[put.column]] + [*options(worths)]
        self._as_now = set(as_now)
        self._costs = machine.work.weekly_minor
        self._touched = worths.turned_to
        self._stand()

    def _stand(self) -> None:
        count = self._machine.products.count
        held = self.arrangement
        self._units = [int(one) for one in held.capacities(count)]
        self._columns = [int((held.product == place).sum()) for place in range(count)]
        self._sold = np.array([number > 0 for number in self._columns], dtype=np.bool_)
        shift = self._worths.shift(self._sold)
        self._worth = [
            self._worths.worth(place, units, shift) if units else 0.0
            for place, units in enumerate(self._units)
        ]
        self._changes = int(changes_between(self._machine.now, held).sum())

    def step(self) -> bool:
        """Take the change that gains most, if any does. Exchanges only where no single one does."""
        for moves in (self._single(), self._exchanges()):
            best, most = None, SAME_MINOR
            for move in moves:
                gain = self._gain(move)
                if gain > most:
                    best, most = move, gain
            if best is not None:
                for put in best:
                    self.arrangement = self.arrangement.changed(*put)
                self._stand()
                return True
        return False

    def _single(self) -> Iterator[tuple[Put, ...]]:
        for put in self._puts:
            if put != self._at(put.column):
                yield (put,)

    def _exchanges(self) -> Iterator[tuple[Put, ...]]:
        held, fits = self.arrangement.product, self._machine.capacity
        free = np.flatnonzero(~self._machine.fixed & (held != EMPTY))
        for place, one in enumerate(free):
            for other in free[place + 1 :]:
                there, here = int(held[other]), int(held[one])
                units = int(fits[one, there]), int(fits[other, here])
                if there != here and all(units):
                    yield Put(int(one), there, units[0]), Put(int(other), here, units[1])

    def _at(self, column: int) -> Put:
        held = self.arrangement
        return Put(column, int(held.product[column]), int(held.units[column]))

    def _gain(self, move: tuple[Put, ...]) -> float:
        """What a move adds a week, work counted; minus infinity for what may not be done."""
        units: dict[int, int] = {}
        columns: dict[int, int] = {}
        gain, changes = 0.0, self._changes
        for put in move:
            before = self._at(put.column)
            for sign, one in ((-1, before), (1, put)):
                cost = 0.0 if one in self._as_now else float(self._costs[one.column, one.product])
                changes += sign * (one not in self._as_now)
                gain -= sign * cost
                if one.product != EMPTY:
                    units[one.product] = units.get(one.product, 0) + sign * one.units
                    columns[one.product] = columns.get(one.product, 0) + sign
        most = self._machine.most_changes
        if most is not None and changes > max(most, self._changes):
            return -np.inf
        turned = [p for p, more in columns.items() if self._turns(p, more)]
        if any(self._sold[p] and self._machine.must_sell[p] for p in turned):
            return -np.inf
        touched = set(units)
        sold = self._sold
        if turned and self._machine.transfer is not None:
            sold = sold.copy()
            sold[turned] = ~sold[turned]
            touched.update(*(self._touched[p] for p in turned))
        shift = self._worths.shift(sold)
        for place in touched:
            held = self._units[place] + units.get(place, 0)
            worth = self._worths.worth(place, held, shift) if held else 0.0
            gain += worth - self._worth[place]
        return gain

    def _turns(self, product: int, more: int) -> bool:
        """Whether a product comes into the machine, or goes out of it."""
        before = self._columns[product]
        return (before > 0) != (before + more > 0)
