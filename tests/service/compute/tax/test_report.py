"""Parts add up to receipts over any cut; order changes nothing; what no rule is for is listed."""

import itertools
import json
import random
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.compliance.packs import packs
from service.compute.tax.classes import ClassCode, Status
from service.compute.tax.report import (
    Fact,
    Line,
    NotAddedUp,
    Totals,
    canonical,
    digest,
    figures,
    inputs,
    report,
    require_sums,
    thawed,
)
from service.compute.tax.rounding import Rounding, half_up, share_out
from service.compute.tax.rules import Rule, Rules, Sale, Takes, rule_from
from service.compute.tax.split import RateOf, split

RULES = Rules.of(packs())
DAY = date(2026, 2, 3)
RATES = (
    RateOf("FL", "Florida", "state", Decimal("0.06"), Decimal("0.01")),
    RateOf("FL-1", "a county", "county", Decimal("0.01")),
)
money = st.decimals(min_value=0, max_value=100_000, places=2)
rates = st.lists(
    st.decimals(min_value=0, max_value=Decimal("0.12"), places=5), min_size=1, max_size=4
)


@st.composite
def facts(draw: st.DrawFn) -> list[Fact]:
    found = []
    for number in range(draw(st.integers(1, 8))):
        receipts = draw(money)
        found.append(
            Fact(
                key=f"k{number}",
                sale=Sale(
                    state=draw(st.sampled_from(["FL", "CA", "NJ", "AR", "MO", "NY", "MT"])),
                    on=DAY + timedelta(days=draw(st.integers(0, 200))),
                    code=draw(st.sampled_from(list(ClassCode))),
                    price=draw(st.none() | st.sampled_from([Decimal("0.25"), Decimal("1.75")])),
                    takes=draw(st.sampled_from(list(Takes))),
                    carbonated=draw(st.none() | st.booleans()),
                ),
                rates=tuple(
                    RateOf(f"R{n}", f"r{n}", "county", rate) for n, rate in enumerate(draw(rates))
                ),
                units=draw(st.integers(0, 500)),
                receipts=receipts,
                cost=draw(st.none() | money),
                deposits=min(receipts, draw(st.sampled_from([Decimal(0), Decimal("0.05")]))),
            )
        )
    return found


@settings(max_examples=80, deadline=None)
@given(facts(), st.sampled_from(list(Rounding)))
def test_parts_add_up_to_receipts(some: list[Fact], rounding: Rounding) -> None:
    found = report(some, RULES, rounding=rounding)
    assert found.totals.receipts == sum(fact.receipts for fact in some) == found.totals.parts
    assert sum(found.due.values()) == found.totals.tax
    assert found.totals.units == sum(fact.units for fact in some)
    for line in found.lines:
        assert line.split.parts == line.split.receipts
        assert min(line.split.exempt, line.split.taxable, line.split.tax_inside) >= 0


@settings(max_examples=50, deadline=None)
@given(facts(), st.randoms(use_true_random=False))
def test_order_and_cuts_change_nothing(some: list[Fact], luck: random.Random) -> None:
    """Any fact cut into parts that add up to it, in any order, gives the same figures."""
    cut = []
    for fact in some:
        weights = [Decimal(luck.randint(1, 9)) for _ in range(luck.randint(1, 4))]
        for n, part in enumerate(share_out(fact.receipts, weights)):
            first = n == 0
            whole = fact.deposits <= part
            cut.append(
                replace(
                    fact,
                    receipts=part if whole or not first else fact.receipts,
                    deposits=fact.deposits if first else Decimal(0),
                    units=fact.units if first else 0,
                    cost=fact.cost if first or fact.cost is None else Decimal(0),
                )
            )
            if first and not whole:
                break
    luck.shuffle(cut)
    assert figures(report(cut, RULES)) == figures(report(some, RULES))


