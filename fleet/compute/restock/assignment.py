"""Which product in which column: the arrangement that earns most a week, work deducted.

Solved as a mixed-integer linear program over columns x products. A product's worth is concave in
the units all its columns hold together, so each unit is a variable of its own between 0 and 1 and
the best ones are taken first by themselves: without transfer of demand the program is exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, sparse

from fleet.compute.columns import Floats, Ints
from fleet.compute.restock.arrangements import EMPTY, Arrangement
from fleet.compute.restock.climbing import SAME_MINOR, climbed, options
from fleet.compute.restock.worth import Worths

#: Branches looked into before the best so far is taken. Unlike a time it gives the same answer on a
#: busy machine; what has a few dozen columns takes a few.
MOST_NODES = 20_000


@dataclass(frozen=True, slots=True)
class _Options:
    """What may be done, one entry each, all arrays (O,). The first C leave the columns as is."""

    column: Ints
    product: Ints
    units: Ints
    cost: Floats

    @classmethod
    def of(cls, worths: Worths) -> _Options:
        machine = worths.machine
        puts = np.array(options(worths), dtype=np.int64).reshape(-1, 3)
        columns = np.arange(machine.column_key.size)
        return cls(
            column=np.concatenate([columns, puts[:, 0]]),
            product=np.concatenate([machine.now.product, puts[:, 1]]),
            units=np.concatenate([machine.now.units, puts[:, 2]]),
            cost=np.concatenate(
                [np.zeros(columns.size), machine.work.weekly_minor[puts[:, 0], puts[:, 1]]]
            ),
        )


@dataclass(frozen=True, slots=True)
class Assigned:
    """The best arrangement found; `proven` if no better one exists under the same beliefs."""

    arrangement: Arrangement
    weekly_minor: float
    proven: bool


def net_weekly(worths: Worths, arrangement: Arrangement) -> float:
    """What an arrangement earns a week less the work to come to it, in minor units."""
    machine = worths.machine
    minutes = machine.minutes_between(machine.now, arrangement).sum()
    work = machine.work
    return worths.weekly(arrangement) - float(minutes) * work.minute_minor / work.weeks


def best_arrangement(worths: Worths, *, seconds: float = 60.0) -> Assigned:
    """The arrangement that earns most. Never worse than leaving all as it is, nor than greedy.

    With transfer the program counts it by a straight line and its answer is improved by the true
    worth, one column and two columns at a time, so it is not proven. A solver that has not ended
    after MOST_NODES branches, or at the latest after `seconds`, gives its best so far.
    """
    machine = worths.machine
    solved, proven = _solved(worths, seconds)
    if solved is not None and proven and machine.transfer is None:
        found = [solved]
    else:
        starts = [machine.now] if solved is None else [solved, machine.now]
        found, proven = [climbed(worths, start) for start in starts], False
    best = max(found, key=lambda one: net_weekly(worths, one))
    if net_weekly(worths, best) <= net_weekly(worths, machine.now) + SAME_MINOR:
        best = machine.now
    return Assigned(best, net_weekly(worths, best), proven)


def _solved(worths: Worths, seconds: float) -> tuple[Arrangement | None, bool]:
    """The program's answer, None if there is none, and whether it was solved to the end."""
    choices = _Options.of(worths)
    program = _Program(worths, choices)
    answer = optimize.milp(
        program.costs,
        integrality=program.whole,
        bounds=optimize.Bounds(0, program.upper),
        constraints=program.constraints(),
        options={"mip_rel_gap": 0.0, "node_limit": MOST_NODES, "time_limit": seconds},
    )
    if answer.x is None:
        return None, False
    count = worths.machine.column_key.size
    taken = np.flatnonzero(answer.x[: choices.column.size] > 0.5)
    arrangement = Arrangement(np.full(count, EMPTY), np.zeros(count, np.int64))
    arrangement.product[choices.column[taken]] = choices.product[taken]
    arrangement.units[choices.column[taken]] = choices.units[taken]
    return arrangement, bool(answer.status == 0)


