"""Container deposits at their edges, against the statutes named beside each."""

from datetime import date
from decimal import Decimal

import pytest

from service.compute.deposits import ML_PER_FLUID_OUNCE, Alcohol, Drink, Water, deposit

SODA = Drink(carbonated=True, sweetened=True, contains_milk=False, juice_percent=0)
WATER = Drink(
    carbonated=False, sweetened=False, contains_milk=False, juice_percent=0, water=Water.PLAIN
)
SWEET_WATER = Drink(
    carbonated=False, sweetened=True, contains_milk=False, juice_percent=0, water=Water.FLAVOURED
)
TEA = Drink(carbonated=False, sweetened=True, contains_milk=False, juice_percent=0)
JUICE = Drink(carbonated=False, sweetened=False, contains_milk=False, juice_percent=100)
MILK = Drink(carbonated=False, sweetened=False, contains_milk=True, juice_percent=0)
TODAY = date(2026, 1, 1)


def ounces(count: str) -> Decimal:
    """As a product's volume is kept: to the hundredth of a mL."""
    return round(Decimal(count) * ML_PER_FLUID_OUNCE, 2)


def amount(
    state: str,
    drink: Drink,
    volume_ml: Decimal,
    *,
    on: date = TODAY,
    material: str = "aluminium",
) -> Decimal | None:
    return deposit(state, on, volume_ml=volume_ml, material=material, drink=drink).amount


@pytest.mark.parametrize(
    ("volume", "cents"),
    # California Public Resources Code 14560: 5 cents below 24 fl oz, 10 cents from 24 on.
    [("12", 5), ("20", 5), ("23.9", 5), ("24.0", 10), ("67.6", 10)],
)
def test_california_goes_by_24_ounces(volume: str, cents: int) -> None:
    assert amount("CA", SODA, ounces(volume), material="plastic") == Decimal(cents) / 100


def test_california_by_drink_and_material() -> None:
    # Public Resources Code 14504, 14560 (text of SB 353): juice below 46 oz, no milk; 25 cents for
    # wine and spirits in a box, bladder or pouch from 1 January 2024.
    assert amount("CA", MILK, ounces("12"), material="plastic") == 0
    assert amount("CA", JUICE, ounces("45.9"), material="plastic") == Decimal("0.10")
    assert amount("CA", JUICE, ounces("46"), material="plastic") == 0
    assert amount("CA", SODA, ounces("12"), material="carton") == 0
    wine = Drink(alcohol=Alcohol.WINE)
    assert amount("CA", wine, Decimal(750), material="film") == Decimal("0.25")
    before = amount("CA", wine, Decimal(750), material="film", on=date(2023, 12, 31))
    assert before == 0


@pytest.mark.parametrize(
    ("on", "cents"), [(date(2023, 12, 31), 5), (date(2024, 1, 1), 10)]
)  # Connecticut General Statutes 22a-244(a).
def test_connecticut_doubled_on_new_years_day(on: date, cents: int) -> None:
    assert amount("CT", SODA, ounces("12"), on=on) == Decimal(cents) / 100


@pytest.mark.parametrize(
    ("drink", "volume_ml", "cents"),
    # Sizes from a secondary text: carbonated up to 3 L, still up to 2.5 L, none below 150 mL.
    [
        (SODA, 149, 0),
        (SODA, 150, 10),
        (SODA, 3000, 10),
        (SODA, 3001, 0),
        (TEA, 2500, 10),
        (TEA, 2501, 0),
        (WATER, 500, 10),
        (MILK, 500, 0),
    ],
)
def test_connecticuts_sizes(drink: Drink, volume_ml: int, cents: int) -> None:
    assert amount("CT", drink, Decimal(volume_ml)) == Decimal(cents) / 100


def test_hawaii_has_a_fee_on_top() -> None:
    # Hawaii Revised Statutes 342G-102, -110: 5 cents and a fee of 1 cent; a case of 24 is 1.44.
    found = deposit("HI", TODAY, volume_ml=ounces("12"), material="aluminium", drink=SODA)
    assert found.amount is not None
    assert 24 * (found.amount + found.fee) == Decimal("1.44")
    assert amount("HI", SODA, ounces("12"), material="carton") == 0


