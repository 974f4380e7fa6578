"""The steps of a changeover, as said for each column. Common practice, no published source."""

from dataclasses import replace

import pytest

from fleet.compute.positions import Half, SpiralPosition, StackPosition
from fleet.compute.rails import End, Rail
from fleet.compute.results import Hold
from fleet.compute.units import Units
from fleet.compute.worksheet import Step, Wish, steps

HALF = Half(252.0, Rail(92.0, 8.0, 21))
BOTH = StackPosition("3", 84.0, 900.0, front=HALF, rear=HALF)
CANS = Wish("Cola", 2, 20, 20, "stop", "1.50 USD", "Cola picture", 60)
TEA = Wish("Tea", 1, 10, 16, "run on", "2.25 USD", "Tea picture", 26)
SPIRAL = SpiralPosition("A1", 10, 40.0, 200.0, 70.0)
BAG = Wish("Crisps", 1, None, None, None, "1.75 USD", "Crisps picture", 10)


def codes(found: tuple[Step, ...]) -> list[str]:
    return [step.code for step in found]


def test_both_rails_are_said_as_a_hand_finds_them_with_what_they_were() -> None:
    found = {step.code: step for step in steps(BOTH, CANS, TEA)}
    assert found["set_front"].setting == "10"
    assert "the third mark, then one more (was 20)" in found["set_front"].text
    assert found["set_rear"].setting == "16"
    assert found["program"].setting == "run on"


def test_what_stays_is_said_to_stay() -> None:
    same = replace(TEA, product="Green tea", picture="Green tea picture")
    found = {step.code: step for step in steps(BOTH, TEA, same)}
    changed = {code for code, step in found.items() if step.changes}
    assert not {"set_front", "set_rear", "program", "price"} & changed
    assert "stays at" in found["set_front"].text
    assert found["picture"].changes


@pytest.mark.parametrize(
    ("holds", "expected"),
    [
        ({End.FRONT: Hold.NECK, End.REAR: Hold.END}, ["check_neck", "check_play"]),
        ({End.FRONT: Hold.CAP, End.REAR: Hold.END}, ["check_cap", "check_play"]),
        ({}, ["check_play"]),
    ],
)
def test_the_check_is_that_of_the_hold(holds: dict[End, Hold], expected: list[str]) -> None:
    found = codes(steps(BOTH, CANS, TEA, holds=holds))
    assert [code for code in found if code.startswith("check_")] == expected


@pytest.mark.parametrize(("deep", "changes"), [(1, True), (2, False)])
def test_without_a_recorded_program_the_depth_is_still_to_be_set(deep: int, changes: bool) -> None:
    """Left as it was, the board would give two for one payment."""
    after = replace(TEA, deep=deep, program=None)
    step = {one.code: one for one in steps(BOTH, CANS, after)}["program"]
    assert (step.setting, step.changes) == (f"{deep} deep", changes)


def test_play_is_spoken_in_the_businesss_unit() -> None:
    by_inch = {s.code: s for s in steps(BOTH, CANS, TEA, units=Units.INCHES)}
    assert "about 0.25 in" in by_inch["check_play"].text


def test_a_spiral_has_no_spacers_and_no_program() -> None:
    found = codes(steps(SPIRAL, None, BAG))
    assert found == ["empty", "set_spiral", "price", "picture", "fill", "test", "note"]


def test_a_column_never_set_up_is_emptied_of_whatever_is_in_it() -> None:
    assert "Take all products out" in steps(BOTH, None, TEA)[0].text
