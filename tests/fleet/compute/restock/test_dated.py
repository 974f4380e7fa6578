"""Which lots to pull, so that nothing is sold out of date before the next visit."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.restock.dated import NO_DATE, Lots, pulls
from fleet.compute.restock.distributions import poisson
from fleet.compute.restock.loss import poisson_loss
from fleet.compute.units import BadMeasure


def by_day(daily: list[float], days: int = 14):
    return [poisson([rate * day for rate in daily], 60) for day in range(1, days + 1)]


def test_what_is_out_of_date_is_pulled_and_what_lasts_is_left():
    lots = Lots.of([0, 0, 0], [3, 4, 5], [0, 9, NO_DATE])

    found = pulls(lots, [7], by_day([1.0]))

    assert found.units.tolist() == [3, 0, 0]
    assert found.chance_unsold.tolist() == [1, 0, 0]


def test_units_that_surely_sell_in_time_may_stay():
    """P(Poisson(20) >= 11) = .989 and P(>= 13) = .961, P(>= 14) = .934."""
    lots = Lots.of([0], [20], [5])

    assert pulls(lots, [7], by_day([4.0])).units.tolist() == [20 - 13]
    assert pulls(lots, [7], by_day([4.0]), sure=0.98).units.tolist() == [20 - 11]
    assert pulls(lots, [7], by_day([4.0]), sure=1).units.tolist() == [20]


def test_a_lot_behind_another_sells_only_after_it():
    """In the order in which they went in, here not that of their dates."""
    demand = by_day([2.0])
    first = Lots.of([0, 0], [6, 4], [NO_DATE, 5], order=[1, 2])
    alone = Lots.of([0], [4], [5])

    behind = pulls(first, [7], demand)

    assert behind.unsold[1] > pulls(alone, [7], demand).unsold[0]
    # The units of places 7 to 10, of a demand of 10: loss at 6 less loss at 10, of 4.
    unsold = 4 - (poisson_loss(6, 10).short - poisson_loss(10, 10).short)
    assert behind.unsold[1] == pytest.approx(unsold, abs=1e-9)


def test_what_is_pulled_lets_the_next_lot_move_up():
    demand = by_day([4.0])
    both = pulls(Lots.of([0, 0], [10, 12], [0, 5]), [7], demand)
    alone = pulls(Lots.of([0], [12], [5]), [7], demand)

    assert both.units[0] == 10
    assert both.units[1] == alone.units[0] == 0


def test_each_column_has_its_own_next_visit():
    lots = Lots.of([1, 0], [5, 5], [4, 4])

    found = pulls(lots, [3, 9], by_day([0.1, 0.1]))

    assert found.units.tolist() == [5, 0]


@given(
    st.lists(st.tuples(st.integers(0, 2), st.integers(0, 9), st.integers(-3, 20)), max_size=8),
    st.randoms(),
)
def test_no_more_is_pulled_than_lies_there_and_order_changes_nothing(lots, random):
    # Lots of one column and date are alike, so they are told apart by their date.
    lots = list({(column, last): (column, units, last) for column, units, last in lots}.values())
    if not lots:
        return
    demand = by_day([0.3, 1.0, 4.0])
    plain = pulls(Lots.of(*zip(*lots, strict=True)), [7, 7, 7], demand)
    assert all(0 <= pulled <= lot[1] for pulled, lot in zip(plain.units, lots, strict=True))

    places = list(range(len(lots)))
    random.shuffle(places)
    again = pulls(Lots.of(*zip(*(lots[n] for n in places), strict=True)), [7, 7, 7], demand)

    assert again.units.tolist() == [int(plain.units[n]) for n in places]


def test_days_that_are_not_told_are_asked_for():
    with pytest.raises(BadMeasure, match="reaches to day 3"):
        pulls(Lots.of([0], [4], [5]), [7], by_day([1.0], 3))
    with pytest.raises(BadMeasure, match="units"):
        Lots.of([0], [-1], [5])
