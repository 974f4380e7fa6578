"""The moving average of what a unit costs."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.average_cost import MILLIONTH, with_more, without

COST = st.decimals(min_value=0, max_value=99, places=4)
UNITS = st.integers(min_value=1, max_value=10_000)


def test_each_shipment_weighs_by_its_units() -> None:
    # IAS 2, paragraph 27: the average is calculated as each additional shipment is received.
    # Worked by hand: 24 at 0.50, then 24 at 0.60, then 48 at 0.70.
    first = with_more(0, None, 24, Decimal("0.50"))
    second = with_more(24, first, 24, Decimal("0.60"))
    third = with_more(48, second, 48, Decimal("0.70"))
    assert (first, second, third) == (Decimal("0.500000"), Decimal("0.550000"), Decimal("0.625000"))


def test_what_was_taken_for_a_millionth_is_kept_to_one() -> None:
    assert with_more(1, Decimal("0.50"), 2, Decimal("0.60")) == Decimal("0.566667")


def test_with_nothing_held_only_what_came_counts() -> None:
    assert with_more(0, Decimal("9.99"), 5, Decimal("0.40")) == Decimal("0.400000")
    assert with_more(7, None, 5, Decimal("0.40")) == Decimal("0.400000")


@given(UNITS, COST, UNITS, COST)
def test_taking_back_undoes_and_the_average_lies_between(
    held: int, average: Decimal, units: int, unit_cost: Decimal
) -> None:
    after = with_more(held, average, units, unit_cost)
    low, high = sorted((average, unit_cost))
    assert low - MILLIONTH <= after <= high + MILLIONTH
    back = without(held + units, after, units, unit_cost)
    # A rounded millionth a unit, over what was held before.
    room = MILLIONTH * (1 + Decimal(held + units) / held)
    assert abs(back - average) <= room or held * average < MILLIONTH * (held + units)


def test_what_cannot_be_taken_back_leaves_the_average() -> None:
    assert without(10, Decimal("0.50"), 10, Decimal("0.50")) == Decimal("0.500000")
    assert without(12, Decimal("0.10"), 10, Decimal("0.50")) == Decimal("0.100000")


@pytest.mark.parametrize(("held", "units", "cost"), [(-1, 1, "0.5"), (1, 0, "0.5"), (1, 1, "-0.5")])
def test_what_can_never_be_is_refused(held: int, units: int, cost: str) -> None:
    with pytest.raises(ValueError, match=r"units|cost"):
        with_more(held, Decimal(1), units, Decimal(cost))
    with pytest.raises(ValueError, match=r"units|cost"):
        without(held, Decimal(1), units, Decimal(cost))
