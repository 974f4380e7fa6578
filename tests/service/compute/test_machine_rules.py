"""Energy, calories and reach: what is said, what to change, what is refused."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.units import BadMeasure
from service.compute.calories import coverage, declared, shown
from service.compute.energy import EnergyClass, judge, limit
from service.compute.reach import Approach, Obstruction, Part, Verdict
from service.compute.reach import judge as judge_reach

NEW = date(2020, 1, 1)


def test_no_limit_is_said_and_never_met_or_broken() -> None:
    allowed = limit(EnergyClass.A, Decimal(700), date(2010, 1, 1))
    assert "2012-08-31" in allowed.why[0]
    found = judge(Decimal(100), Decimal(10), allowed)
    assert (found.within, found.share) == (None, None)


def test_few_days_are_said() -> None:
    allowed = limit(EnergyClass.A, Decimal(700), NEW)
    assert "few" in judge(Decimal(5), Decimal(2), allowed).said
    assert "few" not in judge(Decimal(50), Decimal(20), allowed).said


@given(litres=st.integers(1, 5000), more=st.integers(1, 1000))
def test_a_larger_room_may_use_more(litres: int, more: int) -> None:
    for one in EnergyClass:
        small = limit(one, Decimal(litres), NEW).kwh_per_day
        large = limit(one, Decimal(litres + more), NEW).kwh_per_day
        assert small is not None
        assert large is not None
        assert small < large


@given(tenths=st.integers(0, 20_000))
def test_declared_calories_are_near_and_round(tenths: int) -> None:
    kcal = Decimal(tenths) / 10
    found = declared(kcal)
    assert found % 5 == 0
    assert abs(found - kcal) <= 5
    assert declared(kcal + 10) >= found


def test_only_a_covered_operators_hidden_labels_need_a_sign() -> None:
    assert shown(coverage(20), front_hides_label=True).sign
    assert not shown(coverage(20), front_hides_label=False).sign
    assert not shown(coverage(19), front_hides_label=True).sign


def test_what_to_change_is_said_in_millimetres() -> None:
    found = judge_reach((Part("coin slot", 1250), Part("product door", 300)), Approach.SIDE)
    assert found.verdict is Verdict.NOT_MET
    assert "30 mm lower" in found.change[0]
    assert "80 mm higher" in found.change[1]
    assert not found.complete


def test_an_obstruction_nobody_reaches_past_is_to_be_cleared() -> None:
    found = judge_reach(
        (Part("coin slot", 1000, Decimal(10)),), Approach.SIDE, Obstruction(800, 700)
    )
    assert found.verdict is Verdict.NOT_MET
    assert "90 mm less deep" in found.change[0]
    assert found.complete


@given(height=st.integers(0, 3000), force=st.integers(0, 100), depth=st.integers(0, 800))
def test_clearing_the_way_never_makes_it_worse(height: int, force: int, depth: int) -> None:
    parts = (Part("slot", height, Decimal(force)),)
    for approach in Approach:
        if judge_reach(parts, approach, Obstruction(700, depth)).verdict is Verdict.MET:
            assert judge_reach(parts, approach).verdict is Verdict.MET


@pytest.mark.parametrize(
    ("ask", "field"),
    [
        (lambda: limit(EnergyClass.A, Decimal(0), NEW), "volume_l"),
        (lambda: judge(Decimal(-1), Decimal(1), limit(EnergyClass.A, Decimal(9), NEW)), "kwh"),
        (lambda: judge(Decimal(1), Decimal(0), limit(EnergyClass.A, Decimal(9), NEW)), "days"),
        (lambda: declared(Decimal(-1)), "kcal"),
        (lambda: coverage(-1), "machines"),
        (lambda: Part("slot", -1), "slot.height_mm"),
        (lambda: Part("slot", 1, Decimal(-1)), "slot.force_n"),
        (lambda: judge_reach((), Approach.SIDE), "parts"),
        (lambda: judge_reach((Part("slot", 1), Part("slot", 2)), Approach.SIDE), "parts"),
    ],
)
def test_what_cannot_be_is_refused_by_field(ask, field: str) -> None:
    with pytest.raises(BadMeasure) as refused:
        ask()
    assert refused.value.field == field
