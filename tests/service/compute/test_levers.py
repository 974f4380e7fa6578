"""Levers of a machine: a week's gain by visits, prices and places, under the same beliefs."""

import numpy as np
import pytest

from fleet.compute.restock.arrangements import Arrangement, Machine, Products
from fleet.compute.units import BadMeasure
from service.compute.levers import buyers_to_lose, moving, price, rhythm

PRICE, COST = 175.0, 75.0


def machine(weekly: float = 30.0, held: int = 20, sd: float = 0.0, gap: float = 7.0) -> Machine:
    known = Products.of([1], weekly, PRICE - COST, weekly_sd_units=sd)
    return Machine.of([1], known, [[held]], Arrangement.of([0], [held]), visit_days=gap)


def test_the_rhythm_of_now_changes_nothing() -> None:
    (same,) = rhythm(machine(), visit_minor=1500, gaps=[7])
    assert (same.gain_minor, same.low_minor, same.high_minor) == (0, 0, 0)


def test_more_visits_pay_where_a_column_runs_dry_and_cost_where_it_does_not() -> None:
    # 30 a week from a column of 20: one visit more a week sells the ten that were lost.
    (often,) = rhythm(machine(), visit_minor=0, gaps=[3.5])
    assert 800 < often.gain_minor < 1300
    (dear,) = rhythm(machine(), visit_minor=1500, gaps=[3.5])
    assert dear.gain_minor == pytest.approx(often.gain_minor - 1500)
    (seldom,) = rhythm(machine(weekly=2, held=40), visit_minor=1500, gaps=[14])
    assert seldom.gain_minor == pytest.approx(750, abs=5)  # half a visit a week less


def test_a_price_nobody_minds_is_all_gain() -> None:
    found = price(machine(held=200), [PRICE], part=1.1, elasticity=(0, 0))
    assert found.gain_minor == pytest.approx(30 * PRICE * 0.1, rel=1e-6)
    assert found.chance_of_gain == 1


def test_a_price_follows_its_elasticity() -> None:
    # By hand: 30 x 1.1^-1 units at a margin of 100 + 17.5, against 30 at 100.
    found = price(machine(held=200), [PRICE], part=1.1, elasticity=(1, 1))
    assert found.gain_minor == pytest.approx(30 / 1.1 * 117.5 - 3000, rel=1e-3)
    unsure = price(machine(held=200), [PRICE], part=1.1, elasticity=(0, 3))
    assert unsure.low_minor < 0 < unsure.high_minor
    assert 0 < unsure.chance_of_gain < 1


def test_how_many_buyers_a_rise_may_cost() -> None:
    share = buyers_to_lose(100, 25)
    assert (1 - share) * 125 == pytest.approx(100)
    assert buyers_to_lose(100, 0) == 0


def test_another_place_is_any_of_those_of_like_machines() -> None:
    others = np.array([1000.0, 2000, 3000, 4000, 5000])
    found = moving(2500, others, work_minor=1300, weeks=13)
    assert found is not None
    assert found.gain_minor == pytest.approx(3000 - 2500 - 100)
    assert found.chance_of_gain == pytest.approx(3 / 5)
    assert moving(2500, others[:4], work_minor=0, weeks=13) is None


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(BadMeasure):
        rhythm(machine(), visit_minor=-1, gaps=[7])
    with pytest.raises(BadMeasure):
        rhythm(machine(), visit_minor=1, gaps=[0])
    with pytest.raises(BadMeasure):
        price(machine(), [PRICE, PRICE], part=1.1, elasticity=(0, 1))
    with pytest.raises(BadMeasure):
        price(machine(), [PRICE], part=1.1, elasticity=(2, 1))
    with pytest.raises(BadMeasure):
        moving(1, [1] * 9, work_minor=0, weeks=0)
