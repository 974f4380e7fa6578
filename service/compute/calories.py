"""Calories at machines: who must show them, how they are rounded, how large the sign's type is.

21 CFR 101.8 (calorie declaration for foods sold from vending machines) and 101.9(c)(1) (rounding).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from fleet.compute.units import BadMeasure

COVERED_FROM: Final = 20
"""Machines that one person owns or operates (79 FR 71259, 1 December 2014)."""
CITATION: Final = "21 CFR 101.8"
STATUS: Final = "read"
ROUNDING_CITATION: Final = "21 CFR 101.9(c)(1)"
ROUNDING_STATUS: Final = "secondary"
FRONT_TYPE_PERCENT: Final = 150
"""Least type size of calories on a package's front, of its net quantity's (84 FR 57603)."""
MOST_KCAL: Final = Decimal(10_000)


@dataclass(frozen=True, slots=True)
class Coverage:
    """Whether the operator must show calories, and why."""

    covered: bool
    machines: int
    registered: bool
    why: str
    citation: str = CITATION
    status: str = STATUS


@dataclass(frozen=True, slots=True)
class Shown:
    """Whether a machine needs a sign with calories, and why."""

    sign: bool
    why: str


def coverage(
    machines: int,
    *,
    registered: bool = False,
    registered_until: date | None = None,
    day: date | None = None,
) -> Coverage:
    """Whether somebody who operates so many machines must show calories. Raises BadMeasure.

    A registration by choice holds through `registered_until` and lapses after it, for it is
    renewed every other year (the parallel menu rule, 21 CFR 101.11(d)(5), read; of 101.8(d), from
    memory). Without a `day` to judge it by, or a last day, it holds.
    """
    if isinstance(machines, bool) or machines < 0:
        raise BadMeasure("machines", f"{machines} cannot be used; give a whole number from 0 up")
    if machines >= COVERED_FROM:
        why = f"{machines} machines are operated; {COVERED_FROM} and more are covered"
        return Coverage(True, machines, registered, why)
    if registered and registered_until and day and registered_until < day:
        why = (
            f"{machines} machines are operated, fewer than {COVERED_FROM}, and the registration by "
            f"choice lapsed after {registered_until}; renew it to go by the rule again"
        )
        return Coverage(False, machines, False, why)
    if registered:
        until = f" until {registered_until}" if registered_until else ""
        why = (
            f"registered by choice{until}, machines in service: {machines}; renew every other year"
        )
        return Coverage(True, machines, registered, why)
    why = f"{machines} machines are operated, fewer than {COVERED_FROM}, and none registered"
    return Coverage(False, machines, registered, why)


def shown(operator: Coverage, *, front_hides_label: bool) -> Shown:
    """Whether a machine needs a sign: not where the buyer can read the package before paying."""
    if not operator.covered:
        return Shown(False, f"not covered: {operator.why}")
    if front_hides_label:
        return Shown(True, "the front hides the package; the sign shows its calories before paying")
    return Shown(
        False,
        "the buyer can read the Nutrition Facts or calories on the package's front, in type of at "
        f"least {FRONT_TYPE_PERCENT} percent of the net quantity's; where not, a sign is needed",
    )


def declared(kcal: Decimal) -> int:
    """Calories as declared: below 5 none, to 50 the nearest 5, above the nearest 10.

    Of the whole package as sold (from memory). Halves go up. Raises BadMeasure.
    """
    if not kcal.is_finite() or not 0 <= kcal <= MOST_KCAL:
        raise BadMeasure("kcal", f"{kcal} kcal cannot be used; give from 0 to {MOST_KCAL} kcal")
    if kcal < 5:
        return 0
    step = 5 if kcal <= 50 else 10
    return step * int((kcal / step).to_integral_value(rounding=ROUND_HALF_UP))
