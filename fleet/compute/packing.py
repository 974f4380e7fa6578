"""How products lie upon each other in a stack: layers and their rise. Lengths in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fleet.compute.units import SAME_MM, BadMeasure

# Beyond this share of the diameter the sideways shift from one product to the next is so great
# that a product comes to rest on the one below it at the same wall.
SAME_WALL_SHARE = math.sqrt(0.75)


@dataclass(frozen=True, slots=True)
class Layers:
    """`count` layers, each `pitch_mm` above the last on average."""

    count: int
    pitch_mm: float


def bridges(width_mm: float, across_mm: float) -> bool:
    """Whether two products can lie side by side, and so lock across the column."""
    return width_mm >= 2 * across_mm - SAME_MM


def rests_at_wall(width_mm: float, diameter_mm: float) -> bool:
    """Whether products rest on the one below at the same wall rather than on their neighbour."""
    return width_mm - diameter_mm > diameter_mm * SAME_WALL_SHARE


def round_layers(width_mm: float, height_mm: float, diameter_mm: float) -> Layers:
    """Layers of round products settled zig-zag between two walls, d <= width < 2d.

    Centres shift sideways by s = width - d from one wall to the other, so touching neighbours
    rise by sqrt(d^2 - s^2) (plane geometry). Once s exceeds d*sqrt(3)/2 that rise is below d/2
    and every second product already rests on the one at its own wall, d below: then pairs rise
    by d, and the mean rise is d/2, never less.
    Raises BadMeasure for a width outside d to 2d.
    """
    shift = width_mm - diameter_mm
    if shift < -SAME_MM or bridges(width_mm, diameter_mm):
        raise BadMeasure(
            "width_mm",
            f"{width_mm:g} mm does not guide products of {diameter_mm:g} mm; "
            "it must be at least one diameter and less than two",
        )
    shift = max(shift, 0.0)
    rise = height_mm - diameter_mm
    step = math.sqrt(diameter_mm * diameter_mm - shift * shift)
    if not rests_at_wall(width_mm, diameter_mm):
        count = math.floor((rise + SAME_MM) / step) + 1 if rise >= -SAME_MM else 0
        return Layers(count=count, pitch_mm=step)
    if rise < -SAME_MM:
        return Layers(count=0, pitch_mm=diameter_mm / 2)
    pairs = math.floor((rise + SAME_MM) / diameter_mm)
    over = rise - pairs * diameter_mm
    return Layers(count=2 * pairs + (2 if over >= step - SAME_MM else 1), pitch_mm=diameter_mm / 2)


def flat_layers(height_mm: float, thickness_mm: float) -> Layers:
    """Layers of cartons, which lie straight upon each other."""
    return Layers(count=math.floor((height_mm + SAME_MM) / thickness_mm), pitch_mm=thickness_mm)
