"""Florida: the divisors of Rule 12A-15.011(2)(b), F.A.C., and sums reckoned with them."""

from datetime import date
from decimal import ROUND_HALF_UP, Decimal

import pytest

from service.compliance.packs import packs, rule_by_key
from service.compute.tax.classes import ClassCode
from service.compute.tax.rules import Rule, Rules, Sale
from service.compute.tax.split import RateOf, split

# Surtax of the county, divisor for food and drink, divisor for other goods; the rule's own table.
TABLE = [
    ("0", "1.0645", "1.0659"),
    ("0.0025", "1.06655", "1.0683"),
    ("0.005", "1.0686", "1.0707"),
    ("0.0075", "1.0706", "1.0727"),
    ("0.01", "1.0726", "1.0749"),
    ("0.0125", "1.07465", "1.0770"),
    ("0.015", "1.0767", "1.0791"),
    ("0.0175", "1.0788", "1.0812"),
    ("0.02", "1.0808", "1.0833"),
]
STATE = RateOf("FL", "Florida", "state", Decimal("0.06"))


def _rule(key: str) -> Rule:
    found = rule_by_key(key)
    assert found
    return found


def _county(surtax: str) -> RateOf:
    return RateOf("FL-00-1", "a county", "county", Decimal(surtax))


@pytest.mark.parametrize(("surtax", "food", "other"), TABLE)
def test_divisor_of_every_surtax(surtax: str, food: str, other: str) -> None:
    rates = (STATE, _county(surtax))
    for key, by in (("fl-food", food), ("fl-other", other)):
        parts = split(Decimal("12345.67"), _rule(key), rates)
        exact = Decimal("12345.67") / Decimal(by)
        assert parts.taxable == exact.quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)
        assert parts.taxable + parts.tax == Decimal("12345.67")


@pytest.mark.parametrize(
    ("receipts", "surtax", "key", "taxable", "tax"),
    [
        # Arithmetic by the rule's divisors, half up; the rule prints no sums of its own.
        ("1000.00", "0", "fl-food", "939.41", "60.59"),
        ("1000.00", "0", "fl-other", "938.17", "61.83"),
        ("10000.00", "0.01", "fl-food", "9323.14", "676.86"),
        ("10000.00", "0.01", "fl-other", "9303.19", "696.81"),
    ],
)
def test_sums(receipts: str, surtax: str, key: str, taxable: str, tax: str) -> None:
    parts = split(Decimal(receipts), _rule(key), (STATE, _county(surtax)))
    assert (parts.taxable, parts.tax) == (Decimal(taxable), Decimal(tax))
    assert sum(one.tax for one in parts.due) == parts.tax


def test_a_rate_that_the_table_does_not_have_is_not_guessed() -> None:
    parts = split(Decimal("10.00"), _rule("fl-food"), (STATE, _county("0.011")))
    assert parts.unclassified == Decimal("10.00")
    assert "no divisor for 7.1 %" in parts.why[0]


def test_drinks_before_july_1999() -> None:
    """TIP 99A01-15: 1.0665 until 30 June 1999, 1.0645 from then on."""
    rules = Rules.of(packs())
    for on, by in ((date(1999, 6, 30), "1.0665"), (date(1999, 7, 1), "1.0645")):
        found = rules.find(Sale("FL", on, ClassCode.SOFT_DRINK, Decimal("0.75"))).rule
        assert found
        parts = split(Decimal(by) * 1000, found, (STATE,))
        assert (parts.taxable, parts.tax) == (1000, Decimal(by) * 1000 - 1000)