@pytest.mark.parametrize(
    ("drink", "volume_ml", "cents"),
    # 38 M.R.S. 3103: 5 cents; wine and spirits above 50 mL 15 cents, up to 50 mL 5; not dairy.
    [
        (WATER, 500, 5),
        (MILK, 500, 0),
        (Drink(alcohol=Alcohol.SPIRITS), 50, 5),
        (Drink(alcohol=Alcohol.SPIRITS), 51, 15),
    ],
)
def test_maine(drink: Drink, volume_ml: int, cents: int) -> None:
    assert amount("ME", drink, Decimal(volume_ml), material="glass") == Decimal(cents) / 100


def test_cases_come_to_what_they_should() -> None:
    # Mich. Comp. Laws 445.571 ff (10 cents): 24 cans 2.40. 38 M.R.S. 3103: 24 bottles 1.20.
    michigan, maine = amount("MI", SODA, ounces("12")), amount("ME", WATER, ounces("16.9"))
    assert michigan is not None
    assert maine is not None
    assert (24 * michigan, 24 * maine) == (Decimal("2.40"), Decimal("1.20"))
    gallon = Decimal(128) * ML_PER_FLUID_OUNCE
    assert amount("MI", SODA, gallon - 1) == Decimal("0.10")
    assert amount("MI", SODA, gallon) == 0


def test_iowa_and_vermont_leave_water_out() -> None:
    # Iowa Code 455C.2 (carbonated and alcoholic); 10 V.S.A. 1521-1522 (no plain water, no juice).
    assert amount("IA", SODA, ounces("12")) == Decimal("0.05")
    assert amount("IA", WATER, ounces("16.9"), material="plastic") == 0
    assert amount("VT", SODA, ounces("12")) == Decimal("0.05")
    assert amount("VT", WATER, ounces("16.9"), material="plastic") == 0
    assert amount("VT", Drink(alcohol=Alcohol.SPIRITS), Decimal(375)) == Decimal("0.15")


def test_massachusetts_asks_for_a_notice() -> None:
    # Mass. Gen. Laws c. 94 s. 325(b): who sells by machines posts that a refund is to be had.
    found = deposit("MA", TODAY, volume_ml=ounces("12"), material="aluminium", drink=SODA)
    assert found.amount == Decimal("0.05")
    assert "5 cents" in found.notice
    still = deposit("MA", TODAY, volume_ml=ounces("12"), material="aluminium", drink=TEA)
    assert (still.amount, still.notice) == (0, "")


@pytest.mark.parametrize(
    ("drink", "cents"), [(SODA, 5), (WATER, 5), (SWEET_WATER, 0), (TEA, 0)]
)  # N.Y. Environmental Conservation Law 27-1003; the amount from a secondary text.
def test_new_york_leaves_sweetened_water_out(drink: Drink, cents: int) -> None:
    assert amount("NY", drink, ounces("20"), material="plastic") == Decimal(cents) / 100


@pytest.mark.parametrize(
    ("drink", "volume_ml", "on", "cents"),
    # News and the state's agency (secondary): 10 cents from 1 April 2017; other drinks of 4 oz to
    # 1.5 L from 2018; not milk.
    [
        (SODA, "355", date(2017, 3, 31), 5),
        (SODA, "355", date(2017, 4, 1), 10),
        (SODA, "3000", TODAY, 10),
        (SODA, "3001", TODAY, 0),
        (TEA, "500", date(2017, 12, 31), 0),
        (TEA, "500", date(2018, 1, 1), 10),
        (TEA, "118.29", TODAY, 10),
        (TEA, "118.28", TODAY, 0),
        (TEA, "1501", TODAY, 0),
        (MILK, "500", TODAY, 0),
    ],
)
def test_oregon(drink: Drink, volume_ml: str, on: date, cents: int) -> None:
    assert amount("OR", drink, Decimal(volume_ml), on=on) == Decimal(cents) / 100


def test_california_asks_for_juice_only_where_its_size_decides() -> None:
    """Below 46 fl oz a can bears its deposit whatever juice is in it (PRC 14504, 14560)."""
    unknown = Drink(carbonated=False, sweetened=True, contains_milk=False)
    assert amount("CA", unknown, ounces("12")) == Decimal("0.05")
    assert amount("CA", unknown, ounces("46"), material="plastic") is None