@settings(max_examples=30, deadline=None)
@given(facts(), st.randoms(use_true_random=False))
def test_digest_reproduces(some: list[Fact], luck: random.Random) -> None:
    shuffled = list(some)
    luck.shuffle(shuffled)
    rules = list(packs())
    luck.shuffle(rules)
    assert digest(inputs(shuffled, rules)) == digest(inputs(some, packs()))
    changed = [replace(some[0], receipts=some[0].receipts + 1), *some[1:]]
    assert digest(inputs(changed, rules)) != digest(inputs(some, rules))


@settings(max_examples=40, deadline=None)
@given(facts(), st.sampled_from(list(Rounding)))
def test_what_is_frozen_gives_the_same_report_again(some: list[Fact], rounding: Rounding) -> None:
    """Through JSON and back: all that decides a figure is in the inputs."""
    frozen = canonical(inputs(some, packs()))
    again, rules = thawed(json.loads(frozen))
    assert canonical(inputs(again, rules)) == frozen
    made = report(again, Rules.of(rules), rounding=rounding)
    assert figures(made) == figures(report(some, RULES, rounding=rounding))


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.integers(0, 300).map(lambda n: Decimal(n).scaleb(-2)), min_size=2, max_size=10),
    rates,
    st.sampled_from(["GA", "WA", "AL", "NJ", "TX", "CA"]),
    st.sampled_from(list(Rounding)),
)
def test_classes_share_one_sum_to_the_cent(
    receipts: list[Decimal], some_rates: list[Decimal], state: str, rounding: Rounding
) -> None:
    """Even where a class sold for a few cents: no part is negative, and all add up."""
    at = tuple(RateOf(f"R{n}", f"r{n}", "county", rate) for n, rate in enumerate(some_rates))
    codes = sorted(set(ClassCode) - {ClassCode.UNKNOWN})
    found = report(
        [
            Fact(f"k{n}", Sale(state, DAY, code, Decimal("1.75"), carbonated=False), at, 1, gross)
            for n, (gross, code) in enumerate(zip(receipts, codes, strict=False))
        ],
        RULES,
        rounding=rounding,
    )
    assert found.totals.parts == sum(receipts)
    for line in found.lines:
        assert min(line.split.exempt, line.split.taxable, line.split.tax_inside) >= 0
        assert sum(one.tax for one in line.split.due) == line.split.tax


@settings(max_examples=100, deadline=None)
@given(
    st.integers(-10_000, 1_000_000).map(lambda n: Decimal(n).scaleb(-2)),
    st.lists(st.integers(0, 1000).map(Decimal), min_size=1, max_size=12).filter(any),
)
def test_shares_add_up_and_stay_near(whole: Decimal, weights: list[Decimal]) -> None:
    parts = share_out(whole, weights)
    assert sum(parts) == whole
    total = sum(weights)
    for part, weight in zip(parts, weights, strict=True):
        assert abs(part - whole * weight / total) < Decimal("0.0100001")


def _fact(**changes: object) -> Fact:
    sale = Sale(state="FL", on=DAY, code=ClassCode.SOFT_DRINK, price=Decimal("1.75"))
    sale = replace(sale, **{k: v for k, v in changes.items() if hasattr(sale, k)})  # type: ignore[arg-type]
    return Fact("k", sale, RATES, 100, Decimal("175.00"))


def _only(found: tuple[Line, ...]) -> Line:
    assert len(found) == 1
    return found[0]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"state": "MT"}, "no rule of MT is entered"),
        ({"code": ClassCode.UNKNOWN}, "no class"),
        ({"on": date(1999, 6, 30), "code": ClassCode.CANDY}, "no rule of FL is for this"),
        ({"state": "ID", "price": None}, "the price of a unit is not known"),
        ({"state": "CA"}, "whether it is carbonated"),
        ({"premises": "school"}, "whether the machine stands in the students' lunchroom"),
    ],
)
def test_nothing_is_assumed(change: dict[str, object], said: str) -> None:
    line = _only(report([_fact(**change)], RULES).lines)
    assert line.split.unclassified == Decimal("175.00")
    assert said in line.split.why[0]


