"""Energy limits of refrigerated machines against 10 CFR 431.296, both eras and all classes."""

from datetime import date
from decimal import Decimal

import pytest

from service.compute.energy import LITRES_PER_CUBIC_FOOT, EnergyClass, judge, limit

OLD, NEW = date(2012, 8, 31), date(2019, 1, 8)


def daily(energy_class: str, cubic_feet: str, made_on: date) -> Decimal | None:
    litres = Decimal(cubic_feet) * LITRES_PER_CUBIC_FOOT
    return limit(EnergyClass(energy_class), litres, made_on).kwh_per_day


@pytest.mark.parametrize(
    ("energy_class", "values"),
    # 10 CFR 431.296(b), machines made on or after 8 January 2019: 0.052 V + 2.43, 0.052 V + 2.20,
    # 0.086 V + 2.66, 0.111 V + 2.04, V in cubic feet; worked for five volumes.
    [
        ("A", ["2.950", "3.470", "3.756", "3.990", "4.510"]),
        ("B", ["2.720", "3.240", "3.526", "3.760", "4.280"]),
        ("combination A", ["3.520", "4.380", "4.853", "5.240", "6.100"]),
        ("combination B", ["3.150", "4.260", "4.8705", "5.370", "6.480"]),
    ],
)
def test_machines_of_2019_and_after(energy_class: str, values: list[str]) -> None:
    found = [daily(energy_class, v, NEW) for v in ("10", "20", "25.5", "30", "40")]
    assert found == [Decimal(value) for value in values]


@pytest.mark.parametrize(
    ("energy_class", "volume", "kwh"),
    # 10 CFR 431.296(a), made from 31 August 2012 on: 0.055 V + 2.56 and 0.073 V + 3.16.
    [("A", "20", "3.660"), ("A", "30", "4.210"), ("B", "20", "4.620"), ("B", "30", "5.350")],
)
def test_machines_of_2012_to_2019(energy_class: str, volume: str, kwh: str) -> None:
    assert daily(energy_class, volume, OLD) == Decimal(kwh)
    assert daily(energy_class, volume, date(2019, 1, 7)) == Decimal(kwh)


@pytest.mark.parametrize("energy_class", ["combination A", "combination B"])
def test_combinations_had_no_limit_before_2019(energy_class: str) -> None:
    # The rule has reserved their place.
    assert daily(energy_class, "25", date(2019, 1, 7)) is None
    assert daily(energy_class, "25", NEW) is not None


def test_no_limit_stood_before_2012() -> None:
    assert daily("A", "25", date(2012, 8, 30)) is None


def test_the_combinations_cross_at_24_8_cubic_feet() -> None:
    # (2.66 - 2.04) / (0.111 - 0.086).
    assert daily("combination A", "24.8", NEW) == daily("combination B", "24.8", NEW)
    below_a, below_b = daily("combination A", "24", NEW), daily("combination B", "24", NEW)
    above_a, above_b = daily("combination A", "26", NEW), daily("combination B", "26", NEW)
    assert below_a is not None
    assert below_b is not None
    assert above_a is not None
    assert above_b is not None
    assert below_a > below_b
    assert above_a < above_b


@pytest.mark.parametrize(
    ("a_day", "a_year"),
    # Federal Energy Management Program, vending machines (March 2013).
    [("4.22", 1540), ("4.42", 1613), ("4.91", 1792)],
)
def test_a_year_of_days(a_day: str, a_year: int) -> None:
    allowed = limit(EnergyClass.A, Decimal(700), NEW)
    assert judge(Decimal(a_day) * 10, Decimal(10), allowed).kwh_per_year == a_year


def test_what_was_measured_beside_the_limit() -> None:
    allowed = limit(EnergyClass.A, 20 * LITRES_PER_CUBIC_FOOT, NEW)  # 3.470 kWh a day
    assert judge(Decimal("34.70"), Decimal(10), allowed).within is True
    assert judge(Decimal("34.71"), Decimal(10), allowed).within is False
