"""Calories: who is covered and how values are rounded, against 21 CFR 101.8 and 101.9."""

from datetime import date
from decimal import Decimal

import pytest

from service.compute.calories import coverage, declared


@pytest.mark.parametrize(
    ("kcal", "shown"),
    # 21 CFR 101.9(c)(1), as secondary texts give it: below 5 none, to 50 by 5, above 50 by 10.
    [
        ("4", 0),
        ("4.9", 0),
        ("5", 5),
        ("47", 45),
        ("48", 50),
        ("50", 50),
        ("97", 100),
        ("114", 110),
        ("115", 120),
        ("116", 120),
        ("0", 0),
        ("240", 240),
    ],
)
def test_values_are_rounded_by_the_rule(kcal: str, shown: int) -> None:
    assert declared(Decimal(kcal)) == shown


@pytest.mark.parametrize(
    ("machines", "registered", "covered"),
    # 79 FR 71259 (1 December 2014): 20 machines and more, or whoever registers by choice.
    [(19, False, False), (20, False, True), (19, True, True), (0, False, False)],
)
def test_twenty_machines_are_covered(machines: int, registered: bool, covered: bool) -> None:
    assert coverage(machines, registered=registered).covered is covered


@pytest.mark.parametrize(
    ("machines", "day", "covered"),
    # 21 CFR 101.8(d): a registration by choice is renewed every other year, or lapses. From memory;
    # read for the parallel rule of menus, 101.11(d)(5).
    [
        (19, date(2026, 11, 25), True),
        (19, date(2026, 11, 26), False),
        (20, date(2026, 11, 26), True),
    ],
)
def test_a_registration_by_choice_lapses(machines: int, day: date, covered: bool) -> None:
    found = coverage(machines, registered=True, registered_until=date(2026, 11, 25), day=day)
    assert found.covered is covered
    assert ("lapsed after 2026-11-25" in found.why) is not covered
