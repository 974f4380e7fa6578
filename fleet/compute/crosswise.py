"""Whether a package lies across a stack, and how many layers it makes. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.compute.packages import Package, PackageKind
from fleet.compute.packing import Layers, bridges, flat_layers, nests_in_pockets, round_layers
from fleet.compute.positions import StackPosition
from fleet.compute.results import Margin, Reason
from fleet.compute.rules import Rules
from fleet.compute.units import SAME_MM, Units


@dataclass(frozen=True, slots=True)
class Crosswise:
    """What the width and the height of a stack say; `layers` is None unless all is well."""

    layers: Layers | None
    margins: tuple[Margin, ...]
    refusals: tuple[Reason, ...]
    cautions: tuple[Reason, ...]
    to_measure: tuple[str, ...]


def lie_across(position: StackPosition, package: Package, rules: Rules, units: Units) -> Crosswise:
    """Judge width and height; a size that is missing is named, not guessed."""
    if package.kind.is_round:
        across_name, up_name = "diameter_mm", "diameter_mm"
    else:
        across_name, up_name = "width_mm", "thickness_mm"
    across: float | None = getattr(package, across_name)
    up: float | None = getattr(package, up_name)
    names = dict.fromkeys((across_name, up_name))
    missing = tuple(name for name in names if getattr(package, name) is None)
    margins: list[Margin] = []
    refusals: list[Reason] = []
    cautions: list[Reason] = []
    if across is not None:
        room = position.width_mm - across
        least = rules.side_clearance_mm
        met = room >= least - SAME_MM
        margins.append(
            Margin("side_clearance", "room across, both sides together", room, least, None, met)
        )
        if not met:
            refusals.append(_too_wide(position, across, least, units))
        elif bridges(position.width_mm, across):
            refusals.append(_bridges(position, across, units))
        elif package.kind.is_round and nests_in_pockets(position.width_mm, across):
            cautions.append(_nearly_side_by_side(position, across, units))
    if up is not None:
        room = position.height_mm - up
        met = room >= -SAME_MM
        margins.append(Margin("stack_height", "height left above one layer", room, 0.0, None, met))
        if not met:
            refusals.append(_too_high(position, up, units))
    layers = None
    if across is not None and up is not None and not refusals:
        layers = (
            round_layers(position.width_mm, position.height_mm, across)
            if package.kind.is_round
            else flat_layers(position.height_mm, up)
        )
    return Crosswise(layers, tuple(margins), tuple(refusals), tuple(cautions), missing)


def bags_do_not_stack() -> Reason:
    """Why a bag never goes in a stack."""
    return Reason(
        "bags_do_not_stack",
        f"A {PackageKind.BAG.words} neither rolls nor lies flat, so it does not come down a "
        "stack; put it in a spiral.",
    )


def _too_wide(position: StackPosition, across: float, least: float, units: Units) -> Reason:
    return Reason(
        "too_wide",
        f"{units.length(across)} across and {units.length(least)} of clearance do not go into "
        f"a column {units.length(position.width_mm)} wide.",
        {"across_mm": across, "least_mm": least, "width_mm": position.width_mm},
    )


def _bridges(position: StackPosition, across: float, units: Units) -> Reason:
    return Reason(
        "bridges",
        f"The column is {units.length(position.width_mm)} wide, twice the product's "
        f"{units.length(across)} or more: two lie side by side and lock across it.",
        {"across_mm": across, "width_mm": position.width_mm},
    )


def _nearly_side_by_side(position: StackPosition, across: float, units: Units) -> Reason:
    return Reason(
        "nearly_side_by_side",
        f"In a column {units.length(position.width_mm)} wide products of {units.length(across)} "
        "lie nearly side by side: watch in the test vends for two that drop together or lock.",
        {"across_mm": across, "width_mm": position.width_mm},
    )


def _too_high(position: StackPosition, up: float, units: Units) -> Reason:
    return Reason(
        "stack_too_low",
        f"One layer is {units.length(up)} high; the stack has only "
        f"{units.length(position.height_mm)}.",
        {"layer_mm": up, "height_mm": position.height_mm},
    )
