"""What an arrangement of a machine is worth a week, under each of many possible truths.

A truth is one rate of demand for every product, drawn from what is believed of it. Each product's
draws are spread evenly over its belief and put in an order of its own, fixed by the product's key,
so the same question has the same answer in whatever order products and columns are given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from fleet.compute.columns import Flags, Floats, Ints
from fleet.compute.restock.arrangements import EMPTY, Arrangement, Machine

TRUTHS = 512
_SEED = 20_240_229
#: Standard deviations of a product's sales between visits beyond which a unit adds nothing.
_FAR_SD = 8
#: A unit that adds less is not filled, and nobody asks for less: the rounding of sums.
_NOTHING_MINOR = 1e-9
_NOTHING_UNITS = 1e-12
_WEEK_DAYS = 7.0


def truths(machine: Machine) -> Floats:
    """Weekly rates under each truth, (TRUTHS, P): gamma with the mean and spread believed.

    Stratified (McKay, Beckman & Conover 1979): one draw in each of TRUTHS equal parts.
    """
    products = machine.products
    middle = (np.arange(TRUTHS) + 0.5) / TRUTHS
    rates = np.empty((TRUTHS, products.count))
    for place in range(products.count):
        mean, sd = products.weekly_units[place], products.weekly_sd_units[place]
        if mean <= 0 or sd <= 0:
            rates[:, place] = mean
            continue
        shape = (mean / sd) ** 2
        order = np.random.default_rng([_SEED, int(products.key[place])]).permutation(TRUTHS)
        drawn = special.gammaincinv(shape, middle)
        rates[:, place] = (drawn * (mean / drawn.mean()))[order]
    return rates


@dataclass(frozen=True, slots=True)
class Curve:
    """One product under one set of rates, by the units its columns hold together.

    `each` (U,) is what the first, second, ... unit held adds a week, on average over the truths;
    never rising and above 0: units beyond are not filled. `under` (TRUTHS, U) the same under each
    truth, and `sold` (TRUTHS, U) the units that each sells a week. `upto` (U + 1,) sums `each`.
    """

    each: Floats
    under: Floats
    sold: Floats
    upto: Floats

    def worth(self, units: int) -> float:
        return float(self.upto[min(units, self.each.size)])

    def worth_under(self, units: int) -> Floats:
        worth: Floats = self.under[:, :units].sum(axis=1)
        return worth

    def sold_under(self, units: int) -> Floats:
        sold: Floats = self.sold[:, :units].sum(axis=1)
        return sold


class Worths:
    """The worth of arrangements of one machine; curves are worked out once and kept."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.rates = truths(machine)
        count = machine.products.count
        self.sold_now = _sold(machine.now, count)
        most = np.maximum(machine.capacity.max(axis=0, initial=0), 0) * machine.column_key.size
        self._most = np.maximum(most, machine.now.capacities(count))
        shares = np.zeros((count, count)) if machine.transfer is None else machine.transfer
        self._turn_here = [np.flatnonzero(shares[:, place]) for place in range(count)]
        self._shares = [shares[rows, place] for place, rows in enumerate(self._turn_here)]
        self.turned_to = [[int(p) for p in np.flatnonzero(row)] for row in shares]
        self._none = np.zeros(count, np.int64)
        self._curves: dict[tuple[int, bytes], Curve] = {}

    def weekly(self, arrangement: Arrangement) -> float:
        """What an arrangement earns a week, work left aside, on average over the truths."""
        units = arrangement.capacities(self.machine.products.count)
        shift = self._shift(arrangement)
        return sum(
            self.worth(int(place), int(units[place]), shift) for place in np.flatnonzero(units)
        )

    def worth(self, place: int, units: int, shift: Ints) -> float:
        """What one product earns a week in columns that hold so many units together."""
        return self._curve(place, shift).worth(units)

    def shift(self, sold: Flags) -> Ints:
        """+1 for products gone, whose buyers turn elsewhere, -1 for products come, (P,).

        `sold` (P,) tells which products are in the machine. All 0 without transfer.
        """
        if self.machine.transfer is None:
            return self._none
        gone: Ints = self.sold_now.astype(np.int64) - sold
        return gone

    def weekly_under(self, arrangement: Arrangement) -> Floats:
        """The same under each truth, (TRUTHS,)."""
        units = arrangement.capacities(self.machine.products.count)
        shift = self._shift(arrangement)
        found = np.zeros(TRUTHS)
        for place in np.flatnonzero(units):
            found += self._curve(int(place), shift).worth_under(int(units[place]))
        return found

    def curve(self, place: int, arrangement: Arrangement | None = None) -> Curve:
        """A product's curve beside what else is sold; without an arrangement, as of now."""
        return self._curve(place, self._shift(arrangement))

    def asked(self, place: int, arrangement: Arrangement | None = None) -> Floats:
        """Units of a product asked for a week under each truth, (TRUTHS,)."""
        return self._asked(place, self._shift(arrangement)[self._turn_here[place]])

    def _asked(self, place: int, shift: Ints) -> Floats:
        own: Floats = self.rates[:, place]
        if not shift.any():
            return own
        turned = self.rates[:, self._turn_here[place]] @ (shift * self._shares[place])
        asked: Floats = np.maximum(own + turned, 0)
        return asked

    def _shift(self, arrangement: Arrangement | None) -> Ints:
        if arrangement is None or self.machine.transfer is None:
            return self._none
        return self.shift(_sold(arrangement, self.machine.products.count))

    def _curve(self, place: int, shift: Ints) -> Curve:
        rows = self._turn_here[place]
        known = (place, shift[rows].tobytes() if rows.size else b"")
        if known not in self._curves:
            self._curves[known] = self._worked_out(place, self._asked(place, shift[rows]))
        return self._curves[known]

    def _worked_out(self, place: int, weekly: Floats) -> Curve:
        machine, products = self.machine, self.machine.products
        over = machine.visit_days / _WEEK_DAYS
        between = weekly * over
        spread = np.sqrt(between.mean() * machine.variance_to_mean + between.var())
        reach = int(min(self._most[place], np.ceil(between.mean() + _FAR_SD * spread + 10)))
        sells = chance_of_each(between, reach, machine.variance_to_mean)
        margin = max(float(products.margin_minor[place]), 0.0)
        leftover = float(products.leftover_minor[place])
        under = (margin + leftover) * sells - leftover
        life, waste = products.life_days[place], products.waste_minor[place]
        if np.isfinite(life):
            in_time = chance_of_each(weekly * (life / _WEEK_DAYS), reach, machine.variance_to_mean)
            visits = max(life / machine.visit_days, 1.0)
            under -= margin * np.maximum(sells - in_time, 0)
            under -= waste / visits * (1 - in_time)
        each = under.mean(axis=0)
        worthwhile = int(np.argmin(np.append(each, -1.0) > _NOTHING_MINOR))
        each = each[:worthwhile] / over
        return Curve(
            each=each,
            under=under[:, :worthwhile] / over,
            sold=sells[:, :worthwhile] / over,
            upto=np.concatenate([[0.0], np.cumsum(each)]),
        )


