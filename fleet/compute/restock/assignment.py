"""Which product in which column: the arrangement that earns most a week, work deducted.

Solved as a mixed-integer linear program over columns x products. A product's worth is concave in
the units all its columns hold together, so each unit is a variable of its own between 0 and 1 and
the best ones are taken first by themselves: without transfer of demand the program is exact.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import optimize, sparse

from fleet.compute.columns import Floats, Ints
from fleet.compute.restock.arrangements import EMPTY, Arrangement, Machine, changes_between
from fleet.compute.restock.worth import Worths

#: Less than this a week, in minor units, is no gain but the rounding of sums.
SAME_MINOR = 1e-7


@dataclass(frozen=True, slots=True)
class Options:
    """What may be done, one entry each, all arrays (O,). The first C leave the columns as is."""

    column: Ints
    product: Ints
    units: Ints
    cost: Floats

    @classmethod
    def of(cls, machine: Machine) -> Options:
        """Leave a column, set it anew for its own product, or put another product that fits."""
        columns = np.arange(machine.column_key.size)
        now = machine.now
        open_ = (machine.capacity > 0) & ~machine.fixed[:, np.newaxis]
        same = (now.product[:, np.newaxis] == np.arange(machine.products.count)) & (
            machine.capacity == now.units[:, np.newaxis]
        )
        column, product = np.nonzero(open_ & ~same)
        return cls(
            column=np.concatenate([columns, column]),
            product=np.concatenate([now.product, product]),
            units=np.concatenate([now.units, machine.capacity[column, product]]),
            cost=np.concatenate(
                [np.zeros(columns.size), machine.work.weekly_minor[column, product]]
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


def best_arrangement(worths: Worths, *, seconds: float = 10.0) -> Assigned:
    """The arrangement that earns most. Never worse than leaving all as it is, nor than greedy.

    With transfer the program counts it by a straight line and the answer is improved by the true
    worth, one column and two columns at a time, so it is not proven. A solver that has not ended
    after `seconds` gives its best so far.
    """
    machine = worths.machine
    options = Options.of(machine)
    solved, proven = _solved(worths, options, seconds)
    starts = [machine.now, solved] if solved is not None else [machine.now]
    exact = proven and machine.transfer is None
    found = (
        [solved]
        if exact and solved is not None
        else [improved(worths, options, start) for start in starts]
    )
    found.append(machine.now)
    best = max(found, key=lambda one: net_weekly(worths, one))
    if net_weekly(worths, best) <= net_weekly(worths, machine.now) + SAME_MINOR:
        best = machine.now
    return Assigned(best, net_weekly(worths, best), exact)


def improved(worths: Worths, options: Options, start: Arrangement) -> Arrangement:
    """Greedy: the one change of a column that gains most, until none gains any more.

    Where no single change gains, exchanges of what lies in two columns are tried.
    """
    here, value = start, net_weekly(worths, start)
    while True:
        best, best_value = None, value + SAME_MINOR
        for steps in (_single_changes(options, here), _exchanges(worths.machine, here)):
            for next_ in steps:
                if not _allowed(worths.machine, next_):
                    continue
                reached = net_weekly(worths, next_)
                if reached > best_value:
                    best, best_value = next_, reached
            if best is not None:
                break
        if best is None:
            return here
        here, value = best, best_value


def _single_changes(options: Options, here: Arrangement) -> Iterator[Arrangement]:
    for column, product, units in zip(options.column, options.product, options.units, strict=True):
        if (here.product[column], here.units[column]) != (product, units):
            yield here.changed(int(column), int(product), int(units))


def _exchanges(machine: Machine, here: Arrangement) -> Iterator[Arrangement]:
    free = np.flatnonzero(~machine.fixed & (here.product != EMPTY))
    for place, one in enumerate(free):
        for other in free[place + 1 :]:
            first, second = int(here.product[other]), int(here.product[one])
            units = machine.capacity[one, first], machine.capacity[other, second]
            if first != second and all(units):
                moved = here.changed(int(one), first, int(units[0]))
                yield moved.changed(int(other), second, int(units[1]))


def _allowed(machine: Machine, arrangement: Arrangement) -> bool:
    if machine.most_changes is not None:
        changes = int(changes_between(machine.now, arrangement).sum())
        if changes > machine.most_changes:
            return False
    kept = np.isin(np.flatnonzero(machine.must_sell), arrangement.product)
    before = np.isin(np.flatnonzero(machine.must_sell), machine.now.product)
    return bool((kept | ~before).all())


def _solved(worths: Worths, options: Options, seconds: float) -> tuple[Arrangement | None, bool]:
    """The program's answer, None if there is none, and whether it was solved to the end."""
    program = _Program(worths, options)
    answer = optimize.milp(
        program.costs,
        integrality=program.whole,
        bounds=optimize.Bounds(0, program.upper),
        constraints=program.constraints(),
        options={"mip_rel_gap": 0.0, "time_limit": seconds},
    )
    if answer.x is None:
        return None, False
    count = worths.machine.column_key.size
    taken = np.flatnonzero(answer.x[: options.column.size] > 0.5)
    arrangement = Arrangement(np.full(count, EMPTY), np.zeros(count, np.int64))
    arrangement.product[options.column[taken]] = options.product[taken]
    arrangement.units[options.column[taken]] = options.units[taken]
    return arrangement, bool(answer.status == 0)


class _Program:
    """The program's variables and rows: options, units filled, and what transfer needs."""

    def __init__(self, worths: Worths, options: Options) -> None:
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
