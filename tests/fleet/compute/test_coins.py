"""Coins by weight: what the weight allows, whatever the coins."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.coins import (
    US_COINS,
    Coin,
    Sureness,
    by_weight,
    certain_up_to,
    mixed_by_weight,
    rolls,
    straps,
    weight_of,
)
from fleet.compute.units import BadMeasure

coins = st.sampled_from(US_COINS)


@given(coin=coins, number=st.integers(0, 3000), off=st.integers(-1000, 1000))
def test_the_true_number_always_agrees_with_the_weight(coin: Coin, number: int, off: int) -> None:
    """Whatever each coin is off within its limit, the truth lies in the span."""
    weight = number * (coin.weight_g + coin.allowed_g * off / 1000)
    found = by_weight(coin.minor, weight)
    assert found.least <= number <= found.most
    if found.sureness is Sureness.CERTAIN:
        assert found.number == number


@given(coin=coins, data=st.data(), off=st.integers(-1000, 1000))
def test_few_coins_are_told_to_the_coin(coin: Coin, data: st.DataObject, off: int) -> None:
    number = data.draw(st.integers(0, certain_up_to(coin.minor)))
    weight = number * (coin.weight_g + coin.allowed_g * off / 1000)
    assert by_weight(coin.minor, weight, scale_g=Decimal(0)).number == number


@given(dimes=st.integers(0, 2000), quarters=st.integers(0, 2000), halves=st.integers(0, 500))
def test_the_mix_of_silver_coins_does_not_matter(dimes: int, quarters: int, halves: int) -> None:
    found = mixed_by_weight(weight_of({10: dimes, 25: quarters, 50: halves}))
    assert found.amount_minor == 10 * dimes + 25 * quarters + 50 * halves
    assert found.least_minor <= found.amount_minor <= found.most_minor


@given(number=st.integers(0, 100_000))
def test_packed_pieces_are_all_there(number: int) -> None:
    coins_packed, notes = rolls(25, number), straps(100, number)
    assert 40 * coins_packed.packs + coins_packed.loose == number
    assert 100 * notes.packs + notes.loose == number
    assert notes.bundles == notes.packs // 10


@pytest.mark.parametrize(
    ("ask", "field"),
    [
        (lambda: by_weight(3, Decimal(10)), "minor"),
        (lambda: by_weight(25, Decimal(-1)), "weight_g"),
        (lambda: by_weight(25, Decimal("NaN")), "weight_g"),
        (lambda: by_weight(25, Decimal(10), scale_g=Decimal(-1)), "scale_g"),
        (lambda: by_weight(25, Decimal(10), currency="EUR"), "currency"),
        (lambda: mixed_by_weight(Decimal(10**9)), "weight_g"),
        (lambda: weight_of({25: -1}), "number"),
        (lambda: straps(300, 1), "minor"),
    ],
)
def test_what_cannot_be_is_refused_by_field(ask, field: str) -> None:
    with pytest.raises(BadMeasure) as refused:
        ask()
    assert refused.value.field == field
