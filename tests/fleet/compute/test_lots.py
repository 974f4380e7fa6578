"""In which order lots leave a place."""

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.lots import Arrival, Held, first_expired, first_in, left_after, take

APRIL, MAY, JUNE = date(2026, 4, 1), date(2026, 5, 1), date(2026, 6, 1)


def test_first_expired_first_out_then_undated_then_unknown() -> None:
    """First expired, first out is common practice; no published source."""
    held = [Held(None, 2), Held(4, 1), Held(3, 5, JUNE), Held(2, 5, MAY), Held(1, 0, APRIL)]
    assert [one.lot for one in first_expired(held)] == [2, 3, 4, None]


def test_what_is_out_of_date_is_picked_last_where_it_is_to_be_sold() -> None:
    held = [Held(1, 5, APRIL), Held(2, 5, MAY), Held(None, 1)]
    assert [one.lot for one in first_expired(held, to_sell_on=APRIL)] == [1, 2, None]
    assert [one.lot for one in first_expired(held, to_sell_on=date(2026, 4, 2))] == [2, None, 1]


def test_a_column_drops_what_was_put_in_first() -> None:
    # By hand: of 3 A, then 4 B, then 2 A, five units are left: one of the B's went too.
    arrivals = [Arrival(1, 2), Arrival(2, 4), Arrival(1, 3)]
    assert first_in([Held(1, 2), Held(2, 3)], arrivals) == [Held(2, 3), Held(1, 2)]
    assert first_in([Held(1, 3), Held(2, 4)], arrivals) == [Held(1, 1), Held(2, 4), Held(1, 2)]


def test_what_no_fill_accounts_for_is_the_oldest() -> None:
    held = [Held(None, 2), Held(1, 4, MAY)]
    assert first_in(held, [Arrival(1, 3)]) == [Held(1, 1, MAY), Held(None, 2), Held(1, 3, MAY)]


def test_taking_more_than_there_is_says_how_many_were_not_there() -> None:
    order = [Held(1, 2), Held(2, 3)]
    assert take(order, 4) == ([(1, 2), (2, 2)], 0)
    assert take(order, 7) == ([(1, 2), (2, 3)], 2)
    assert take(order, 0) == ([], 0)
    assert left_after(order, 4) == [Held(2, 1)]
    assert left_after(order, 9) == []


lots = st.sampled_from([None, 1, 2, 3])
helds = st.dictionaries(lots, st.integers(-3, 9)).map(
    lambda by: [Held(lot, n, {1: APRIL, 2: MAY}.get(lot or 0)) for lot, n in by.items()]
)
arrived = st.lists(st.builds(Arrival, lots, st.integers(1, 9)), max_size=6)


@given(helds, arrived)
def test_ordering_a_column_neither_makes_nor_loses_units(
    held: list[Held], arrivals: list[Arrival]
) -> None:
    order = first_in(held, arrivals)
    for lot in (None, 1, 2, 3):
        there = sum(max(one.quantity, 0) for one in held if one.lot == lot)
        assert sum(one.quantity for one in order if one.lot == lot) == there


@given(helds, st.integers(0, 40))
def test_what_is_taken_and_what_is_left_are_what_there_was(held: list[Held], asked: int) -> None:
    order = first_expired(held)
    taken, missing = take(order, asked)
    left = left_after(order, asked)
    assert sum(n for _, n in taken) + missing == asked
    assert sum(n for _, n in taken) + sum(one.quantity for one in left) == sum(
        one.quantity for one in order
    )
    assert not missing or not left
