"""What is left of receipts: parts add up, and what is not known is said."""

from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compute.earnings import COSTS, Earned, in_cents, shared, together

money = st.decimals(min_value=0, max_value=10**6, places=4)
earned = st.builds(
    Earned,
    receipts=money,
    units=money,
    costs=st.dictionaries(st.sampled_from(COSTS), money),
    unknown=st.frozensets(st.sampled_from(COSTS)),
    minutes=money,
    km=money,
    visits=money,
)


def test_profit_is_what_is_left() -> None:
    one = Earned(Decimal(100), costs={"goods": Decimal(40), "visits": Decimal(25)})
    assert (one.profit, one.margin) == (Decimal(35), Decimal("0.35"))
    assert one.before_visits == Decimal(60)
    assert Earned().margin is None


def test_what_is_not_known_is_not_nothing() -> None:
    one = Earned(Decimal(100), costs={"goods": Decimal(40)}, unknown=frozenset({"goods", "tax"}))
    assert one.cost("tax") is None
    assert one.cost("goods") == 40  # of what is known of it
    assert one.cost("upkeep") == 0
    assert (one + Earned()).unknown == {"goods", "tax"}


@given(st.lists(earned, max_size=5))
def test_together_adds_up_in_any_order(several: list[Earned]) -> None:
    whole = together(several)
    assert whole == together(reversed(several))
    assert whole.profit == sum((one.profit for one in several), Decimal(0))


@given(earned, st.lists(money, min_size=1, max_size=6))
def test_shares_add_up_exactly(whole: Earned, weights: list[Decimal]) -> None:
    parts = shared(whole, weights)
    again = together(parts)
    assert again.costs == whole.costs
    assert (again.receipts, again.units) == (whole.receipts, whole.units)
    assert (again.minutes, again.km, again.visits) == (whole.minutes, whole.km, whole.visits)
    assert all(amount >= 0 for part in parts for amount in part.costs.values())


def test_shares_follow_the_weights_and_are_even_without_any() -> None:
    whole = Earned(costs={"visits": Decimal(30)})
    assert [one.cost("visits") for one in shared(whole, [Decimal(2), Decimal(1)])] == [20, 10]
    assert [one.cost("visits") for one in shared(whole, [Decimal(0)] * 3)] == [10, 10, 10]
    for wrong in ([], [Decimal(-1)]):
        with pytest.raises(ValueError, match="weights"):
            shared(whole, wrong)


@given(st.lists(earned, max_size=8))
def test_cells_in_cents_add_up_to_their_sum_rounded_once(several: list[Earned]) -> None:
    cent = Decimal("0.01")
    exact, cells = together(several), in_cents(dict(enumerate(several)), cent)
    shown = together(cells.values())
    assert shown.receipts == exact.receipts.quantize(cent, ROUND_HALF_UP)
    assert shown.costs == {
        name: amount.quantize(cent, ROUND_HALF_UP) for name, amount in exact.costs.items()
    }
    for key, one in cells.items():
        assert abs(one.receipts - several[key].receipts) <= cent
        assert one.receipts == one.receipts.quantize(cent)
        assert (one.units, one.unknown) == (several[key].units, several[key].unknown)
