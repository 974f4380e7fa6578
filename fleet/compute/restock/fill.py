"""Up to what level it pays to fill a column, and how much that is to bring."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fleet.compute.columns import Floats, Ints
from fleet.compute.restock.distributions import as_pmf, tails
from fleet.compute.results import Reason
from fleet.compute.units import BadMeasure


@dataclass(frozen=True, slots=True)
class Terms:
    """What a unit is worth in each of N columns, in minor units of money; one number serves all.

    - `margin`: earned by a unit that sells before the next visit.
    - `leftover`: cost of a unit that is still there at the next visit (money and room tied up).
    - `waste`: cost of a unit that goes out of date unsold: what it cost, and its removal.
    - `visits_to_date`: visits within the life of a fresh lot, 1 at least. A unit that stays can
      earn at each of them and go out of date once, so its waste is shared among them.
    """

    margin: Floats
    leftover: Floats
    waste: Floats
    visits_to_date: Floats

    @classmethod
    def of(
        cls,
        margin_minor: ArrayLike,
        leftover_minor: ArrayLike,
        waste_minor: ArrayLike = 0.0,
        visits_to_date: ArrayLike = 1.0,
    ) -> Terms:
        """Raises BadMeasure for a cost below 0 or anything that is not a number."""
        given = {
            "margin_minor": margin_minor,
            "leftover_minor": leftover_minor,
            "waste_minor": waste_minor,
            "visits_to_date": visits_to_date,
        }
        arrays = np.broadcast_arrays(
            *(np.atleast_1d(np.asarray(one, dtype=np.float64)) for one in given.values())
        )
        for name, array in zip(given, arrays, strict=True):
            if not np.isfinite(array).all():
                raise BadMeasure(name, "must be a number for every column")
            if name != "margin_minor" and (array < 0).any():
                raise BadMeasure(name, f"{array.min():g} is below 0; give 0 or more")
        margin, leftover, waste, visits = (np.array(one) for one in arrays)
        return cls(margin, leftover, waste, np.maximum(visits, 1))

    @property
    def ratio(self) -> Floats:
        """The critical ratio margin / (margin + leftover), waste left aside, from 0 to 1."""
        earned = np.maximum(self.margin, 0)
        both = earned + self.leftover
        return np.divide(earned, both, out=np.ones_like(both), where=both > 0)


@dataclass(frozen=True, slots=True)
class Levels:
    """Up to what to fill each of N columns, all arrays (N,).

    - `level`: units to leave in the column, within `capacity` and not below the par's least.
    - `worthwhile`: the level without regard to capacity, as far as the distributions reach.
    - `ratio`: the critical ratio; `served`: the chance that the level meets all demand.
    - `short`, `left`: expected units asked for in vain, and still there, at the next visit.
    - `wasted`: expected units of a fresh fill out of date before they sell.
    - `worth_minor`: what the level is expected to earn until the next visit, costs deducted.
    - `one_more_minor`: what one unit more would add if it fitted; above 0 the capacity binds.
    """

    level: Ints
    worthwhile: Ints
    capacity: Ints
    ratio: Floats
    served: Floats
    short: Floats
    left: Floats
    wasted: Floats
    worth_minor: Floats
    one_more_minor: Floats

    def reasons(self, column: int) -> tuple[Reason, ...]:
        """The argument for one column's level, step by step."""
        level, worthwhile = int(self.level[column]), int(self.worthwhile[column])
        capacity = int(self.capacity[column])
        found = [
            Reason(
                "critical_ratio",
                f"A unit is worth filling while the chance that it is left over stays below "
                f"{self.ratio[column]:.1%}: up to {worthwhile}, waste included.",
                {"ratio": float(self.ratio[column]), "worthwhile": worthwhile},
            )
        ]
        if worthwhile > capacity:
            found.append(
                Reason(
                    "capacity",
                    f"The column holds {capacity}; one more would be worth "
                    f"{self.one_more_minor[column]:.1f} minor units of money.",
                    {"capacity": capacity, "one_more_minor": float(self.one_more_minor[column])},
                )
            )
        elif level > worthwhile:
            found.append(
                Reason(
                    "least_level",
                    f"{level} is the least this column is to show.",
                    {"least": level},
                )
            )
        found.append(
            Reason(
                "outcome",
                f"{level} meet all demand with a chance of {self.served[column]:.0%}; "
                f"{self.short[column]:.2f} are asked for in vain, "
                f"{self.left[column]:.2f} are left, "
                f"{self.wasted[column]:.2f} go out of date.",
                {
                    "level": level,
                    "served": float(self.served[column]),
                    "short": float(self.short[column]),
                    "left": float(self.left[column]),
                    "wasted": float(self.wasted[column]),
                },
            )
        )
        return tuple(found)


