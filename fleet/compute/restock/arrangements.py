"""One machine's columns, the products that could lie in them, and what each is worth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from fleet.compute.columns import Flags, Floats, Ints
from fleet.compute.units import BadMeasure, require_between

#: The product of a column in which nothing lies.
EMPTY = -1
_A_YEAR_DAYS = 366.0
_MOST_MINOR = 1e12


@dataclass(frozen=True, slots=True)
class Products:
    """Products that could be sold in a machine, all arrays (P,).

    - `key`: a number that stays with the product whatever the order it is given in.
    - `weekly_units`: what is believed to be asked for in a week: of a product that is in the
      machine now, as the machine stands; of another, if it were added.
    - `weekly_sd_units`: how far that belief may be off, as a standard deviation of the rate itself
      and not of a week's sales: small for what has sold here long, large for what comes from a
      pool of like products.
    - `margin_minor`, `leftover_minor`, `waste_minor`: as in `fill.Terms`, a unit each; `leftover`
      is a cost from one visit to the next.
    - `life_days`: days for which a fresh lot may be sold; infinite for what has no date.
    """

    key: Ints
    weekly_units: Floats
    weekly_sd_units: Floats
    margin_minor: Floats
    leftover_minor: Floats
    waste_minor: Floats
    life_days: Floats

    @classmethod
    def of(
        cls,
        key: ArrayLike,
        weekly_units: ArrayLike,
        margin_minor: ArrayLike,
        *,
        weekly_sd_units: ArrayLike = 0.0,
        leftover_minor: ArrayLike = 0.0,
        waste_minor: ArrayLike = 0.0,
        life_days: ArrayLike = np.inf,
    ) -> Products:
        """One number serves all products. Raises BadMeasure for what cannot be."""
        keys = np.atleast_1d(np.asarray(key, dtype=np.int64))
        if np.unique(keys).size != keys.size or (keys < 0).any():
            raise BadMeasure("products.key", "give each product a number of its own, 0 or more")
        given = {
            "weekly_units": weekly_units,
            "weekly_sd_units": weekly_sd_units,
            "margin_minor": margin_minor,
            "leftover_minor": leftover_minor,
            "waste_minor": waste_minor,
            "life_days": life_days,
        }
        arrays = {}
        for name, values in given.items():
            array = np.broadcast_to(np.asarray(values, dtype=np.float64), keys.shape).copy()
            least = -_MOST_MINOR if name == "margin_minor" else 0.0
            finite = np.isfinite(array) | ((array == np.inf) & (name == "life_days"))
            wrong = ~(finite & (array >= least))
            if wrong.any():
                place = int(np.argmax(wrong))
                raise BadMeasure(
                    f"products.{place}.{name}", f"{array[place]:g} cannot be used; give 0 or more"
                )
            arrays[name] = array
        return cls(key=keys, **arrays)

    @property
    def count(self) -> int:
        return int(self.key.size)


@dataclass(frozen=True, slots=True)
class Arrangement:
    """What lies in each of C columns: the product's place in Products, or EMPTY, and the units the
    column holds of it as it is set up, both arrays (C,)."""

    product: Ints
    units: Ints

    @classmethod
    def of(cls, product: ArrayLike, units: ArrayLike) -> Arrangement:
        held = np.atleast_1d(np.asarray(product, dtype=np.int64))
        room = np.broadcast_to(np.asarray(units, dtype=np.int64), held.shape)
        if (room < 0).any():
            raise BadMeasure("arrangement.units", f"{room.min()} units cannot be held")
        return cls(held, np.where(held == EMPTY, 0, room))

    def capacities(self, products: int) -> Ints:
        """Units held of each product in all its columns together, (products,)."""
        kept = self.product != EMPTY
        found = np.zeros(products, np.int64)
        np.add.at(found, self.product[kept], self.units[kept])
        return found

    def changed(self, column: int, product: int, units: int) -> Arrangement:
        """The same with another product, or another depth, in one column."""
        products, room = self.product.copy(), self.units.copy()
        products[column], room[column] = product, units
        return Arrangement(products, room)


@dataclass(frozen=True, slots=True)
class Work:
    """What a changeover takes: `minutes` (C, P) for putting product P into column C, at
    `minute_minor` a minute, spread over the `weeks` for which the change is meant to last."""

    minutes: Floats
    minute_minor: float = 0.0
    weeks: float = 13.0

    def __post_init__(self) -> None:
        require_between("work.minute_minor", self.minute_minor, 0.0, _MOST_MINOR, "minor units")
        require_between("work.weeks", self.weeks, 0.1, 1040.0, "weeks")
        if not (np.isfinite(self.minutes) & (self.minutes >= 0)).all():
            raise BadMeasure("work.minutes", "give 0 minutes or more for every column and product")

    @property
    def weekly_minor(self) -> Floats:
        """The cost of each changeover as a cost a week, (C, P)."""
        return self.minutes * (self.minute_minor / self.weeks)


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine as it stands and what could lie in it, for C columns and P products.

    - `column_key` (C,): a number that stays with a column whatever the order.
    - `capacity` (C, P): units a column would hold if set up anew for a product; 0: does not fit.
    - `now`: what lies in it, with the capacities of the set-ups as they are.
    - `visit_days`: days from one visit to the next.
    - `fixed` (C,): columns not to be touched. `must_sell` (P,): products that must keep a column.
    - `transfer` (P, P): share [q, p] of the demand for q that turns to p when q is not to be had. A
      q that comes in takes that share back from p. None: everybody wants one product only.
    - `variance_to_mean`: of sales between visits, the rate being known; 1 is Poisson.
    """

    column_key: Ints
    products: Products
    capacity: Ints
    now: Arrangement
    work: Work
    visit_days: float
    fixed: Flags
    must_sell: Flags
    transfer: Floats | None = None
    variance_to_mean: float = 1.0
    most_changes: int | None = None

    @classmethod
    def of(
        cls,
        column_key: ArrayLike,
        products: Products,
        capacity: ArrayLike,
        now: Arrangement,
        *,
        visit_days: float,
        minutes: ArrayLike = 0.0,
        minute_minor: float = 0.0,
        weeks: float = 13.0,
        fixed: ArrayLike = False,
        must_sell: ArrayLike = False,
        transfer: ArrayLike | None = None,
        variance_to_mean: float = 1.0,
        most_changes: int | None = None,
    ) -> Machine:
        """Raises BadMeasure naming what does not agree with the rest."""
        keys = np.atleast_1d(np.asarray(column_key, dtype=np.int64))
        count, many = keys.size, products.count
        room = np.array(capacity, dtype=np.int64, ndmin=2)
        if np.unique(keys).size != count:
            raise BadMeasure("column_key", "give each column a number of its own")
        if room.shape != (count, many) or (room < 0).any():
            raise BadMeasure(
                "capacity", f"give 0 units or more for {count} columns and {many} products"
            )
        if (
            now.product.shape != (count,)
            or not ((now.product >= EMPTY) & (now.product < many)).all()
        ):
            raise BadMeasure(
                "now.product", f"give one of {many} products, or {EMPTY}, for {count} columns"
            )
        require_between("visit_days", visit_days, 0.1, _A_YEAR_DAYS, "days")
        require_between("variance_to_mean", variance_to_mean, 1.0, 1000.0, "times")
        shares = None if transfer is None else _shares(transfer, many)
        return cls(
            column_key=keys,
            products=products,
            capacity=room,
            now=now,
            work=Work(
                np.broadcast_to(np.asarray(minutes, dtype=np.float64), room.shape).copy(),
                minute_minor,
                weeks,
            ),
            visit_days=visit_days,
            fixed=np.broadcast_to(np.asarray(fixed, dtype=bool), keys.shape).copy(),
            must_sell=np.broadcast_to(np.asarray(must_sell, dtype=bool), (many,)).copy(),
            transfer=shares,
            variance_to_mean=variance_to_mean,
            most_changes=most_changes,
        )

    def in_order(self) -> tuple[Machine, Ints, Ints]:
        """The same machine with columns and products by their keys, and the places they had."""
        columns, products = np.argsort(self.column_key), np.argsort(self.products.key)
        new_place = np.argsort(products)
        held = self.now.product
        known = np.where(held == EMPTY, EMPTY, new_place[held])
        both = np.ix_(columns, products)
        several = np.ix_(products, products)
        machine = replace(
            self,
            column_key=self.column_key[columns],
            products=Products(
                **{name: getattr(self.products, name)[products] for name in Products.__slots__}
            ),
            capacity=self.capacity[both],
            now=Arrangement(known[columns], self.now.units[columns]),
            work=replace(self.work, minutes=self.work.minutes[both]),
            fixed=self.fixed[columns],
            must_sell=self.must_sell[products],
            transfer=None if self.transfer is None else self.transfer[several],
        )
        return machine, columns, products

    def minutes_between(self, before: Arrangement, after: Arrangement) -> Floats:
        """Minutes of work in each column to come from one arrangement to the other, (C,)."""
        moved = changes_between(before, after)
        minutes = self.work.minutes[np.arange(self.column_key.size), after.product]
        return np.where(moved & (after.product != EMPTY), minutes, 0.0)


def changes_between(before: Arrangement, after: Arrangement) -> Flags:
    """Which columns differ, in product or in units held, (C,)."""
    changed: Flags = (before.product != after.product) | (before.units != after.units)
    return changed


def _shares(transfer: ArrayLike, products: int) -> Floats:
    shares = np.array(transfer, dtype=np.float64, ndmin=2)
    if shares.shape != (products, products):
        raise BadMeasure("transfer", f"give {products} x {products} shares")
    if not ((shares >= 0) & (shares <= 1)).all() or (shares.sum(axis=1) > 1 + 1e-9).any():
        raise BadMeasure("transfer", "the shares of a product are from 0 to 1 and sum to 1 at most")
    if np.diagonal(shares).any():
        raise BadMeasure("transfer", "no demand turns from a product to itself; give 0 there")
    return shares
