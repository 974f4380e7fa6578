"""Coins told by their weight, and coins and notes as banks pack them.

Weights, diameters and thicknesses: the mint's coin specifications and 31 U.S.C. 5112(a), which
agree. What a coin may be off: 31 U.S.C. 5113 for cents and nickels; the others follow secondary
texts. Rolls and straps are common practice of banks, bags are Federal Reserve Bank of Dallas,
Notice 02-12. Weights are Decimal grams, values integer minor units.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from enum import StrEnum
from typing import Final

from fleet.compute.units import BadMeasure

HALF: Final = Decimal("0.5")
MOST_G: Final = Decimal(50_000)
"""More than two full bags; a slip of the keyboard beyond it is refused."""
MOST_PIECES: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class Coin:
    """One coin of a currency, new from the mint; `allowed_g` is how far one may be off."""

    minor: int
    name: str
    weight_g: Decimal
    allowed_g: Decimal
    diameter_mm: Decimal
    thickness_mm: Decimal
    in_a_roll: int
    bag_minor: int


def _coin(
    minor: int, name: str, weight: str, allowed: str, wide: str, thick: str, roll: int, bag: int
) -> Coin:
    return Coin(
        minor, name, Decimal(weight), Decimal(allowed), Decimal(wide), Decimal(thick), roll, bag
    )


US_COINS: Final = (
    _coin(1, "cent", "2.500", "0.13", "19.05", "1.52", 50, 5_000),
    _coin(5, "nickel", "5.000", "0.194", "21.21", "1.95", 40, 20_000),
    _coin(10, "dime", "2.268", "0.091", "17.91", "1.35", 50, 100_000),
    _coin(25, "quarter", "5.670", "0.227", "24.26", "1.75", 40, 100_000),
    _coin(50, "half dollar", "11.340", "0.454", "30.61", "2.15", 20, 100_000),
    _coin(100, "dollar coin", "8.1", "0.3", "26.49", "2.00", 25, 200_000),
)
US_NOTES: Final = (100, 200, 500, 1_000, 2_000, 5_000, 10_000)
COINS: Final[Mapping[str, tuple[Coin, ...]]] = {"USD": US_COINS}
"""Coins by currency (ISO 4217). Of other currencies coins are counted, not weighed."""
NOTES: Final[Mapping[str, tuple[int, ...]]] = {"USD": US_NOTES}
MIXED_MINOR: Final = (10, 25, 50)
"""Dimes, quarters and halves weigh alike for their worth, so a mix of them has one worth."""
NOTES_IN_A_STRAP: Final = 100
STRAPS_IN_A_BUNDLE: Final = 10


class Sureness(StrEnum):
    """What a weight says of how many there are."""

    CERTAIN = "certain"
    STATISTICAL = "statistical"
    IMPOSSIBLE = "impossible"


@dataclass(frozen=True, slots=True)
class Weighed:
    """Coins of one denomination by weight.

    `number` is the likeliest; from `least` to `most` agrees with the weight when every coin is as
    far off as it may be. `impossible` when no whole number agrees: something else lies among them.
    """

    minor: int
    weight_g: Decimal
    number: int
    amount_minor: int
    least: int
    most: int
    sureness: Sureness
    said: str


@dataclass(frozen=True, slots=True)
class WeighedMix:
    """Dimes, quarters and halves together by weight: their worth, whatever the mix."""

    weight_g: Decimal
    amount_minor: int
    least_minor: int
    most_minor: int
    sureness: Sureness
    said: str


@dataclass(frozen=True, slots=True)
class Packed:
    """Pieces as a bank takes them: rolls or straps, and what is left over."""

    minor: int
    number: int
    packs: int
    bundles: int
    loose: int
    amount_minor: int
    said: str


def coin_of(minor: int, currency: str = "USD") -> Coin:
    """The coin of this value. Raises BadMeasure."""
    known = COINS.get(currency)
    if known is None:
        raise BadMeasure(
            "currency", f"the weights of coins of {currency} are not known; count them"
        )
    for coin in known:
        if coin.minor == minor:
            return coin
    values = ", ".join(str(coin.minor) for coin in known)
    raise BadMeasure("minor", f"no coin is worth {minor}; give one of {values}")


def by_weight(
    minor: int, weight_g: Decimal, *, scale_g: Decimal = Decimal("0.1"), currency: str = "USD"
) -> Weighed:
    """How many coins of one denomination weigh this much, empty of their box.

    `scale_g` is how far the scale may be off. A number m agrees with the weight W when
    |W - m w| <= m a + s, with w a coin's weight, a what one may be off and s the scale's error;
    beyond about twelve coins more than one number agrees. Raises BadMeasure.
    """
    coin = coin_of(minor, currency)
    _require_weight("weight_g", weight_g)
    _require_weight("scale_g", scale_g)
    least = _whole((weight_g - scale_g) / (coin.weight_g + coin.allowed_g), ROUND_CEILING)
    most = _whole((weight_g + scale_g) / (coin.weight_g - coin.allowed_g), ROUND_FLOOR)
    least = max(least, 0)
    number = _whole(weight_g / coin.weight_g, ROUND_HALF_UP)
    name = _named(number, coin.name)
    if most < least:
        sureness = Sureness.IMPOSSIBLE
        said = f"no whole number of coins weighs {weight_g} g; something else lies among them"
    elif most == least:
        sureness, number = Sureness.CERTAIN, least
        said = f"{name}, certain: no other number can weigh {weight_g} g"
    else:
        sureness = Sureness.STATISTICAL
        said = (
            f"{name} by the usual weight; from {least} to {most} could weigh {weight_g} g, so a "
            "difference within that means nothing"
        )
    return Weighed(minor, weight_g, number, number * minor, least, most, sureness, said)


def mixed_by_weight(weight_g: Decimal, *, scale_g: Decimal = Decimal("0.1")) -> WeighedMix:
    """What dimes, quarters and half dollars are worth together, by weight alone.

    A dime weighs 2.268 g, a quarter 5.670 g and a half 11.340 g: 25 / 5.670 cents a gram each.
    Nickels and dollar coins must be taken out first. The nearest five cents are given. Raises
    BadMeasure.
    """
    _require_weight("weight_g", weight_g)
    _require_weight("scale_g", scale_g)
    coins = [coin_of(minor) for minor in MIXED_MINOR]
    off = max(coin.allowed_g / coin.weight_g for coin in coins)
    worth = Decimal(25) / coin_of(25).weight_g
    least = 5 * _whole((weight_g - scale_g) * worth / (1 + off) / 5, ROUND_CEILING)
    most = 5 * _whole((weight_g + scale_g) * worth / (1 - off) / 5, ROUND_FLOOR)
    amount = 5 * _whole(weight_g * worth / 5, ROUND_HALF_EVEN)
    least = max(least, 0)
    if most < least:
        sureness = Sureness.IMPOSSIBLE
        said = f"no dimes, quarters and halves weigh {weight_g} g together"
    elif most == least:
        sureness, amount = Sureness.CERTAIN, least
        said = f"{amount / 100:.2f}, certain: no other sum can weigh {weight_g} g"
    else:
        sureness = Sureness.STATISTICAL
        said = (
            f"{amount / 100:.2f} by the usual weights; from {least / 100:.2f} to "
            f"{most / 100:.2f} could weigh {weight_g} g"
        )
    return WeighedMix(weight_g, amount, least, most, sureness, said)


def weight_of(numbers: Mapping[int, int], *, currency: str = "USD") -> Decimal:
    """What these coins weigh, in g: `numbers` by value in minor units. Raises BadMeasure."""
    total = Decimal(0)
    for minor, number in numbers.items():
        coin = coin_of(minor, currency)
        _require_number(number)
        total += number * coin.weight_g
    return total


def certain_up_to(minor: int, *, scale_g: Decimal = Decimal(0), currency: str = "USD") -> int:
    """The most coins of this value that their weight tells to the coin, each as far off as it may.

    Beyond it a neighbouring number of coins can weigh the same. Raises BadMeasure.
    """
    coin = coin_of(minor, currency)
    _require_weight("scale_g", scale_g)
    # n coins, each at its limit, must weigh nearer to n than to a half more or less: n a + s < w/2.
    return max(_whole((coin.weight_g / 2 - scale_g) / coin.allowed_g, ROUND_FLOOR), 0)


def rolls(minor: int, number: int, *, currency: str = "USD") -> Packed:
    """Coins in full rolls, and the rest loose. Raises BadMeasure."""
    coin = coin_of(minor, currency)
    _require_number(number)
    packs, loose = divmod(number, coin.in_a_roll)
    said = f"{_named(packs, 'roll')} of {coin.in_a_roll}, {loose} loose"
    return Packed(minor, number, packs, 0, loose, number * minor, said)


def straps(minor: int, number: int, *, currency: str = "USD") -> Packed:
    """Notes in straps of 100 and bundles of ten straps, and the rest loose. Raises BadMeasure."""
    known = NOTES.get(currency)
    if known is not None and minor not in known:
        values = ", ".join(str(one) for one in known)
        raise BadMeasure("minor", f"no note is worth {minor}; give one of {values}")
    _require_number(number)
    packs, loose = divmod(number, NOTES_IN_A_STRAP)
    bundles, left = divmod(packs, STRAPS_IN_A_BUNDLE)
    parts = [_named(bundles, "bundle")] if bundles else []
    said = ", ".join([*parts, _named(left, "strap"), f"{loose} loose"])
    return Packed(minor, number, packs, bundles, loose, number * minor, said)


def _whole(value: Decimal, rounding: str) -> int:
    return int(value.to_integral_value(rounding=rounding))


def _named(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _require_weight(field: str, weight_g: Decimal) -> None:
    if not weight_g.is_finite() or not 0 <= weight_g <= MOST_G:
        raise BadMeasure(field, f"{weight_g} g cannot be used; give a weight from 0 to {MOST_G} g")


def _require_number(number: int) -> None:
    if isinstance(number, bool) or not 0 <= number <= MOST_PIECES:
        raise BadMeasure(
            "number", f"{number} cannot be used; give a whole number from 0 to {MOST_PIECES}"
        )
