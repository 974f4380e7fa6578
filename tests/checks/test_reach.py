"""Reach and force against the 2010 ADA Standards for Accessible Design, 308 and 309."""

from decimal import Decimal

import pytest

from service.compute.reach import Approach, Obstruction, Part, Verdict, judge


def inches(value: str) -> int:
    """In whole mm, as a tape is read."""
    return round(Decimal(value) * Decimal("25.4"))


def met(
    height_in: str,
    *,
    force_lbf: str | None = None,
    approach: Approach = Approach.SIDE,
    over: tuple[str, str] | None = None,
) -> bool:
    # 1 lbf is 4.4482 N; NIST SP 811.
    force = None if force_lbf is None else round(Decimal(force_lbf) * Decimal("4.4482"), 1)
    obstruction = None if over is None else Obstruction(inches(over[0]), inches(over[1]))
    parts = (Part("coin slot", inches(height_in), force),)
    return judge(parts, approach, obstruction).verdict is Verdict.MET


@pytest.mark.parametrize("approach", list(Approach))
@pytest.mark.parametrize(
    ("height_in", "within"),
    # 308.2.1 and 308.3.1: 48 in at most, 15 in at least.
    [("47", True), ("48", True), ("49", False), ("15", True), ("14.5", False)],
)
def test_unobstructed(approach: Approach, height_in: str, within: bool) -> None:
    assert met(height_in, approach=approach) is within


@pytest.mark.parametrize(
    ("force_lbf", "within"),
    [("4.9", True), ("5", True), ("5.5", False)],  # 309.4: 5 lbf (22.2 N).
)
def test_force(force_lbf: str, within: bool) -> None:
    assert met("40", force_lbf=force_lbf) is within


@pytest.mark.parametrize(
    ("height_in", "depth_in", "within"),
    # 308.2.2: 48 in over up to 20 in, 44 in over 20 to 25 in, nothing beyond.
    [
        ("48", "20", True),
        ("44", "22", True),
        ("45", "22", False),
        ("44", "25", True),
        ("40", "26", False),
    ],
)
def test_forward_over_something(height_in: str, depth_in: str, within: bool) -> None:
    assert met(height_in, approach=Approach.FORWARD, over=("30", depth_in)) is within


@pytest.mark.parametrize(
    ("height_in", "high_in", "depth_in", "within"),
    # 308.3.1 (exception) and 308.3.2: 48 in past up to 10 in, 46 in past 10 to 24 in, 34 in high.
    [
        ("48", "30", "10", True),
        ("47", "30", "18", False),
        ("46", "30", "18", True),
        ("46", "34", "24", True),
        ("46", "36", "18", False),
        ("40", "30", "25", False),
    ],
)
def test_side_past_something(height_in: str, high_in: str, depth_in: str, within: bool) -> None:
    assert met(height_in, over=(high_in, depth_in)) is within
