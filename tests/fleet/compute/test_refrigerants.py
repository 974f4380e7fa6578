"""What is said of refrigerants, by what the plate says."""

from decimal import Decimal

import pytest

from fleet.compute.refrigerants import designation, refrigerant_cautions


def codes(refrigerant: str, charge_g: str | None = None) -> list[str]:
    charge = None if charge_g is None else Decimal(charge_g)
    return [one.code for one in refrigerant_cautions(refrigerant, charge)]


@pytest.mark.parametrize(
    ("typed", "name"),
    [("r290", "R-290"), (" R 600a ", "R-600A"), ("R-134a", "R-134A"), ("CO2", "CO2")],
)
def test_designations_are_read_as_people_write_them(typed: str, name: str) -> None:
    assert designation(typed) == name


@pytest.mark.parametrize(
    ("refrigerant", "charge_g", "found"),
    [
        # Safety classes of ASHRAE 34, from memory; 150 g to a circuit, read for ice machines.
        ("R-290", "150", ["refrigerant_burns", "recover_before_disposal"]),
        ("R-290", "150.1", ["refrigerant_burns", "charge_above_limit", "recover_before_disposal"]),
        ("R-32", None, ["refrigerant_hardly_burns", "recover_before_disposal"]),
        ("R-744", None, ["refrigerant_under_pressure", "recover_before_disposal"]),
        ("R-134a", "300", ["refrigerant_named", "recover_before_disposal"]),
        # 40 CFR 82.152: a small appliance holds 5 lb and less.
        ("R-134a", "2268", ["refrigerant_named", "not_a_small_appliance"]),
        ("", None, ["refrigerant_unknown"]),
    ],
)
def test_what_is_said(refrigerant: str, charge_g: str | None, found: list[str]) -> None:
    assert codes(refrigerant, charge_g) == found