def test_a_period_is_reckoned_as_one_sum() -> None:
    """Rule 12A-15.011, F.A.C., divides the receipts of the period, not those of each class."""
    codes = [ClassCode.SOFT_DRINK, ClassCode.CANDY, ClassCode.OTHER_FOOD]
    receipts = Decimal("333.33")
    facts = [replace(_fact(code=code), receipts=receipts) for code in codes]
    found = report(facts, RULES)
    assert len(found.lines) == 3
    assert found.totals.taxable == half_up(3 * receipts / Decimal("1.0726"))
    apart = sum(report([one], RULES).totals.taxable for one in facts)
    assert apart != found.totals.taxable
    assert all("999.99 in all under this rule" in line.split.why[-1] for line in found.lines)


def test_a_missing_cost_leaves_only_its_own_sales_unclassified() -> None:
    known = replace(_fact(state="MO"), cost=Decimal("60.00"))
    found = report([known, replace(known, key="other", cost=None)], RULES)
    assert [line.split.unclassified for line in found.lines] == [0, Decimal("175.00")]
    assert found.lines[0].split.measure == Decimal("81.00")
    assert found.lines[1].split.why == ("what the goods cost is not known",)


def test_why_a_product_has_no_class_is_said() -> None:
    fact = replace(_fact(code=ClassCode.UNKNOWN), why_class="nobody has written down its juice")
    assert _only(report([fact], RULES).lines).split.why == ("nobody has written down its juice",)


def test_a_machine_needs_the_dearest_of_its_decals() -> None:
    """Ark. Code 26-57-1206: 93 at 25 cents or more, 15 below."""
    facts = [
        replace(_fact(state="AR", price=Decimal(price)), key=f"{machine}:{price}", machine=machine)
        for machine, price in (("a", "1.75"), ("a", "0.20"), ("b", "1.75"), ("c", "0.20"))
    ]
    found = report(facts, RULES)
    assert [(one.rule, one.machines, one.each, one.amount, one.of) for one in found.decals] == [
        ("ar-decal", 2, Decimal(93), Decimal(186), ("a", "b")),
        ("ar-decal-low", 1, Decimal(15), Decimal(15), ("c",)),
    ]
    assert {(one.citation, one.status) for one in found.decals} == {
        ("Ark. Code 26-57-1204, -1206", Status.READ)
    }
    assert any("186 in all" in said and "were bought" in said for said in found.said)


@pytest.mark.parametrize(
    ("receipts", "due", "said"),
    [
        ("10.01", "0.60", "parts of 10.00 for receipts of 10.01"),
        ("10.00", "0.59", "0.59 due for a tax of 0.60"),
    ],
)
def test_a_report_that_does_not_add_up_is_not_given(receipts: str, due: str, said: str) -> None:
    summed = Totals(
        receipts=Decimal("10.00"),
        taxable=Decimal("9.40"),
        tax_inside=Decimal("0.60"),
        tax=Decimal("0.60"),
    )
    require_sums(Decimal("10.00"), summed, {"FL": Decimal("0.60")})
    with pytest.raises(NotAddedUp, match=said):
        require_sums(Decimal(receipts), summed, {"FL": Decimal(due)})


def test_parts_that_are_not_the_receipts_are_refused_though_their_sum_was_kept() -> None:
    summed = Totals(receipts=Decimal("10.00"), exempt=Decimal("9.99"))
    with pytest.raises(NotAddedUp, match=r"parts of 9\.99"):
        require_sums(Decimal("10.00"), summed, {})


def test_a_rule_with_a_rate_of_its_own_says_what_it_leaves_out() -> None:
    line = _only(report([_fact(state="AL", code=ClassCode.CANDY)], RULES).lines)
    assert line.split.rate == Decimal("0.03")
    assert "those of a county are not in it" in line.split.why[-1]


