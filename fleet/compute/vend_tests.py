"""Test vends after a change: which to make, and what so many passes prove."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fleet.compute.positions import Position, SpiralPosition
from fleet.compute.rails import End
from fleet.compute.results import Reason
from fleet.compute.units import BadMeasure, require_count


@dataclass(frozen=True, slots=True)
class FailureBound:
    """What `passes` clean vends out of as many prove about the share that fails.

    With 95 % confidence the failure rate is below `exact`; `about` is the rule of three, 3/n.
    """

    passes: int
    exact: float
    about: float


def failure_bound(passes: int, confidence: float = 0.95) -> FailureBound:
    """The upper bound on the failure rate after `passes` vends without a failure.

    If each fails with chance p, all pass with chance (1 - p)^n; setting that to 0.05 gives
    p = 1 - 0.05^(1/n), near 3/n as -ln 0.05 = 2.996 (the rule of three; standard result).
    Raises BadMeasure.
    """
    require_count("passes", passes)
    if not 0 < confidence < 1:
        raise BadMeasure("confidence", f"{confidence} is not between 0 and 1, such as 0.95")
    exact = -math.expm1(math.log1p(-confidence) / passes)
    return FailureBound(passes=passes, exact=exact, about=min(1.0, 3 / passes))


def passes_needed(failure_rate: float, confidence: float = 0.95) -> int:
    """How many clean vends prove that fewer than `failure_rate` fail. Raises BadMeasure."""
    if not 0 < failure_rate < 1:
        raise BadMeasure("failure_rate", f"{failure_rate} is not between 0 and 1, such as 0.1")
    if not 0 < confidence < 1:
        raise BadMeasure("confidence", f"{confidence} is not between 0 and 1, such as 0.95")
    guess = max(1, math.ceil(math.log1p(-confidence) / math.log1p(-failure_rate)) - 1)
    while failure_bound(guess, confidence).exact > failure_rate:
        guess += 1
    return guess


@dataclass(frozen=True, slots=True)
class VendToTest:
    """One test vend: which half drops, which product of the layer, and what to look for."""

    number: int
    end: End | None
    product: int | None
    way: str
    look_for: str


@dataclass(frozen=True, slots=True)
class VendTestPlan:
    """The test vends of one column, and what they prove if all pass."""

    vends: tuple[VendToTest, ...]
    bound: FailureBound
    reason: Reason


def vend_test_plan(position: Position, deep: int = 1) -> VendTestPlan:
    """One test vend for every way the column can drop.

    In a stack: in each half every product of a layer, then one more, for which the next layer
    must come down. In a spiral: the first product and the one behind it. That a column is tried
    until it has dropped every way it can is common practice, no published source.
    Raises BadMeasure for a depth the position does not take.
    """
    require_count("deep", deep)
    ways: list[tuple[End | None, int | None, str, str]] = []
    if isinstance(position, SpiralPosition):
        turns: list[tuple[End | None, int | None, str, str]] = [
            (None, 1, "the first product", "it falls clear and does not hang in the spiral"),
            (None, 2, "the one behind it", "it came forward one turn and stands upright"),
        ]
        ways = turns[: position.turns]
    else:
        if deep > position.greatest_deep:
            raise BadMeasure(
                "deep",
                f"{deep} is more than position {position.label} takes: {position.greatest_deep}",
            )
        for end, _ in position.halves():
            for product in range(1, deep + 1):
                which = _which(product, deep)
                ways.append(
                    (
                        end,
                        product,
                        f"{end.value} half, {which}",
                        "one product drops, and the motor stops before another follows",
                    )
                )
            ways.append(
                (
                    end,
                    None,
                    f"{end.value} half, the next layer",
                    "the layer above came down level and lies against the beam",
                )
            )
    vends = tuple(VendToTest(index, *way) for index, way in enumerate(ways, start=1))
    bound = failure_bound(len(vends))
    return VendTestPlan(vends=vends, bound=bound, reason=what_passes_prove(bound))


def what_passes_prove(bound: FailureBound) -> Reason:
    """The bound in plain words."""
    return Reason(
        "what_passes_prove",
        f"{bound.passes} clean vends out of {bound.passes} show, at 95 %, only that fewer than "
        f"{bound.exact:.0%} of vends fail; more passes say more.",
        {"passes": bound.passes, "exact": bound.exact, "about": bound.about},
    )


def _which(product: int, deep: int) -> str:
    if deep == 1:
        return "the only one of a layer"
    if product == 1:
        return "the first of a layer"
    if product == deep:
        return "the last of a layer"
    return f"number {product} of a layer"
