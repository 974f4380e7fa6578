"""Rounding of tax: half up on the third decimal, brackets, and parts that add up to their whole.

Half up after the third decimal is section 324 of the Streamlined Sales and Use Tax Agreement.
Everything is Decimal: binary fractions get 1.325 wrong.
"""

from collections.abc import Sequence
from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal
from enum import StrEnum
from typing import Final

CENT: Final = Decimal("0.01")


class Rounding(StrEnum):
    """How the tax of a line is brought to cents."""

    AGGREGATED = "aggregated"
    BY_JURISDICTION = "by_jurisdiction"
    BRACKETS = "brackets"

    @property
    def words(self) -> str:
        return {
            Rounding.AGGREGATED: "rates added up, the tax rounded once, half up",
            Rounding.BRACKETS: "each sale by the rule's table where it has one, else rounded once",
            Rounding.BY_JURISDICTION: "each jurisdiction's tax rounded by itself, half up",
        }[self]


def half_up(amount: Decimal, unit: Decimal = CENT) -> Decimal:
    """An amount to the nearest `unit`; a half goes away from nothing (SSUTA section 324)."""
    return (amount / unit).quantize(Decimal(1), rounding=ROUND_HALF_UP) * unit


def share_out(whole: Decimal, weights: Sequence[Decimal], unit: Decimal = CENT) -> list[Decimal]:
    """A whole cut by weights into multiples of `unit` that add up to it, by largest remainder.

    Equal remainders go to the earlier one. Raises ValueError for a whole that is no multiple of
    the unit, or weights that are negative or nothing but zeros.
    """
    if any(weight < 0 for weight in weights) or not (total := sum(weights, Decimal(0))):
        raise ValueError("give weights of nothing or more, one of them more than nothing")
    steps = whole / unit
    if steps != steps.to_integral_value():
        raise ValueError(f"{whole} is no multiple of {unit}")
    exact = [steps * weight / total for weight in weights]
    down = [part.to_integral_value(rounding=ROUND_DOWN) for part in exact]
    left = int(steps - sum(down, Decimal(0)))
    sign = 1 if left >= 0 else -1
    order = sorted(range(len(exact)), key=lambda n: (-abs(exact[n] - down[n]), n))
    for n in order[: abs(left)]:
        down[n] += sign
    return [part * unit for part in down]


def by_bracket(price: Decimal, brackets: Sequence[tuple[Decimal, Decimal]]) -> Decimal:
    """The tax on one sale by a table of (up to this price, tax) for the first dollar.

    As 61 Pa. Code 31.2 has it: the tax of each whole dollar, and the bracket on the cents left.
    Raises ValueError for a negative price or an empty table.
    """
    if price < 0 or not brackets:
        raise ValueError("give a price of nothing or more, and a table")
    dollars = int(price)
    rest = price - dollars
    full = brackets[-1][1]
    of_rest = next((tax for up_to, tax in brackets if rest <= up_to), full)
    return dollars * full + (of_rest if rest else Decimal(0))


def inside_by_bracket(price: Decimal, brackets: Sequence[tuple[Decimal, Decimal]]) -> Decimal:
    """The tax that a price holds by such a table: that of the highest price without tax which
    with its own tax is no more than what the customer paid. Prices and tax in whole cents.

    By 61 Pa. Code 31.2 1.65 bears 10 cents, so that 1.75 with the tax in it holds 10, not the 11
    that 1.75 without tax would bear.
    """
    net = price - by_bracket(price, brackets)
    while net + CENT + by_bracket(net + CENT, brackets) <= price:
        net += CENT
    return by_bracket(net, brackets)


PENNSYLVANIA: Final = tuple(
    (Decimal(price).scaleb(-2), Decimal(tax).scaleb(-2))
    for price, tax in ((10, 0), (17, 1), (34, 2), (50, 3), (67, 4), (84, 5), (100, 6))
)
"""At 6 %, 61 Pa. Code 31.2."""