@pytest.mark.parametrize("state", sorted({rule.state for rule in packs()}))
def test_no_two_rules_of_a_pack_contradict_each_other(state: str) -> None:
    prices = ["0.05", "0.10", "0.25", "0.50", "1.00", "1.50", "1.75", "2.00", "4.00"]
    for code, price, takes, premises, bulk, year in itertools.product(
        ClassCode, prices, Takes, ("", "school", "charity"), (False, True), (2013, 2018, 2026)
    ):
        sale = Sale(
            state=state,
            on=date(year, 3, 2),
            code=code,
            price=Decimal(price),
            takes=takes,
            premises=premises,
            carbonated=True,
            highest_price=Decimal("2.00"),
            sells_other=False,
            bulk=bulk,
            low_share=Decimal("0.5"),
        )
        assert "both apply" not in RULES.find(sale).why


def test_no_rate_is_no_tax_of_nothing() -> None:
    fact = replace(_fact(), rates=())
    assert _only(report([fact], RULES).lines).split.unclassified == Decimal("175.00")


def test_two_rules_that_contradict_leave_it_unclassified() -> None:
    one = next(rule for rule in packs() if rule.key == "ga-gross")
    both = Rules.of([one, replace(one, key="ga-other")])
    line = _only(report([_fact(state="GA")], both).lines)
    assert "ga-gross and ga-other both apply" in line.split.why[0]
    ranked = Rules.of([one, replace(one, key="ga-other", rank=1)])
    assert _only(report([_fact(state="GA")], ranked).lines).rule == "ga-other"


def test_a_rate_change_makes_two_lines() -> None:
    later = tuple(replace(one, general=one.general + Decimal("0.005")) for one in RATES[1:])
    facts = [_fact(), replace(_fact(on=DAY + timedelta(days=40)), rates=(RATES[0], *later))]
    found = report(facts, RULES)
    assert [line.split.rate for line in found.lines] == [Decimal("0.07"), Decimal("0.075")]
    assert [line.split.taxable for line in found.lines] == [Decimal("163.15"), Decimal("162.53")]


def test_unverified_rules_are_named() -> None:
    found = report([_fact(state="UT", code=ClassCode.NOT_FOOD)], RULES)
    assert "Rules not verified: ut-price." in found.said


def test_deposits_stay_out_of_the_base() -> None:
    rule = next(one for one in packs() if one.key == "ga-gross")
    parts = split(Decimal("110.00"), rule, RATES, deposits=Decimal("10.00"))
    assert (parts.deposits, parts.taxable, parts.tax) == (10, 100, 7)


def test_a_table_of_prices() -> None:
    """By 61 Pa. Code 31.2 1.65 bears 10 cents: so 100 sales of 1.75 hold 10 cents each."""
    rule = rule_from(
        {
            "key": "pa-table",
            "state": "PA",
            "title": "by the table",
            "shape": "brackets",
            "citation": "61 Pa. Code 31.2",
            "status": "read",
            "brackets": {
                "0.10": "0",
                "0.17": "0.01",
                "0.34": "0.02",
                "0.50": "0.03",
                "0.67": "0.04",
                "0.84": "0.05",
                "1.00": "0.06",
            },
        }
    )
    line = _only(report([_fact(state="PA")], Rules.of([rule])).lines)
    assert (line.split.tax, line.split.taxable) == (Decimal("10.00"), Decimal("165.00"))
    pack = report([_fact(state="PA")], RULES, rounding=Rounding.BRACKETS)
    assert _only(pack.lines).split.tax == Decimal("10.00")
    unknown = report([_fact(state="PA", price=None)], RULES, rounding=Rounding.BRACKETS)
    assert _only(unknown.lines).split.unclassified == Decimal("175.00")


def test_a_thousand_facts_are_quick_to_look_up() -> None:
    """Rules are found once for sales that are alike, however many facts name them."""
    asked = []

    class Counted(Rules):
        def find(self, sale: Sale):  # type: ignore[no-untyped-def]
            asked.append(sale)
            return super().find(sale)

    report([_fact() for _ in range(1000)], Counted(RULES.by_state))
    assert len(asked) == 1


def test_every_rule_of_a_pack_names_its_source() -> None:
    rules: tuple[Rule, ...] = packs()
    assert len({rule.state for rule in rules}) >= 10
    assert all(rule.citation and rule.status for rule in rules)
