"""When a column runs dry, and what is lost by each day on which nobody comes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fleet.compute.columns import Floats, Ints
from fleet.compute.restock.distributions import as_pmf
from fleet.compute.units import BadMeasure

#: The day of something that does not happen within the days asked about.
NOT_WITHIN = -1
#: The chance at which a careful person begins to worry: the "5 % case".
EARLY_CHANCE = 0.05


@dataclass(frozen=True, slots=True)
class Outlook:
    """What happens if nobody visits, for N columns over `days` days.

    `chance_dry`, `units_lost` and `margin_lost_minor` are (N, days), each up to the END of a day
    and counted from now. `median_day` and `early_day` are (N,): the first day (1 is the first
    day asked about, 0 means dry now) by whose end the chance of being dry is at least 50 and
    5 %, or NOT_WITHIN.
    """

    chance_dry: Floats
    median_day: Ints
    early_day: Ints
    units_lost: Floats
    margin_lost_minor: Floats

    def saved_minor(self, visit_day: int, next_chance_day: int) -> Floats:
        """Margin saved by filling at the end of `visit_day` instead of `next_chance_day`, (N,).

        Days as above, 0 being now. What is lost until the earlier visit is lost either way.
        """
        days = self.margin_lost_minor.shape[1]
        if not 0 <= visit_day <= next_chance_day <= days:
            raise BadMeasure(
                "next_chance_day",
                f"from day {visit_day} to day {next_chance_day} cannot be told; "
                f"give days in order, from 0 to {days}",
            )
        lost = np.pad(self.margin_lost_minor, ((0, 0), (1, 0)))
        saved: Floats = lost[:, next_chance_day] - lost[:, visit_day]
        return saved


def outlook(
    stock: ArrayLike, demand_by_day: Iterable[ArrayLike], margin_minor: ArrayLike
) -> Outlook:
    """The outlook of N columns.

    - `stock` (N, U): the chance of holding 0, 1, ... units now.
    - `demand_by_day`: for each day, the distribution (N, V) of what is asked for from now to the
      end of that day, all days before it included (a plain array (days, N, V) will do, and so
      will a generator, which holds one day at a time). What customers ask for, sold or not.
    - `margin_minor` (N,) or one: the margin of a unit in minor units of money.

    Lost up to a day: E[(D - S)+] = sum over k of P(D > k) P(S <= k), for a demand D independent of
    the stock S. Raises BadMeasure for distributions that are none.
    """
    held = np.cumsum(as_pmf("stock", stock), axis=1)
    chances, lost = [], []
    for number, demand in enumerate(demand_by_day):
        pmf = as_pmf(f"demand_by_day.{number}", demand)
        if pmf.shape[0] not in (1, held.shape[0]):
            raise BadMeasure(
                f"demand_by_day.{number}",
                f"has {pmf.shape[0]} rows beside {held.shape[0]} columns of stock",
            )
        at_most = _fitted(held, pmf.shape[1])
        beyond = np.clip(1 - np.cumsum(pmf, axis=1), 0, 1)
        chances.append(np.einsum("nu,nu->n", np.broadcast_to(pmf, at_most.shape), at_most))
        lost.append(np.einsum("nu,nu->n", np.broadcast_to(beyond, at_most.shape), at_most))
    if not chances:
        raise BadMeasure("demand_by_day", "give the demand of one day or more")
    chance = np.clip(np.stack(chances, axis=1), 0, 1)
    units = np.stack(lost, axis=1)
    margin = np.broadcast_to(np.asarray(margin_minor, dtype=np.float64), units.shape[:1])
    with_now = np.concatenate([held[:, :1], chance], axis=1)
    return Outlook(
        chance_dry=chance,
        median_day=_first_day(with_now, 0.5),
        early_day=_first_day(with_now, EARLY_CHANCE),
        units_lost=units,
        margin_lost_minor=units * margin[:, np.newaxis],
    )


def _fitted(held: Floats, units: int) -> Floats:
    """P(S <= k) for k = 0 ... units - 1; 1 beyond the end of the rows."""
    short = units - held.shape[1]
    return held[:, :units] if short <= 0 else np.pad(held, ((0, 0), (0, short)), constant_values=1)


def _first_day(chances: Floats, wanted: float) -> Ints:
    reached = chances >= wanted - 1e-12
    return np.where(reached.any(axis=1), np.argmax(reached, axis=1), NOT_WITHIN)
