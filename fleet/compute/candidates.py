"""Each depth of load that a position could take, the deepest first. Lengths in mm."""

from __future__ import annotations

from fleet.compute.packages import Package
from fleet.compute.positions import StackPosition
from fleet.compute.rails import End
from fleet.compute.results import Candidate, Margin, Reason, Setting
from fleet.compute.rules import Rules
from fleet.compute.settings import (
    Load,
    NoNotchFits,
    find_setting,
    holds_by_neck,
    neck_sizes_missing,
)
from fleet.compute.units import SAME_MM, Units


def candidates_for(
    position: StackPosition, package: Package, rules: Rules, units: Units
) -> tuple[Candidate, ...]:
    """A candidate for every depth up to the position's greatest; none without a length."""
    length = package.length_mm
    if length is None:
        return ()
    depths = range(position.greatest_deep, 0, -1)
    return tuple(_candidate(position, Load(package, length, deep), rules, units) for deep in depths)


def lies_end_to_end(position: StackPosition, length_mm: float, deep: int) -> bool:
    """Whether `deep` products lie end to end within every half, spacers apart."""
    return all(deep * length_mm <= half.depth_mm + SAME_MM for _, half in position.halves())


def _candidate(position: StackPosition, load: Load, rules: Rules, units: Units) -> Candidate:
    package, length, deep = load.package, load.length_mm, load.deep
    if not lies_end_to_end(position, length, deep):
        return Candidate(
            deep=deep,
            fits=False,
            front=None,
            rear=None,
            margins=(),
            reasons=(_too_long(position, length, deep, units),),
        )
    found: dict[End, Setting] = {}
    margins: list[Margin] = []
    reasons: list[Reason] = []
    cautions: list[Reason] = []
    failures: list[Reason] = []
    missing: tuple[str, ...] = ()
    for end, half in position.halves():
        if holds_by_neck(end, package, deep, rules) and neck_sizes_missing(package):
            missing = neck_sizes_missing(package)
            reasons.append(_neck_not_measured())
            continue
        try:
            setting, room, why, warn = find_setting(end, half, load, rules, units)
        except NoNotchFits as no_notch:
            failures.append(no_notch.reason)
            continue
        found[end] = setting
        margins.extend(room)
        reasons.extend(why)
        cautions.extend(warn)
    return Candidate(
        deep=deep,
        fits=len(found) == len(position.halves()),
        front=found.get(End.FRONT),
        rear=found.get(End.REAR),
        margins=tuple(margins),
        reasons=tuple(failures or reasons),
        cautions=tuple(cautions),
        # A half that cannot be set is answer enough; the neck need not be measured for it.
        to_measure=() if failures else missing,
    )


def _too_long(position: StackPosition, length: float, deep: int, units: Units) -> Reason:
    depth = min(half.depth_mm for _, half in position.halves())
    many = "One product is" if deep == 1 else f"{deep} products end to end are"
    return Reason(
        "longer_than_depth",
        f"{many} {units.length(deep * length)} long; the half is {units.length(depth)} deep.",
        {"deep": deep, "reach_mm": deep * length, "depth_mm": depth},
    )


def _neck_not_measured() -> Reason:
    return Reason(
        "neck_not_measured",
        "The front spacers of a necked bottle lie in its neck: measure from the base to both "
        "ends of the neck first.",
    )