def chance_of_each(mean: Floats, units: int, variance_to_mean: float) -> Floats:
    """The chance that at least 1, 2, ... units are asked for, (N, units), by mean (N,).

    Poisson, or negative binomial of the same ratio of variance to mean at every mean. Each chance
    comes from the one before it, in logarithms: many times faster than the functions of a library
    at each of them, and a mean of hundreds does not vanish.
    """
    at = np.arange(1, units, dtype=np.float64)[np.newaxis, :]
    rate = np.maximum(mean, _NOTHING_UNITS)[:, np.newaxis]
    if variance_to_mean <= 1:
        none, step = -rate, np.log(rate) - np.log(at)
    else:
        shape = rate / (variance_to_mean - 1)
        none = -shape * np.log(variance_to_mean)
        step = np.log((shape + (at - 1)) * ((1 - 1 / variance_to_mean) / at))
    exactly = np.exp(np.cumsum(np.concatenate([none, step], axis=1), axis=1))
    beyond: Floats = np.clip(1 - np.cumsum(exactly[:, :units], axis=1), 0, 1)
    return beyond


def _sold(arrangement: Arrangement, products: int) -> Flags:
    flags = np.zeros(products, dtype=np.bool_)
    flags[arrangement.product[arrangement.product != EMPTY]] = True
    return flags
