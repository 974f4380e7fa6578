"""Takings against price times vends."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compute.watch import BadEvidence
from service.compute.watch.takings import Takings, judge


def test_a_price_in_the_machine_that_is_not_on_the_record() -> None:
    """Worked by hand: 40 vends at 1.75 take 70.00, 10.00 less than at 2.00."""
    judged = judge(Takings.of(paid_units=[40], paid_minor=[7000], least_minor=[200]))
    assert judged.found.tolist() == [True]
    told = judged.suspicion(0)
    assert told.said == ("40 vends took 10.00 too little: 1.75 each where the record says 2.00.")
    assert told.numbers["off_minor"] == -1000
    assert told.numbers["one_price"] is True
    assert told.p_value is None


def test_money_is_told_in_the_currencys_own_digits() -> None:
    judged = judge(Takings.of(paid_units=[10], paid_minor=[1500], least_minor=[130]))
    assert "200 too much: 150 each where the record says 130" in judged.suspicion(0, 0).said


def test_prices_between_the_lowest_and_the_highest_are_right() -> None:
    judged = judge(
        Takings.of(paid_units=[10], paid_minor=[1900], least_minor=[180], most_minor=[200])
    )
    assert not judged.found[0]
    assert judged.off_minor[0] == 0


def test_discounts_are_added_back() -> None:
    judged = judge(
        Takings.of(paid_units=[10], paid_minor=[1500], least_minor=[200], discount_minor=[500])
    )
    assert not judged.found[0]


def test_a_band_of_prices_is_said_as_one() -> None:
    judged = judge(
        Takings.of(paid_units=[10], paid_minor=[3000], least_minor=[180], most_minor=[200])
    )
    assert judged.suspicion(0).said.endswith("3.00 each where the record says 1.80 to 2.00.")


def test_few_vends_and_small_differences_are_let_be() -> None:
    judged = judge(
        Takings.of(paid_units=[4, 100, 0], paid_minor=[400, 20100, 0], least_minor=[200, 200, 200])
    )
    assert judged.found.tolist() == [False, False, False]


@given(st.integers(5, 500), st.integers(1, 900))
def test_takings_at_the_price_are_never_suspected(units: int, price: int) -> None:
    judged = judge(Takings.of(paid_units=[units], paid_minor=[units * price], least_minor=[price]))
    assert not judged.found[0]
    assert judged.charged_minor[0] == pytest.approx(price)


def test_a_highest_price_below_the_lowest_is_refused() -> None:
    with pytest.raises(BadEvidence, match=r"most_minor\.0"):
        Takings.of(paid_units=[1], paid_minor=[1], least_minor=[5], most_minor=[4])
