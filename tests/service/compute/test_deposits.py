"""Deposits where something is missing, wrong or not entered."""

from datetime import date
from decimal import Decimal

import pytest

from fleet.compute.units import BadMeasure
from service.compute.deposits import STATES, Drink, deposit

TODAY = date(2026, 1, 1)
CAN = {"volume_ml": Decimal("354.88"), "material": "aluminium"}


def test_a_missing_fact_is_named_and_no_amount_is_guessed() -> None:
    found = deposit("IA", TODAY, **CAN, drink=Drink())
    assert (found.amount, found.missing) == (None, ("carbonated",))


def test_a_fact_that_does_not_matter_may_be_missing() -> None:
    found = deposit("CA", TODAY, **CAN, drink=Drink(contains_milk=False, juice_percent=0))
    assert found.amount == Decimal("0.05")


def test_a_state_without_a_law_says_so() -> None:
    found = deposit("tx", TODAY, **CAN, drink=Drink())
    assert (found.state, found.amount, found.citation) == ("TX", 0, "")
    assert "TX" in found.why[0]


@pytest.mark.parametrize("state", STATES)
def test_every_answer_carries_its_source(state: str) -> None:
    drink = Drink(carbonated=True, sweetened=True, contains_milk=False, juice_percent=0)
    found = deposit(state, TODAY, **CAN, drink=drink)
    assert found.citation
    assert found.status in {"read", "secondary", "memory"}
    assert found.why
    assert found.amount in {Decimal("0.05"), Decimal("0.10")}


@pytest.mark.parametrize(
    ("state", "volume_ml", "material", "field"),
    [
        ("California", "355", "glass", "state"),
        ("CA", "0", "glass", "volume_ml"),
        ("CA", "NaN", "glass", "volume_ml"),
        ("CA", "355", "wood", "material"),
    ],
)
def test_what_cannot_be_is_refused_by_field(
    state: str, volume_ml: str, material: str, field: str
) -> None:
    with pytest.raises(BadMeasure) as refused:
        deposit(state, TODAY, volume_ml=Decimal(volume_ml), material=material, drink=Drink())
    assert refused.value.field == field
