"""How many products a column holds as it was left, whatever its spacers say."""

from __future__ import annotations

from fleet.compute.crosswise import lie_across
from fleet.compute.packages import Package, PackageKind
from fleet.compute.positions import Position, SpiralPosition
from fleet.compute.rules import DEFAULT_RULES, Rules
from fleet.compute.units import Units, require_count


def capacity_at(
    position: Position, package: Package, deep: int, rules: Rules = DEFAULT_RULES
) -> int:
    """Units held at a depth: (layers + cradle units) x deep x halves; in a spiral, its turns.

    0 when a size is not measured or the package does not lie across. Raises BadMeasure for a
    depth below one.
    """
    require_count("deep", deep)
    if isinstance(position, SpiralPosition):
        return position.turns
    if package.kind is PackageKind.BAG:
        return 0
    layers = lie_across(position, package, rules, Units.MILLIMETRES).layers
    if layers is None:
        return 0
    return (layers.count + position.cradle_units) * deep * len(position.halves())
