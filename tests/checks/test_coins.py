"""Coins by weight against the mint's specifications, banks' packing and their arithmetic."""

from decimal import Decimal

import pytest

from fleet.compute.coins import (
    US_COINS,
    Sureness,
    by_weight,
    certain_up_to,
    coin_of,
    mixed_by_weight,
    rolls,
    straps,
    weight_of,
)


@pytest.mark.parametrize(
    ("minor", "weight_g", "diameter_mm", "thickness_mm"),
    # United States Mint, Coin Specifications; weights and diameters also 31 U.S.C. 5112(a).
    [
        (1, "2.500", "19.05", "1.52"),
        (5, "5.000", "21.21", "1.95"),
        (10, "2.268", "17.91", "1.35"),
        (25, "5.670", "24.26", "1.75"),
        (50, "11.340", "30.61", "2.15"),
        (100, "8.1", "26.49", "2.00"),
    ],
)
def test_coins_are_those_of_the_mint(
    minor: int, weight_g: str, diameter_mm: str, thickness_mm: str
) -> None:
    coin = coin_of(minor)
    assert coin.weight_g == Decimal(weight_g)
    assert (coin.diameter_mm, coin.thickness_mm) == (Decimal(diameter_mm), Decimal(thickness_mm))


@pytest.mark.parametrize(
    ("minor", "in_a_roll", "roll_minor", "roll_g", "bag_minor", "in_a_bag", "bag_kg", "per_kg"),
    # Rolls: common practice of banks (secondary texts). Bags: Federal Reserve Bank of Dallas,
    # Notice 02-12, after Operating Circular 2. Masses follow from the mint's weights.
    [
        (1, 50, 50, "125.0", 5_000, 5_000, "12.50", "4.0000"),
        (5, 40, 200, "200.0", 20_000, 4_000, "20.00", "10.0000"),
        (10, 50, 500, "113.4", 100_000, 10_000, "22.68", "44.0917"),
        (25, 40, 1_000, "226.8", 100_000, 4_000, "22.68", "44.0917"),
        (50, 20, 1_000, "226.8", 100_000, 2_000, "22.68", "44.0917"),
        (100, 25, 2_500, "202.5", 200_000, 2_000, "16.20", "123.4568"),
    ],
)
def test_rolls_and_bags(
    minor: int,
    in_a_roll: int,
    roll_minor: int,
    roll_g: str,
    bag_minor: int,
    in_a_bag: int,
    bag_kg: str,
    per_kg: str,
) -> None:
    coin = coin_of(minor)
    assert coin.in_a_roll == in_a_roll
    assert rolls(minor, in_a_roll).amount_minor == roll_minor
    assert weight_of({minor: in_a_roll}) == Decimal(roll_g)
    assert coin.bag_minor == bag_minor
    assert coin.bag_minor // minor == in_a_bag
    assert weight_of({minor: in_a_bag}) == Decimal(bag_kg) * 1000
    assert round(Decimal(minor) * 10 / coin.weight_g, 4) == Decimal(per_kg)


def test_dimes_quarters_and_halves_are_worth_their_weight() -> None:
    # Arithmetic from the mint's weights: 137 quarters are 776.790 g, 264 dimes 598.752 g; together
    # 1,375.542 g, 60.65 whatever the mix. 20.00 a pound (0.45359237 kg, by definition).
    assert weight_of({25: 137}) == Decimal("776.790")
    assert weight_of({10: 264}) == Decimal("598.752")
    assert mixed_by_weight(Decimal("1375.542")).amount_minor == 6065
    assert mixed_by_weight(Decimal("453.59237")).amount_minor == 2000


@pytest.mark.parametrize(
    ("minor", "weight_g", "number", "amount_minor"),
    # Arithmetic from the mint's weights.
    [(5, "440.000", 88, 440), (100, "332.1", 41, 4100), (25, "776.790", 137, 3425)],
)
def test_counts_by_weight(minor: int, weight_g: str, number: int, amount_minor: int) -> None:
    found = by_weight(minor, Decimal(weight_g))
    assert (found.number, found.amount_minor) == (number, amount_minor)
    assert found.sureness is Sureness.STATISTICAL
    assert found.least < number < found.most


@pytest.mark.parametrize(
    ("minor", "allowed_g"),
    # 31 U.S.C. 5113 for cent and nickel; a secondary text for the quarter (5.443 to 5.897 g); the
    # others from memory.
    [(1, "0.13"), (5, "0.194"), (25, "0.227"), (10, "0.091"), (50, "0.454"), (100, "0.3")],
)
def test_what_a_coin_may_be_off(minor: int, allowed_g: str) -> None:
    assert coin_of(minor).allowed_g == Decimal(allowed_g)


@pytest.mark.parametrize("minor", [5, 10, 25, 50])
def test_a_weight_is_certain_for_a_dozen_coins(minor: int) -> None:
    # With every coin at its limit; 2.5 / 0.194, 1.134 / 0.091, 2.835 / 0.227 and 5.67 / 0.454 are
    # all between 12 and 13.
    assert certain_up_to(minor) == 12


@pytest.mark.parametrize("coin", US_COINS, ids=lambda coin: coin.name)
def test_the_limit_of_certainty_is_sharp(coin) -> None:
    # n coins at their heaviest weigh no more than n + 1/2 coins; one coin beyond they may.
    most = certain_up_to(coin.minor)
    assert most * coin.allowed_g < coin.weight_g / 2 <= (most + 1) * coin.allowed_g


def test_few_coins_are_certain_and_foreign_ones_impossible() -> None:
    few = by_weight(25, Decimal("28.35"))
    assert (few.number, few.sureness, few.least, few.most) == (5, Sureness.CERTAIN, 5, 5)
    strange = by_weight(25, Decimal("8.5"))
    assert strange.sureness is Sureness.IMPOSSIBLE


def test_notes_are_strapped_by_the_hundred() -> None:
    # American Bankers Association straps: 100 notes, ten straps a bundle (secondary texts).
    packed = straps(2_000, 1_234)
    assert (packed.packs, packed.bundles, packed.loose) == (12, 1, 34)
    assert straps(2_000, 100).amount_minor == 200_000