class _Program:
    """The program's variables and rows: options, units filled, and what transfer needs."""

    def __init__(self, worths: Worths, options: _Options) -> None:
        self._worths, self._options = worths, options
        self._products = np.unique(options.product[options.product != EMPTY])
        curves = [worths.curve(int(place)) for place in self._products]
        self._sizes = [curve.each.size for curve in curves]
        costs = [options.cost, *(-curve.each for curve in curves)]
        whole = [np.ones(options.column.size), *(np.zeros(size) for size in self._sizes)]
        self._rows: list[tuple[list[int], list[float], float, float]] = []
        self._first_unit = options.column.size
        self._pairs = self._transfers()
        self._first_sold = self._first_unit + sum(self._sizes)
        if self._pairs:
            costs += [np.zeros(self._products.size), np.array([-gain for *_, gain in self._pairs])]
            whole += [np.ones(self._products.size), np.zeros(len(self._pairs))]
        self.costs = np.concatenate(costs)
        self.whole = np.concatenate(whole)
        self.upper = np.ones(self.costs.size)

    def constraints(self) -> optimize.LinearConstraint:
        self._columns_hold_one()
        self._units_within_capacity()
        self._what_must_stay()
        if self._pairs:
            self._buyers_turn()
        rows, columns, values = [], [], []
        for number, (places, weights, _, _) in enumerate(self._rows):
            rows += [number] * len(places)
            columns += places
            values += weights
        matrix = sparse.csr_array(
            (values, (rows, columns)), shape=(len(self._rows), self.costs.size)
        )
        low = np.array([row[2] for row in self._rows])
        high = np.array([row[3] for row in self._rows])
        return optimize.LinearConstraint(matrix, low, high)

    def _row(self, places: Ints, weights: Floats, low: float, high: float) -> None:
        self._rows.append((places.tolist(), weights.tolist(), low, high))

    def _columns_hold_one(self) -> None:
        for column in range(self._worths.machine.column_key.size):
            places = np.flatnonzero(self._options.column == column)
            self._row(places, np.ones(places.size), 1, 1)

    def _units_within_capacity(self) -> None:
        first = self._first_unit
        for product, size in zip(self._products, self._sizes, strict=True):
            held = np.flatnonzero(self._options.product == product)
            places = np.concatenate([np.arange(first, first + size), held])
            weights = np.concatenate([np.ones(size), -self._options.units[held].astype(float)])
            self._row(places, weights, -np.inf, 0)
            first += size

    def _what_must_stay(self) -> None:
        machine = self._worths.machine
        count = machine.column_key.size
        for product in np.flatnonzero(machine.must_sell & self._worths.sold_now):
            places = np.flatnonzero(self._options.product == product)
            self._row(places, np.ones(places.size), 1, np.inf)
        if machine.most_changes is not None:
            places = np.arange(count, self._options.column.size)
            self._row(places, np.ones(places.size), 0, machine.most_changes)

    def _transfers(self) -> list[tuple[int, int, float]]:
        """Pairs of which one's buyers turn to the other, and what the change is worth a week."""
        worths, machine = self._worths, self._worths.machine
        found: list[tuple[int, int, float]] = []
        if machine.transfer is None:
            return found
        for q, p in np.argwhere(machine.transfer > 0):
            if q not in self._products or p not in self._products:
                continue
            held = self._options.units[self._options.product == p].max()
            beside = self._changed_by(int(q))
            with_it = worths.curve(int(p), beside).worth(int(held))
            found.append((int(q), int(p), with_it - worths.curve(int(p)).worth(int(held))))
        return found

    def _changed_by(self, product: int) -> Arrangement:
        """The present arrangement without a product that is there, or with one that is not."""
        now = self._worths.machine.now
        if self._worths.sold_now[product]:
            gone = now.product == product
            return Arrangement(np.where(gone, EMPTY, now.product), np.where(gone, 0, now.units))
        return Arrangement(np.append(now.product, product), np.append(now.units, 0))

    def _buyers_turn(self) -> None:
        """A product is sold if any column holds it; a pair counts if one changed, the other is."""
        place_of = {int(p): self._first_sold + n for n, p in enumerate(self._products)}
        for product, sold in place_of.items():
            held = np.flatnonzero(self._options.product == product)
            for option in held:
                self._row(np.array([sold, option]), np.array([1.0, -1.0]), 0, np.inf)
            places, weights = np.append(held, sold), np.append(np.ones(held.size), -1.0)
            self._row(places, weights, 0, np.inf)
        pair = self._first_sold + self._products.size
        for number, (q, p, gain) in enumerate(self._pairs):
            here, there, both = place_of[q], place_of[p], pair + number
            stays = 1.0 if self._worths.sold_now[q] else 0.0
            sign = -1.0 if stays else 1.0  # changed = stays + sign x (q is sold)
            if gain >= 0:
                self._row(np.array([both, there]), np.array([1.0, -1.0]), -np.inf, 0)
                self._row(np.array([both, here]), np.array([1.0, -sign]), -np.inf, stays)
            else:
                places, weights = np.array([both, here, there]), np.array([1.0, -sign, -1.0])
                self._row(places, weights, stays - 1, np.inf)
