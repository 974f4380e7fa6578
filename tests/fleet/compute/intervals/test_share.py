import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.intervals.share import share_out


def units(*arguments, **keywords):
    return [part.units for part in share_out(*arguments, **keywords).parts]


def test_a_share_follows_capacity_and_adds_up():
    # 10 x 24/36 = 6.67 and 10 x 12/36 = 3.33, by hand: the larger fraction gets the odd one.
    out = share_out(10, 1234, [24, 12])
    assert [part.units for part in out.parts] == [7, 3]
    # 1234 x 7/10 = 863.8, 1234 x 3/10 = 370.2
    assert [part.value_minor for part in out.parts] == [864, 370]
    assert all(part.is_share for part in out.parts)


def test_ties_go_to_the_first_column():
    assert units(3, 0, [1, 1]) == [2, 1]


def test_no_column_sells_more_than_it_held():
    assert units(10, 0, [1, 1], held_units=[2, 20]) == [2, 8]
    assert units(3, 0, [1, 1], held_units=[1, 5]) == [1, 2]
    out = share_out(10, 0, [1, 1], held_units=[2, 4])
    assert sum(part.units for part in out.parts) == 10
    assert out.beyond_held_units == 4


def test_one_column_is_counted_and_not_shared():
    out = share_out(4, 480, [24])
    assert out.parts[0].units == 4
    assert not out.parts[0].is_share


def test_money_without_units_still_adds_up():
    assert [part.value_minor for part in share_out(0, 5, [24, 12]).parts] == [3, 2]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((1, 0, []), "at least one column"),
        ((-1, 0, [1]), "must not be negative"),
        ((1, 0, [1, -1]), "weights must not be negative"),
        ((1, 0, [1, 1], [1]), "one of each per column"),
        ((1, 0, [1], [-1]), "held_units must not be negative"),
    ],
)
def test_bad_input_is_named(arguments, message):
    with pytest.raises(ValueError, match=message):
        share_out(*arguments)


@given(
    st.integers(0, 500),
    st.integers(0, 100_000),
    st.lists(st.tuples(st.integers(0, 60), st.integers(0, 200)), min_size=1, max_size=4),
)
def test_parts_add_up_and_stay_within_what_was_held(sold, money, columns):
    weights, held = [weight for weight, _ in columns], [limit for _, limit in columns]
    out = share_out(sold, money, weights, held)
    assert sum(part.units for part in out.parts) == sold
    assert sum(part.value_minor for part in out.parts) == money
    assert all(part.units >= 0 and part.value_minor >= 0 for part in out.parts)
    if out.beyond_held_units == 0:
        assert all(part.units <= limit for part, limit in zip(out.parts, held, strict=True))
    else:
        assert out.beyond_held_units == sold - sum(held)
    assert out == share_out(sold, money, weights, held)
