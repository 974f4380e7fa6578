"""Commission: worked by hand, and parts that always add up."""

import random
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.commission import (
    BadTerms,
    Covered,
    InPart,
    MachineReceipts,
    Off,
    Step,
    Terms,
    parts_of,
    statement,
)

D = Decimal


def took(machine: str, receipts: str, product_class: str = "drink", **off: str) -> MachineReceipts:
    return MachineReceipts(
        machine, product_class, D(receipts), **{name: D(value) for name, value in off.items()}
    )


def test_percents_by_class() -> None:
    # By hand: 20 % of 150.00 and 10 % of 80.00.
    found = statement(
        Terms(shares={"drink": D(20), "": D(10)}),
        [took("A", "100"), took("B", "50"), took("A", "80", "other_food")],
    )
    assert found.amount == D("38.00")
    assert {one.machine: one.amount for one in found.by_machine} == {"A": D(28), "B": D(10)}
    assert found.minimum_added == 0


def test_what_nothing_is_agreed_for_pays_nothing_and_is_said() -> None:
    found = statement(Terms(shares={"drink": D(20)}), [took("A", "80", "other_food")])
    assert found.amount == 0
    assert found.lines[0].percent is None
    assert any("other_food" in text for text in found.said)


@pytest.mark.parametrize(
    ("base", "amount"),
    # By hand: 10 % of 107.00 less 7.00 tax, 1.00 deposits, 2.00 refunds as agreed.
    [
        (frozenset(), "10.70"),
        (frozenset({Off.TAX}), "10.00"),
        (frozenset({Off.TAX, Off.DEPOSIT}), "9.90"),
        (frozenset(Off), "9.70"),
    ],
)
def test_the_base_is_as_agreed(base: frozenset[Off], amount: str) -> None:
    line = took("A", "107", tax="7", deposit="1", refunds="2")
    assert statement(Terms(shares={"": D(10)}, base=base), [line]).amount == D(amount)


STEPS = (Step(D(0), D(5)), Step(D(1000), D(10)), Step(D(2000), D(15)))


@pytest.mark.parametrize(
    ("receipts", "marginal", "amount"),
    # By hand. Marginal: 5 % of the first 1,000, 10 % of the next, 15 % of the rest.
    [
        ("999.99", True, "50.00"),
        ("1000", True, "50.00"),
        ("1500", True, "100.00"),
        ("2500", True, "225.00"),
        ("999.99", False, "50.00"),
        ("1000", False, "100.00"),
        ("1500", False, "150.00"),
        ("2500", False, "375.00"),
    ],
)
def test_steps(receipts: str, marginal: bool, amount: str) -> None:
    found = statement(Terms(steps=STEPS, marginal=marginal), [took("A", receipts)])
    assert found.amount == D(amount)


def test_steps_count_all_machines_together_but_not_classes_of_their_own() -> None:
    # By hand: 600 + 600 reach 1,200: 50.00 + 20.00; food is paid its own 2 %, 10.00.
    terms = Terms(shares={"other_food": D(2)}, steps=STEPS)
    found = statement(terms, [took("A", "600"), took("B", "600"), took("B", "500", "other_food")])
    assert found.amount == D("80.00")
    assert {one.machine: one.amount for one in found.by_machine} == {"A": D(35), "B": D(45)}


def test_below_the_first_step_nothing_is_owed() -> None:
    found = statement(Terms(steps=(Step(D(100), D(10)),)), [took("A", "99.99")])
    assert found.amount == 0
    assert found.said


def test_the_minimum_is_made_up_by_what_machines_took() -> None:
    # By hand: 10 % of 100 is 10.00; 15.00 are missing, a quarter of them A's.
    found = statement(Terms(shares={"": D(10)}, minimum=D(25)), [took("A", "25"), took("B", "75")])
    assert (found.commission, found.minimum_added, found.amount) == (D(10), D(15), D(25))
    assert {one.machine: one.minimum_added for one in found.by_machine} == {
        "A": D("3.75"),
        "B": D("11.25"),
    }


def test_a_minimum_stands_without_any_machine() -> None:
    found = statement(Terms(minimum=D(25)), [])
    assert (found.amount, found.by_machine) == (D(25), ())


@pytest.mark.parametrize(
    ("in_part", "days", "added"),
    # By hand: 310.00 a month is 10.00 a day; 10 % of 20.00 is 2.00.
    [
        (InPart.DAYS, 31, "308.00"),
        (InPart.DAYS, 12, "118.00"),
        (InPart.DAYS, 1, "8.00"),
        (InPart.WHOLE, 12, "308.00"),
    ],
)
def test_a_minimum_for_part_of_a_period(in_part: InPart, days: int, added: str) -> None:
    terms = Terms(shares={"": D(10)}, minimum=D(310), minimum_in_part=in_part)
    found = statement(terms, [took("A", "20")], covered=Covered(days, 31))
    assert found.minimum_added == D(added)
    words = [text for text in found.said if "days of the period" in text]
    assert bool(words) is (days < 31)
    if days == 12:
        assert words[0].startswith("the agreement covers 12 of the 31 days of the period")


def test_minimums_of_two_agreements_within_a_period_are_one_together() -> None:
    # By hand: 100.00 x 14/31 = 45.161..., x 17/31 = 54.838...: 45.16 and 54.84.
    parts = [
        statement(Terms(minimum=D(100)), [], covered=Covered(days, 31)).amount for days in (14, 17)
    ]
    assert parts == [D("45.16"), D("54.84")]


