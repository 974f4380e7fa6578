"""California: 18 CCR 1574 and the factors that CDTFA Publication 118 (June 2023) prints."""

from decimal import Decimal

import pytest

from service.compliance.packs import rule_by_key
from service.compute.tax.rules import Rule
from service.compute.tax.split import RateOf, split

# Rate in percent, factor in full, factor at 33 %: the publication's table.
FACTORS = """
7.250 93.2401 32.2289
7.375 93.1315 32.2160
7.500 93.0233 32.2030
7.625 92.9152 32.1900
7.750 92.8074 32.1771
7.875 92.6999 32.1641
7.975 92.6140 32.1538
8.000 92.5926 32.1512
8.125 92.4855 32.1383
8.225 92.4001 32.1280
8.250 92.3788 32.1254
8.350 92.2935 32.1151
8.375 92.2722 32.1125
8.475 92.1871 32.1022
8.500 92.1659 32.0996
8.625 92.0598 32.0868
8.725 91.9752 32.0765
8.750 91.9540 32.0739
8.875 91.8485 32.0610
8.975 91.7642 32.0508
9.000 91.7431 32.0482
9.125 91.6380 32.0353
9.225 91.5541 32.0251
9.250 91.5332 32.0225
9.375 91.4286 32.0097
9.500 91.3242 31.9969
9.625 91.2201 31.9841
9.750 91.1162 31.9713
9.875 91.0125 31.9586
10.000 90.9091 31.9458
10.250 90.7029 31.9203
10.500 90.4977 31.8949
10.750 90.2935 31.8695
"""
ROWS = [tuple(map(Decimal, line.split())) for line in FACTORS.split("\n") if line]
MUCH = Decimal(10**12)


def _rule(key: str) -> Rule:
    found = rule_by_key(key)
    assert found
    return found


def _at(percent: Decimal) -> tuple[RateOf, ...]:
    return (RateOf("CA", "California", "state", percent / 100),)


def test_the_table_is_whole() -> None:
    assert len(ROWS) == 33


@pytest.mark.parametrize(("percent", "full", "third"), ROWS)
def test_factors(percent: Decimal, full: Decimal, third: Decimal) -> None:
    """In full to the last digit. At 33 % within a ten-thousandth of a point: the printed column
    follows neither the exact formula nor the rounded constant all the way down."""
    whole = split(MUCH, _rule("ca-carbonated"), _at(percent)).taxable / MUCH * 100
    assert round(whole, 4) == full
    part = split(MUCH, _rule("ca-food"), _at(percent)).taxable / MUCH * 100
    assert abs(part - third) <= Decimal("0.00015")
    assert abs(round(part, 4) - third) <= Decimal("0.0001")


def test_the_regulations_own_example() -> None:
    """18 CCR 1574: 10,000.00 at 7.25 %."""
    parts = split(Decimal("10000.00"), _rule("ca-food"), _at(Decimal("7.25")))
    assert (parts.taxable, parts.tax, parts.exempt) == (
        Decimal("3222.89"),
        Decimal("233.66"),
        Decimal("6543.45"),
    )
    proof = (Decimal(10000) - parts.tax) * Decimal("0.33")
    assert round(proof, 2) == parts.taxable


def test_another_sum() -> None:
    """Arithmetic by the same formula."""
    receipts, rates = Decimal("2437.50"), _at(Decimal("9.5"))
    food, full = (split(receipts, _rule(key), rates) for key in ("ca-food", "ca-carbonated"))
    assert (food.taxable, food.tax, food.exempt) == (
        Decimal("779.92"),
        Decimal("74.09"),
        Decimal("1583.49"),
    )
    assert (full.taxable, full.tax) == (Decimal("2226.03"), Decimal("211.47"))
