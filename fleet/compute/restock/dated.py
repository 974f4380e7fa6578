"""Lots in a column that would go out of date before anybody comes again: what to pull.

Products leave a column in the order in which they went in, so a lot sells only when all that
lies before it is gone. Pulling what will be out of date before the next visit is common practice;
no published source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fleet.compute.columns import Floats, Ints
from fleet.compute.restock.distributions import as_pmf
from fleet.compute.units import BadMeasure

#: A unit stays only if it sells before its date with at least this chance. A default of our own.
SURE = 0.95
#: The last day of a lot that carries no date.
NO_DATE = np.iinfo(np.int64).max


@dataclass(frozen=True, slots=True)
class Lots:
    """Lots lying in columns, one entry each, all arrays (L,).

    `column` counts from 0. `last_day` is the last day on which the lot may be sold: 1 is the first
    day from now, 0 and below is past, NO_DATE never comes. `order` tells which lot sells first.
    """

    column: Ints
    units: Ints
    last_day: Ints
    order: Ints

    @classmethod
    def of(
        cls,
        column: ArrayLike,
        units: ArrayLike,
        last_day: ArrayLike,
        order: ArrayLike | None = None,
    ) -> Lots:
        """Without `order` the lots of a column sell first expired, first out."""
        last = np.atleast_1d(np.asarray(last_day, dtype=np.int64))
        held = np.atleast_1d(np.asarray(units, dtype=np.int64))
        if (held < 0).any():
            raise BadMeasure("units", f"{held.min()} units cannot lie in a column")
        return cls(
            column=np.atleast_1d(np.asarray(column, dtype=np.int64)),
            units=held,
            last_day=last,
            order=last if order is None else np.atleast_1d(np.asarray(order, dtype=np.int64)),
        )


@dataclass(frozen=True, slots=True)
class Pulls:
    """What to pull of each lot, in the order of the lots, all arrays (L,).

    `units` to take out now; `unsold` is how many of the lot would be expected to lie there out of
    date at the next visit if nothing were pulled of it; `chance_unsold` that at least one would.
    """

    units: Ints
    unsold: Floats
    chance_unsold: Floats


def pulls(
    lots: Lots, next_visit_day: ArrayLike, demand_by_day: Sequence[ArrayLike], sure: float = SURE
) -> Pulls:
    """What to pull at a visit now, so that nothing is sold out of date before the next one.

    - `next_visit_day` (N,): the day of the next visit to each column; a lot whose last day is that
      day or later is left in peace.
    - `demand_by_day`: for day 1, 2, ... the distribution (N, U) of what is asked for to its end.
    - `sure`: units stay that sell by their last day with at least this chance; with 1 all are
      pulled whose last day comes before the next visit.

    Raises BadMeasure where a day is asked for that `demand_by_day` does not reach.
    """
    visit = np.atleast_1d(np.asarray(next_visit_day, dtype=np.int64))[lots.column]
    doomed = (lots.last_day < visit) & (lots.units > 0)
    last = np.where(doomed, np.maximum(lots.last_day, 0), 0)
    if int(last.max(initial=0)) > len(demand_by_day):
        raise BadMeasure(
            "demand_by_day",
            f"reaches to day {len(demand_by_day)}; a lot's last day is {int(last.max())}",
        )
    sells = [_at_least(f"demand_by_day.{day}", one) for day, one in enumerate(demand_by_day)]
    pulled = np.zeros(lots.units.size, np.int64)
    unsold = np.zeros(lots.units.size)
    chance = np.zeros(lots.units.size)
    before: dict[int, int] = {}
    for lot in np.lexsort((lots.last_day, lots.order, lots.column)):
        column, units = int(lots.column[lot]), int(lots.units[lot])
        ahead = before.get(column, 0)
        if doomed[lot]:
            places = np.arange(ahead + 1, ahead + units + 1)
            sold = np.zeros(units)
            if last[lot]:
                rows = sells[last[lot] - 1]
                row = rows[column if rows.shape[0] > 1 else 0]
                within = places < row.size
                sold[within] = row[places[within]]
            unsold[lot] = (1 - sold).sum()
            chance[lot] = 1 - sold[-1]
            stay = 0 if sure >= 1 else int((sold >= sure).sum())
            pulled[lot] = units - stay
            units = stay
        before[column] = ahead + units
    return Pulls(pulled, unsold, chance)


def _at_least(field: str, demand: ArrayLike) -> Floats:
    """P(D >= u) at u = 0, 1, ..."""
    pmf = as_pmf(field, demand)
    return np.clip(np.cumsum(pmf[:, ::-1], axis=1)[:, ::-1], 0, 1)