@pytest.mark.parametrize(
    ("in_part", "marginal", "amount"),
    # By hand, for half of 30 days and 1,500.00. By days the steps are 0, 500 and 1,000: 25.00 on
    # the first 500.00, 50.00 on the next, 75.00 on the rest. As written they are 0, 1,000, 2,000.
    [
        (InPart.DAYS, True, "150.00"),
        (InPart.DAYS, False, "225.00"),
        (InPart.WHOLE, True, "100.00"),
        (InPart.WHOLE, False, "150.00"),
    ],
)
def test_steps_for_part_of_a_period(in_part: InPart, marginal: bool, amount: str) -> None:
    terms = Terms(steps=STEPS, marginal=marginal, steps_in_part=in_part)
    found = statement(terms, [took("A", "1500")], covered=Covered(15, 30))
    assert found.amount == D(amount)
    assert "covers 15 of the 30 days" in found.said[0]


def test_steps_so_small_that_days_make_them_one_still_add_up() -> None:
    terms = Terms(steps=(Step(D("0.01"), D(5)), Step(D("0.02"), D(10))), steps_in_part=InPart.DAYS)
    found = statement(terms, [took("A", "10")], covered=Covered(1, 31))
    assert found.amount == D("1.00")


def test_days_covered_lie_within_the_period() -> None:
    for days, of in ((0, 31), (32, 31), (-1, 31)):
        with pytest.raises(ValueError, match="give 1 to all of them"):
            Covered(days, of)


def test_refunds_above_receipts_pay_nothing_and_owe_nothing() -> None:
    found = statement(
        Terms(shares={"": D(10)}, base=frozenset(Off)), [took("A", "5", refunds="50")]
    )
    assert found.amount == 0
    assert [one.amount for one in found.lines] == [0]


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Terms(shares={"drink": D(101)}), "shares.drink"),
        (lambda: Terms(shares={"": D(-1)}), "shares.everything"),
        (lambda: Terms(steps=(Step(D(5), D(1)), Step(D(5), D(2)))), "steps.1.from_receipts"),
        (lambda: Terms(steps=(Step(D(0), D("NaN")),)), "steps.0.percent"),
        (lambda: Terms(shares={"": D(5)}, steps=STEPS), "steps"),
        (lambda: Terms(minimum=D(-1)), "minimum"),
    ],
)
def test_terms_that_cannot_be_are_refused_by_field(make, field: str) -> None:
    with pytest.raises(BadTerms) as refused:
        make()
    assert refused.value.field == field


cents = st.integers(0, 1_000_000).map(lambda value: D(value) / 100)
few_cents = st.integers(0, 5_000).map(lambda value: D(value) / 100)
percents = st.integers(0, 10_000).map(lambda value: D(value) / 100)
lines = st.lists(
    st.builds(
        MachineReceipts,
        st.sampled_from(["A", "B", "C", "D"]),
        st.sampled_from(["drink", "other_food", "not_food"]),
        cents,
        few_cents,
        few_cents,
        few_cents,
    ),
    max_size=12,
)
terms_of_a_host = st.one_of(
    st.builds(
        Terms,
        shares=st.dictionaries(st.sampled_from(["", "drink", "other_food"]), percents),
        minimum=cents,
        base=st.frozensets(st.sampled_from(Off)),
    ),
    st.builds(
        Terms,
        steps=st.lists(st.integers(0, 10_000), unique=True, min_size=1, max_size=4).flatmap(
            lambda starts: st.tuples(
                *(st.builds(Step, st.just(D(start)), percents) for start in sorted(starts))
            )
        ),
        marginal=st.booleans(),
        minimum=cents,
        base=st.frozensets(st.sampled_from(Off)),
    ),
)


@given(
    terms=terms_of_a_host,
    receipts=lines,
    seed=st.integers(0, 1000),
    days=st.integers(1, 31),
    in_part=st.sampled_from(InPart),
)
def test_parts_add_up_and_the_order_changes_nothing(
    terms: Terms, receipts: list[MachineReceipts], seed: int, days: int, in_part: InPart
) -> None:
    terms = replace(terms, minimum_in_part=in_part, steps_in_part=in_part)
    covered = Covered(days, 31)
    found = statement(terms, receipts, covered=covered)
    assert found.amount == found.commission + found.minimum_added
    least = terms.minimum if in_part == InPart.WHOLE else covered.part(terms.minimum, 2)
    assert found.amount >= least
    assert sum(line.amount for line in found.lines) == found.commission
    assert sum(line.receipts for line in found.lines) == sum(one.receipts for one in receipts)
    assert sum(line.receipts - line.taken_off for line in found.lines) == found.base
    if found.by_machine:
        assert sum(one.amount for one in found.by_machine) == found.amount
        assert sum(one.base for one in found.by_machine) == found.base
    shuffled = list(receipts)
    random.Random(seed).shuffle(shuffled)
    assert statement(terms, shuffled, covered=covered) == found


@given(
    total=cents,
    weights=st.dictionaries(st.sampled_from("abcdef"), cents, min_size=1),
)
def test_parts_are_within_a_cent_of_their_due(total: Decimal, weights: dict[str, Decimal]) -> None:
    parts = parts_of(total, weights)
    assert sum(parts.values()) == total
    whole = sum(weights.values())
    for key, weight in weights.items():
        due = total / len(weights) if whole == 0 else total * weight / whole
        assert abs(parts[key] - due) < D("0.0100001")
