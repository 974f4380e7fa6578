"""How products lie upon each other in a stack: layers and their rise. Lengths in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fleet.compute.units import SAME_MM, BadMeasure

HALF_ROOT_THREE = math.sqrt(0.75)


@dataclass(frozen=True, slots=True)
class Layers:
    """`count` layers, each `pitch_mm` above the last on average."""

    count: int
    pitch_mm: float


def bridges(width_mm: float, across_mm: float) -> bool:
    """Whether two products can lie side by side, and so lock across the column."""
    return width_mm >= 2 * across_mm - SAME_MM


def nests_in_pockets(width_mm: float, diameter_mm: float) -> bool:
    """Whether every third product lies in the pocket above two, clear of both walls.

    So it is once the sideways shift exceeds d*sqrt(3)/2: a product put in a zig-zag would then
    pass below the one at its own wall.
    """
    return width_mm - diameter_mm > diameter_mm * HALF_ROOT_THREE


def round_layers(width_mm: float, height_mm: float, diameter_mm: float) -> Layers:
    """Layers of round products settled between two walls, d <= width < 2d.

    Plane geometry of touching circles, each at the lowest place it can roll to. Centres shift
    sideways by s = width - d from one wall to the other, so neighbours rise by
    h = sqrt(d^2 - s^2), and the products lie in a zig-zag. Wider than s = d*sqrt(3)/2 the third
    rests in the pocket above the first two (the corner of an equilateral triangle, at
    x = s/2 - h*sqrt(3)/2, y = h/2 + s*sqrt(3)/2) and the fourth on it at the far wall, where
    the three begin again mirrored. The mean rise is d/2 where the two meet and nowhere less.
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
    if not nests_in_pockets(width_mm, diameter_mm):
        count = math.floor((rise + SAME_MM) / step) + 1 if rise >= -SAME_MM else 0
        return Layers(count=count, pitch_mm=step)
    third = step / 2 + shift * HALF_ROOT_THREE
    across = shift - (shift / 2 - step * HALF_ROOT_THREE)
    three = third + math.sqrt(diameter_mm * diameter_mm - across * across)
    if rise < -SAME_MM:
        return Layers(count=0, pitch_mm=three / 3)
    threes = math.floor((rise + SAME_MM) / three)
    over = rise - threes * three
    more = 1 + (over >= step - SAME_MM) + (over >= third - SAME_MM)
    return Layers(count=3 * threes + more, pitch_mm=three / 3)


def flat_layers(height_mm: float, thickness_mm: float) -> Layers:
    """Layers of cartons, which lie straight upon each other."""
    return Layers(count=math.floor((height_mm + SAME_MM) / thickness_mm), pitch_mm=thickness_mm)
