"""Rounding and brackets as the rules have them."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compliance.packs import rule_by_key
from service.compute.tax.rounding import (
    PENNSYLVANIA,
    Rounding,
    by_bracket,
    half_up,
    inside_by_bracket,
)
from service.compute.tax.rules import Shape, rule_from
from service.compute.tax.split import RateOf, split

BACK_OUT = rule_from(
    {
        "key": "in",
        "state": "OH",
        "title": "tax is in the price",
        "shape": "included",
        "citation": "WAC 458-20-244; CDTFA Publication 118; 34 TAC 3.293",
        "status": "read",
    }
)
GROSS = rule_from(
    {
        "key": "on",
        "state": "OH",
        "title": "tax on receipts",
        "shape": "percent_of_gross",
        "share": "1",
        "citation": "SSUTA section 324",
        "status": "read",
    }
)


def test_new_jerseys_example() -> None:
    """20.00 x 0.06625 = 1.325 gives 1.33 (New Jersey's example to SSUTA section 324)."""
    assert half_up(Decimal("20.00") * Decimal("0.06625")) == Decimal("1.33")


def test_by_item_and_by_invoice() -> None:
    """SSUTA section 324 allows both: 3 x 1.25 at 6.625 % is 0.24 or 0.25."""
    rate = Decimal("0.06625")
    assert 3 * half_up(Decimal("1.25") * rate) == Decimal("0.24")
    assert half_up(3 * Decimal("1.25") * rate) == Decimal("0.25")


def test_each_jurisdiction_by_itself_or_together() -> None:
    """2.00 at 5.75 % + 1.25 %: Ohio's instructions reckon each by itself."""
    rates = (
        RateOf("OH", "Ohio", "state", Decimal("0.0575")),
        RateOf("OH-1", "a county", "county", Decimal("0.0125")),
    )
    apart = split(Decimal("2.00"), GROSS, rates, rounding=Rounding.BY_JURISDICTION)
    together = split(Decimal("2.00"), GROSS, rates)
    assert [one.tax for one in apart.due] == [Decimal("0.12"), Decimal("0.03")]
    assert (apart.tax, together.tax) == (Decimal("0.15"), Decimal("0.14"))
    assert sum(one.tax for one in together.due) == together.tax


@pytest.mark.parametrize(
    ("price", "percent", "net", "tax"),
    [
        ("1.25", "6", "1.18", "0.07"),
        ("1.25", "7", "1.17", "0.08"),
        ("1.25", "7.25", "1.17", "0.08"),
        ("1.25", "8.25", "1.15", "0.10"),
        ("1.25", "8.875", "1.15", "0.10"),
        ("1.50", "6", "1.42", "0.08"),
        ("1.50", "7", "1.40", "0.10"),
        ("1.50", "7.25", "1.40", "0.10"),
        ("1.50", "8.25", "1.39", "0.11"),
        ("1.50", "8.875", "1.38", "0.12"),
        ("2.00", "6", "1.89", "0.11"),
        ("2.00", "7", "1.87", "0.13"),
        ("2.00", "7.25", "1.86", "0.14"),
        ("2.00", "8.25", "1.85", "0.15"),
        ("2.00", "8.875", "1.84", "0.16"),
        ("2.50", "6", "2.36", "0.14"),
        ("2.50", "7", "2.34", "0.16"),
        ("2.50", "7.25", "2.33", "0.17"),
        ("2.50", "8.25", "2.31", "0.19"),
        ("2.50", "8.875", "2.30", "0.20"),
    ],
)
def test_taking_the_tax_out(price: str, percent: str, net: str, tax: str) -> None:
    """net = price / (1 + rate), as Washington, California, Idaho and Texas have it."""
    rates = (RateOf("X", "x", "state", Decimal(percent) / 100),)
    parts = split(Decimal(price), BACK_OUT, rates)
    assert (parts.taxable, parts.tax_inside) == (Decimal(net), Decimal(tax))


def test_the_sum_first() -> None:
    """A hundred sales of 1.50 at 7 %: 140.19 on the sum, 140.00 line by line."""
    rates = (RateOf("X", "x", "state", Decimal("0.07")),)
    assert split(Decimal("150.00"), BACK_OUT, rates).taxable == Decimal("140.19")
    assert 100 * split(Decimal("1.50"), BACK_OUT, rates).taxable == Decimal("140.00")


@pytest.mark.parametrize(
    ("price", "tax"),
    [
        ("0.10", "0.00"),
        ("0.11", "0.01"),
        ("0.17", "0.01"),
        ("0.18", "0.02"),
        ("0.34", "0.02"),
        ("0.35", "0.03"),
        ("0.50", "0.03"),
        ("0.51", "0.04"),
        ("0.67", "0.04"),
        ("0.68", "0.05"),
        ("0.84", "0.05"),
        ("0.85", "0.06"),
        ("1.00", "0.06"),
        ("1.25", "0.08"),
        ("1.75", "0.11"),
        ("2.00", "0.12"),
    ],
)
def test_pennsylvanias_brackets(price: str, tax: str) -> None:
    """61 Pa. Code 31.2, at 6 %."""
    assert by_bracket(Decimal(price), PENNSYLVANIA) == Decimal(tax)


def test_where_brackets_and_half_up_differ() -> None:
    """18, 35 and 68 cents bear a cent more by the table than by rounding at 6 %."""
    for price, more in (("0.18", 1), ("0.35", 1), ("0.68", 1), ("1.25", 0), ("1.75", 0)):
        by_table = by_bracket(Decimal(price), PENNSYLVANIA)
        rounded = half_up(Decimal(price) * Decimal("0.06"))
        assert by_table - rounded == Decimal(more).scaleb(-2)


@pytest.mark.parametrize(
    ("paid", "tax"),
    [("0.10", 0), ("0.12", 1), ("0.36", 2), ("1.06", 6), ("1.75", 10), ("2.12", 12)],
)
def test_what_a_price_holds_by_the_table(paid: str, tax: int) -> None:
    """61 Pa. Code 31.2 read backwards: 1.65 bears 10 cents, so 1.75 holds 10."""
    assert inside_by_bracket(Decimal(paid), PENNSYLVANIA) == Decimal(tax).scaleb(-2)


@given(st.integers(0, 2000).map(lambda n: Decimal(n).scaleb(-2)))
def test_the_table_backwards_undoes_the_table(net: Decimal) -> None:
    paid = net + by_bracket(net, PENNSYLVANIA)
    assert inside_by_bracket(paid, PENNSYLVANIA) == by_bracket(net, PENNSYLVANIA)


def test_the_pack_has_the_table() -> None:
    rule = rule_by_key("pa-taxable")
    assert rule
    assert rule.brackets == PENNSYLVANIA


def test_shapes_have_words() -> None:
    assert all(shape.words for shape in Shape)