def worth_of_each(
    demand: ArrayLike, terms: Terms, units: int, until_date: ArrayLike | None = None
) -> Floats:
    """What the first, second, ... unit of a column adds until the next visit, as (N, units).

    The y-th unit sells if at least y are asked for: with m the margin, c the leftover cost, w the
    cost of waste and k the visits to its date it adds m P(D >= y) - c P(D < y) - (w / k) P(D' < y),
    where D' is the demand until the lot's last day of sale. A lot whose last day comes before the
    next visit earns only until then. Never rises from unit to unit, so the level that earns most
    is the last unit that adds something: without waste, the newsvendor's critical ratio.
    """
    sells = tails(as_pmf("demand", demand), units)
    in_time = sells if until_date is None else tails(as_pmf("until_date", until_date), units)
    margin = np.maximum(terms.margin, 0)[:, np.newaxis]
    leftover, waste = terms.leftover[:, np.newaxis], terms.waste[:, np.newaxis]
    earns = np.minimum(sells, in_time)
    worth: Floats = margin * earns - leftover * (1 - sells)
    if until_date is not None:
        worth = worth - waste / terms.visits_to_date[:, np.newaxis] * (1 - in_time)
    return worth


def levels(
    demand: ArrayLike,
    terms: Terms,
    capacity: ArrayLike,
    *,
    until_date: ArrayLike | None = None,
    least: ArrayLike = 0,
) -> Levels:
    """The level that earns most in each of N columns until the next visit.

    - `demand` (N, U): what is asked for from this visit to the next.
    - `until_date` (N, V): what is asked for until the last day on which the lot to be filled may
      be sold; left out, nothing goes out of date.
    - `capacity` (N,): units the column holds as it is set up; 0 fills nothing.
    - `least` (N,): units a column that is filled at all is to show, whatever the arithmetic.

    With the demand of a usual time between visits the level is the column's par. Of levels that
    earn the same the lowest. Raises BadMeasure for distributions or capacities that are none.
    """
    pmf = as_pmf("demand", demand)
    dated = None if until_date is None else as_pmf("until_date", until_date)
    room = _units("capacity", capacity)
    reach = max(int(room.max(initial=0)), pmf.shape[1] - 1) + 1
    worth = worth_of_each(pmf, terms, reach, dated)
    count = max(worth.shape[0], room.size)
    worth = np.broadcast_to(worth, (count, reach))
    room = np.broadcast_to(room, (count,))
    worthwhile = (worth > 1e-12).sum(axis=1)
    wanted = np.maximum(worthwhile, np.broadcast_to(_units("least", least), (count,)))
    level = np.minimum(wanted, room)

    filled = np.arange(reach) < level[:, np.newaxis]
    sells = np.broadcast_to(tails(pmf, reach), (count, reach))
    sold = (sells * filled).sum(axis=1)
    in_time = filled if dated is None else np.broadcast_to(tails(dated, reach), (count, reach))
    more = np.minimum(level, reach - 1)
    rows = np.arange(count)
    return Levels(
        level=level,
        worthwhile=worthwhile,
        capacity=np.array(room),
        ratio=np.broadcast_to(terms.ratio, (count,)),
        served=1 - sells[rows, more],
        short=np.maximum(sells.sum(axis=1) - sold, 0),
        left=np.maximum(level - sold, 0),
        wasted=np.maximum(level - (in_time * filled).sum(axis=1), 0),
        worth_minor=(worth * filled).sum(axis=1),
        one_more_minor=worth[rows, more],
    )


def fill_quantity(level: ArrayLike, present: ArrayLike, capacity: ArrayLike) -> Ints:
    """Units to put in where `present` were counted: up to the level, never beyond the room."""
    wanted = _units("level", level) - np.maximum(_units("present", present, least=None), 0)
    room = _units("capacity", capacity) - np.maximum(_units("present", present, least=None), 0)
    return np.maximum(np.minimum(wanted, room), 0)


def needs(level: ArrayLike, stock: ArrayLike) -> Floats:
    """The distribution (N, most level + 1) of what a driver will need, before it was counted.

    `stock` (N, U) is what may be there on arrival; the need is what is missing from `level` (N,),
    which a capacity bounds already.
    """
    held = as_pmf("stock", stock)
    up_to = np.broadcast_to(_units("level", level), (held.shape[0],))
    found = np.zeros((held.shape[0], int(up_to.max(initial=0)) + 1))
    rows = np.arange(held.shape[0])
    for present in range(held.shape[1]):
        np.add.at(found, (rows, np.maximum(up_to - present, 0)), held[:, present])
    return found


def _units(field: str, given: ArrayLike, least: int | None = 0) -> Ints:
    units = np.atleast_1d(np.asarray(given))
    if units.dtype.kind not in "iu":
        raise BadMeasure(field, "give whole units")
    if least is not None and (units < least).any():
        raise BadMeasure(field, f"{units.min()} is below {least}")
    return units.astype(np.int64)
