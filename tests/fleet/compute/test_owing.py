"""What is due once corrections and what is carried over are counted in; nothing is lost or told
twice on the way."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.owing import Due, Left, due_of

D = Decimal


def test_what_is_below_nothing_is_carried_once() -> None:
    # By hand: 10.00 less 25.00 is -15.00, of which 12.00 leaves -3.00, of which 8.00 leaves 5.00.
    first = due_of(D(10), corrections=[D(-20), D(-5)])
    assert (first.due, first.to_carry) == (D(-15), D(-15))
    assert first.said == (
        "nothing is paid for this period; -15.00 is carried over to the next statement",
    )
    second = due_of(D(12), left=[Left(1, first.to_carry)])
    assert (second.carried_over, second.due) == (D(-15), D(-3))
    third = due_of(D(8), left=[Left(2, second.to_carry)])
    assert (third.due, third.to_carry, third.said) == (D(5), D(0), ())


def test_a_minimum_is_before_what_tells_of_earlier_periods() -> None:
    found = due_of(D(25), corrections=[D(-5)], left=[Left(1, D(-2))], minimum=D(25))
    assert found.due == D(18)
    assert found.said[0].startswith("the minimum is of what this period earns")
    assert due_of(D(25), corrections=[D(5)], minimum=D(25)).said == ()


def test_only_what_is_below_nothing_is_carried() -> None:
    for due in (D(0), D(1), D("NaN")):
        with pytest.raises((ValueError, ArithmeticError)):
            Left(1, due)
    with pytest.raises(ValueError, match="nothing or less"):
        Due(D(1), D(0), D(1))


cents = st.integers(0, 100_000).map(lambda value: D(value) / 100)
corrections = st.lists(st.integers(-100_000, 100_000).map(lambda value: D(value) / 100), max_size=3)


@given(periods=st.lists(st.tuples(cents, corrections, st.integers(0, 3)), max_size=12))
def test_dues_paid_or_open_are_what_was_earned_and_corrected(
    periods: list[tuple[Decimal, list[Decimal], int]],
) -> None:
    """Whatever came first, and though a statement may carry what several before it left."""
    waiting: list[Left] = []
    standing: dict[int, Decimal] = {}
    for number, (amount, corrected, kept_back) in enumerate(periods, start=1):
        # Statements that were issued at once leave what those beside them cannot carry.
        carried, waiting = waiting[kept_back:], waiting[:kept_back]
        found = due_of(amount, corrections=corrected, left=carried)
        for one in carried:
            standing[one.number] = D(0)
        standing[number] = found.due
        if found.to_carry:
            waiting.append(Left(number, found.to_carry))
    earned = sum((amount for amount, _, _ in periods), D(0))
    changed = sum((sum(corrected, D(0)) for _, corrected, _ in periods), D(0))
    assert sum(standing.values(), D(0)) == earned + changed
    assert {key: due for key, due in standing.items() if due < 0} == {
        one.number: one.due for one in waiting
    }
