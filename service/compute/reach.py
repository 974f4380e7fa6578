"""Whether people who sit can use a machine where it stands, and what to change if not.

2010 ADA Standards for Accessible Design: 308 (reach ranges) and 309 (operable parts). Lengths in mm
from the floor, force in newtons. Limits are the standard's own metric figures beside its inches;
those of 1220, 380 and 22.2 N were read, the others are rounded as the standard does (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

from fleet.compute.units import BadMeasure

CITATION: Final = "2010 ADA Standards 308, 309"
STATUS: Final = "read"
MOST_FORCE_N: Final = Decimal("22.2")
"""5 lbf (309.4)."""
HIGHEST_MM: Final = 1220
"""48 in (308.2.1, 308.3.1)."""
LOWEST_MM: Final = 380
"""15 in (308.2.1, 308.3.1)."""
CLEAR_FLOOR_MM: Final = (760, 1220)
"""30 by 48 in (305; from memory)."""
NOBODY_REACHES_MM: Final = 3000


class Approach(StrEnum):
    """How somebody in a wheelchair comes to the machine."""

    FORWARD = "forward"
    SIDE = "side"


class Verdict(StrEnum):
    MET = "met"
    NOT_MET = "not_met"


@dataclass(frozen=True, slots=True)
class Obstruction:
    """What stands between the person and the machine: its height and its depth."""

    height_mm: int
    depth_mm: int

    def __post_init__(self) -> None:
        _require_length("obstruction.height_mm", self.height_mm)
        _require_length("obstruction.depth_mm", self.depth_mm)


@dataclass(frozen=True, slots=True)
class Part:
    """Something that a customer works or reaches into; `force_n` None where it was not measured."""

    name: str
    height_mm: int
    force_n: Decimal | None = None

    def __post_init__(self) -> None:
        _require_length(f"{self.name}.height_mm", self.height_mm)
        if self.force_n is not None and not (
            self.force_n.is_finite() and 0 <= self.force_n <= 1000
        ):
            raise BadMeasure(
                f"{self.name}.force_n", f"{self.force_n} N cannot be used; give from 0 to 1000 N"
            )


@dataclass(frozen=True, slots=True)
class Range:
    """Heights that can be reached. `most_mm` is None where nothing can, and `change` says why."""

    least_mm: int
    most_mm: int | None
    section: str
    why: str
    change: str = ""


@dataclass(frozen=True, slots=True)
class JudgedPart:
    """One part beside its limits, with what to change. `to_measure` where the force is missing."""

    name: str
    height_mm: int
    force_n: Decimal | None
    verdict: Verdict
    why: tuple[str, ...]
    change: tuple[str, ...]
    to_measure: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Judged:
    """The whole machine where it stands: met only if every part is and nothing is unmeasured."""

    verdict: Verdict
    complete: bool
    reach: Range
    parts: tuple[JudgedPart, ...]
    change: tuple[str, ...]
    citation: str = CITATION
    status: str = STATUS


def reach(approach: Approach, obstruction: Obstruction | None = None) -> Range:
    """The heights within reach, by how one comes to the machine and what stands before it."""
    if obstruction is None:
        section = "308.2.1" if approach is Approach.FORWARD else "308.3.1"
        return Range(LOWEST_MM, HIGHEST_MM, section, f"nothing in the way, {approach} reach")
    if approach is Approach.FORWARD:
        return _forward(obstruction)
    return _side(obstruction)


def judge(
    parts: tuple[Part, ...], approach: Approach, obstruction: Obstruction | None = None
) -> Judged:
    """Whether every part can be reached and worked, and what to change. Raises BadMeasure."""
    if not parts:
        raise BadMeasure("parts", "none was measured; give at least one")
    names = [one.name for one in parts]
    if len(set(names)) < len(names):
        raise BadMeasure("parts", "a part is given twice; give each once")
    within = reach(approach, obstruction)
    judged = tuple(_part(one, within) for one in parts)
    met = within.most_mm is not None and all(one.verdict is Verdict.MET for one in judged)
    change = (within.change,) if within.change else ()
    return Judged(
        Verdict.MET if met else Verdict.NOT_MET,
        all(not one.to_measure for one in judged),
        within,
        judged,
        change + tuple(text for one in judged for text in one.change),
    )


def _forward(over: Obstruction) -> Range:
    # 308.2.2: 20 in, 44 in and 25 in.
    if over.depth_mm <= 510:
        return Range(LOWEST_MM, HIGHEST_MM, "308.2.2", "over something up to 510 mm deep")
    if over.depth_mm <= 635:
        return Range(LOWEST_MM, 1120, "308.2.2", "over something 510 to 635 mm deep")
    by = over.depth_mm - 635
    return Range(
        LOWEST_MM,
        None,
        "308.2.2",
        f"over something {over.depth_mm} mm deep, and 635 mm is the most",
        f"Take away what stands before the machine, or make it {by} mm less deep.",
    )


def _side(over: Obstruction) -> Range:
    # 308.3.1 and 308.3.2: 10 in, 34 in, 24 in and 46 in.
    # Something so shallow may be of any height (308.3.1, exception).
    if over.depth_mm <= 255:
        return Range(LOWEST_MM, HIGHEST_MM, "308.3.1", "past something up to 255 mm deep")
    if over.height_mm > 865:
        by = over.height_mm - 865
        return Range(
            LOWEST_MM,
            None,
            "308.3.2",
            f"beside something {over.height_mm} mm high, and 865 mm is the most",
            f"Take away what stands beside the machine, or make it {by} mm lower.",
        )
    if over.depth_mm <= 610:
        return Range(LOWEST_MM, 1170, "308.3.2", "past something 255 to 610 mm deep")
    by = over.depth_mm - 610
    return Range(
        LOWEST_MM,
        None,
        "308.3.2",
        f"past something {over.depth_mm} mm deep, and 610 mm is the most",
        f"Take away what stands beside the machine, or make it {by} mm less deep.",
    )


def _part(one: Part, within: Range) -> JudgedPart:
    why: list[str] = []
    change: list[str] = []
    met = True
    if within.most_mm is None:
        met = False
        why.append(f"out of reach: {within.why} ({within.section})")
    elif one.height_mm > within.most_mm:
        met = False
        by = one.height_mm - within.most_mm
        why.append(f"{one.height_mm} mm is {by} mm above the {within.most_mm} of {within.section}")
        change.append(
            f"{one.name}: {by} mm lower: take the machine off its base, clear what stands before "
            "it, or put a machine there whose parts lie lower."
        )
    elif one.height_mm < within.least_mm:
        met = False
        by = within.least_mm - one.height_mm
        why.append(f"{one.height_mm} mm is {by} mm below the {within.least_mm} of {within.section}")
        change.append(
            f"{one.name}: {by} mm higher: set the machine on a base made for it and anchor it, or "
            "put a machine there whose parts lie higher."
        )
    else:
        why.append(
            f"{one.height_mm} mm, between {within.least_mm} and {within.most_mm} "
            f"({within.section}: {within.why})"
        )
    if one.force_n is None:
        why.append("the force was not measured (309.4)")
    elif one.force_n > MOST_FORCE_N:
        met = False
        why.append(f"{one.force_n} N is more than {MOST_FORCE_N} N, 5 lbf (309.4)")
        change.append(
            f"{one.name}: ease it to {MOST_FORCE_N} N: clean and grease the hinge, change the "
            "spring or the button, by the maker's manual."
        )
    else:
        why.append(f"{one.force_n} N, at most {MOST_FORCE_N} N (309.4)")
    return JudgedPart(
        one.name,
        one.height_mm,
        one.force_n,
        Verdict.MET if met else Verdict.NOT_MET,
        tuple(why),
        tuple(change),
        ("force",) if one.force_n is None else (),
    )


def _require_length(field: str, value_mm: int) -> None:
    if isinstance(value_mm, bool) or not 0 <= value_mm <= NOBODY_REACHES_MM:
        raise BadMeasure(
            field, f"{value_mm} mm cannot be used; give from 0 to {NOBODY_REACHES_MM} mm"
        )
