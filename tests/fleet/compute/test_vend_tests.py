from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.cautions import Work, cautions_for
from fleet.compute.rails import End
from fleet.compute.units import BadMeasure
from fleet.compute.vend_tests import failure_bound, passes_needed, vend_test_plan

from .sizes import BOTH, FRONT, SPIRAL


def test_every_way_a_column_can_drop_is_tried():
    plan = vend_test_plan(BOTH, deep=2)

    assert [(vend.end, vend.product) for vend in plan.vends] == [
        (End.FRONT, 1),
        (End.FRONT, 2),
        (End.FRONT, None),
        (End.REAR, 1),
        (End.REAR, 2),
        (End.REAR, None),
    ]
    assert [vend.number for vend in plan.vends] == [1, 2, 3, 4, 5, 6]
    assert plan.bound.passes == 6
    assert "6 clean vends out of 6" in plan.reason.text
    # 1 - 0.05^(1/6) = 0.39304, by hand.
    assert "39%" in plan.reason.text


def test_a_spiral_is_tried_twice_where_it_has_two_turns():
    assert len(vend_test_plan(SPIRAL).vends) == 2
    assert len(vend_test_plan(replace(SPIRAL, turns=1)).vends) == 1


def test_a_depth_the_position_does_not_take_is_refused():
    with pytest.raises(BadMeasure, match="deep"):
        vend_test_plan(FRONT, deep=3)


@given(st.integers(1, 10_000))
def test_the_bound_is_where_all_passing_has_one_chance_in_twenty(passes):
    bound = failure_bound(passes)
    assert (1 - bound.exact) ** passes == pytest.approx(0.05)
    assert bound.exact <= bound.about


@given(st.floats(0.001, 0.9))
def test_the_passes_needed_prove_the_rate_and_one_fewer_do_not(rate):
    needed = passes_needed(rate)
    assert failure_bound(needed).exact <= rate
    assert needed == 1 or failure_bound(needed - 1).exact > rate


@pytest.mark.parametrize("passes", [0, -1])
def test_no_passes_prove_nothing(passes):
    with pytest.raises(BadMeasure):
        failure_bound(passes)


@pytest.mark.parametrize("work", Work)
def test_every_list_of_cautions_begins_with_the_plug_and_ends_with_the_manual(work):
    codes = [caution.code for caution in cautions_for(work)]
    assert codes[0] == "unplug_first"
    assert codes[-1] == "manual_first"
    assert len(set(codes)) == len(codes)
