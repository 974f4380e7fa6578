"""Prices of two reads compared: another decimal point, and what sales can have brought."""

from typing import Final

from fleet.compute.intervals.counting import step
from fleet.compute.intervals.figures import TOTAL_FIGURES, TOTAL_INDEX
from fleet.compute.intervals.interval import Note
from fleet.compute.intervals.snapshot import Snapshot

_PAID_COUNT: Final = TOTAL_INDEX["paid_count"]
_PAID_VALUE: Final = TOTAL_INDEX["paid_value_minor"]
_FACTORS: Final = (10, 100)


def price_notes(before: Snapshot, after: Snapshot) -> tuple[list[Note], bool]:
    """Prices that moved by exactly 10 or 100, and whether most of the machine's did.

    So large a step is seldom a new price: a setting of decimals changed, or a digit was mistyped.
    """
    old_prices = {(line.selection, line.ordinal): line.price_minor for line in before.selections}
    notes = []
    compared = 0
    for line in after.selections:
        old, new = old_prices.get((line.selection, line.ordinal)), line.price_minor
        if not old or not new:
            continue
        compared += 1
        if old == new:
            continue
        for factor in _FACTORS:
            if new == old * factor or old == new * factor:
                sign = "times" if new > old else "divided by"
                text = f"The price went from {old} to {new}: {sign} {factor}."
                notes.append(Note("price_moved_by_ten", text, line.selection))
    return notes, compared > 0 and 2 * len(notes) > compared


def decimals_differ(before: Snapshot, after: Snapshot, *, most_prices_moved: bool) -> bool:
    """Whether the two reads' money is not of one unit, so that it cannot be subtracted.

    By the currency, by the decimals where both reads state them, or because most prices moved by
    ten and the machine's money did what no number of sales can explain.
    """
    if before.currency and after.currency and before.currency != after.currency:
        return True
    if before.exponent_stated and after.exponent_stated and before.exponent != after.exponent:
        return True
    if not most_prices_moved:
        return False
    old, new = before.totals[_PAID_VALUE], after.totals[_PAID_VALUE]
    if old is None or new is None or new < old:
        return True
    ceiling = value_ceiling(before, after)
    return ceiling is None or new - old > ceiling


def value_ceiling(before: Snapshot, after: Snapshot) -> int | None:
    """Most money that the machine's paid vends can have brought, None if that cannot be told.

    Twice the highest price times the vends, for surcharges; our own limit, no published source.
    """
    vends = step(
        before.totals[_PAID_COUNT], after.totals[_PAID_COUNT], TOTAL_FIGURES[_PAID_COUNT].modulus
    ).amount
    highest = _highest_price_minor(before, after)
    return None if vends is None or highest is None else 2 * highest * vends


def _highest_price_minor(before: Snapshot, after: Snapshot) -> int | None:
    """The highest price in either read, whether set on a selection or applied to a payment."""
    prices = [
        price
        for snapshot in (before, after)
        for line in snapshot.selections
        for price in (line.price_minor, *(payment.price_minor for payment in line.payments))
        if price is not None
    ]
    return max(prices, default=None)
