"""What a unit costs the business, as a moving average over what it holds.

The weighted average cost formula, worked out anew as each shipment comes in (IAS 2 Inventories,
paragraphs 25 and 27). Amounts are Decimal, in the business's currency, to a millionth.
"""

from decimal import ROUND_HALF_EVEN, Decimal

MILLIONTH = Decimal("0.000001")


def with_more(held_units: int, average: Decimal | None, units: int, unit_cost: Decimal) -> Decimal:
    """The average once `units` at `unit_cost` have come to `held_units` at `average`.

    Without an average, or with nothing held, what came says alone what a unit costs. Raises
    ValueError unless units is at least 1 and the rest is not below zero.
    """
    _checked(held_units, units, unit_cost)
    if average is None or held_units == 0:
        return _exact(unit_cost)
    return _exact((held_units * average + units * unit_cost) / (held_units + units))


def without(held_units: int, average: Decimal, units: int, unit_cost: Decimal) -> Decimal:
    """The average once `units` that had come at `unit_cost` are taken back out of `held_units`.

    Some of them may have been sold meanwhile at the average they had made. Where what is left would
    be nothing, or would cost less than nothing, the average stays as it is. Raises ValueError as
    `with_more`.
    """
    _checked(held_units, units, unit_cost)
    left_units = held_units - units
    left_cost = held_units * average - units * unit_cost
    if left_units <= 0 or left_cost < 0:
        return _exact(average)
    return _exact(left_cost / left_units)


def _checked(held_units: int, units: int, unit_cost: Decimal) -> None:
    if units < 1:
        raise ValueError(f"units: {units}; at least 1 comes or goes")
    if held_units < 0:
        raise ValueError(f"held_units: {held_units}; nobody holds less than nothing")
    if unit_cost < 0:
        raise ValueError(f"unit_cost: {unit_cost}; a cost is not below zero")


def _exact(amount: Decimal) -> Decimal:
    return amount.quantize(MILLIONTH, rounding=ROUND_HALF_EVEN)
