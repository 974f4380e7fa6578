"""In which order lots leave a place: first expired, first out; or first in, first out.

A warehouse and a truck are picked from by hand, and by common practice the lot that goes out of
date first is picked first. A column is not picked from: it drops what was put in first.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Held:
    """Units of one lot in a place; `lot` None is what bears no lot that anybody knows.

    `quantity` may be below zero where the record is only an estimate.
    """

    lot: int | None
    quantity: int
    best_before: date | None = None


@dataclass(frozen=True, slots=True)
class Arrival:
    """So many units of a lot put into a column together."""

    lot: int | None
    quantity: int


def first_expired(held: Iterable[Held], *, to_sell_on: date | None = None) -> list[Held]:
    """Lots in the order in which they are picked: dated ones by date, then undated, then unknown.

    With `to_sell_on` those that are out of date on that day come last: nobody means to sell them.
    Best-before is the last good day.
    """

    def rank(one: Held) -> tuple[bool, int, date, int]:
        dated = one.best_before is not None
        over = to_sell_on is not None and dated and one.best_before < to_sell_on  # type: ignore[operator]
        kind = 0 if dated else 1 if one.lot is not None else 2
        return over, kind, one.best_before or date.max, one.lot or 0

    return sorted((one for one in held if one.quantity > 0), key=rank)


def first_in(held: Iterable[Held], arrivals: Sequence[Arrival]) -> list[Held]:
    """A column's units in the order in which they drop, as runs of one lot.

    `arrivals` are all that came into the column, the latest first. What lies in a column are its
    latest arrivals, so they are matched from the latest back; what no arrival accounts for is the
    oldest. A lot that came in twice, with another between, appears twice.
    """
    left = {one.lot: one for one in held if one.quantity > 0}
    count = {lot: one.quantity for lot, one in left.items()}
    latest_first: list[Held] = []
    for arrival in arrivals:
        taken = min(arrival.quantity, count.get(arrival.lot, 0))
        if taken:
            count[arrival.lot] -= taken
            one = left[arrival.lot]
            latest_first.append(Held(one.lot, taken, one.best_before))
    oldest = [Held(lot, n, left[lot].best_before) for lot, n in count.items() if n]
    return first_expired(oldest) + latest_first[::-1]


def take(order: Iterable[Held], quantity: int) -> tuple[list[tuple[int | None, int]], int]:
    """Take `quantity` units in the order given: (lot, units) pairs, and how many were not there."""
    taken: list[tuple[int | None, int]] = []
    for one in order:
        if quantity <= 0:
            break
        units = min(one.quantity, quantity)
        taken.append((one.lot, units))
        quantity -= units
    return taken, max(quantity, 0)


def left_after(order: Sequence[Held], dropped: int) -> list[Held]:
    """What is left of a column's units, in order, when so many have dropped."""
    left: list[Held] = []
    for one in order:
        gone = min(one.quantity, max(dropped, 0))
        dropped -= gone
        if one.quantity > gone:
            left.append(Held(one.lot, one.quantity - gone, one.best_before))
    return left
