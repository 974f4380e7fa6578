"""A spiral lane seen from the side: door at the left, back wall at the right."""

import math
from collections.abc import Sequence

from django.utils.safestring import SafeString

from fleet.compute.packages import Package
from fleet.compute.positions import SpiralPosition
from fleet.compute.units import Units

from .canvas import Canvas, figure
from .levels import LEVEL_PX, Level
from .products import Outline, outline, stand

WIRE_MM = 3.0


def spiral_section(
    position: SpiralPosition,
    package: Package | None,
    *,
    ident: str,
    title: str,
    units: Units,
    scale: float = 0.6,
    inside: int | None = None,
    levels: Sequence[Level] = (),
) -> SafeString:
    """The lane to scale: one product in each turn, the room over it and in its turn."""
    canvas = Canvas(scale)
    depth = position.turns * position.pitch_mm
    height = position.shelf_height_mm
    canvas.line("wall", (0, 0), (depth, 0))
    canvas.line("wall", (depth, 0), (depth, height))
    canvas.line("seam", (0, height), (depth, height))
    shape = _standing(package)
    if shape is not None:
        full = position.turns if inside is None else inside
        for turn in range(position.turns):
            stand(
                canvas,
                shape,
                middle_mm=(turn + 0.5) * position.pitch_mm,
                floor_mm=WIRE_MM,
                css="prod" if turn < full else "ghost",
                turn=turn,
            )
    _coil(canvas, position)
    x, y = canvas.at(0, height)
    canvas.text("door", x, y - 8)
    x, y = canvas.at(depth, height)
    canvas.text("back wall", x, y - 8, anchor="end")
    for level in levels:
        reached = min(max(level.units, 0.0), float(position.turns)) * position.pitch_mm
        canvas.line(level.css, (reached, 0), (reached, height), units=f"{level.units:.1f}")
        x, y = canvas.at(reached, height)
        # Above the names of the door and the back wall, one level over the other.
        row = 22 + LEVEL_PX * list(levels).index(level)
        canvas.text(level.words, x, y - row, anchor="middle", css="num")
    _pitch(canvas, position, units)
    return canvas.svg(ident=ident, title=title, desc=_said(position, package, units))


def _standing(package: Package | None) -> Outline | None:
    """The outline as it stands in a turn: tall, with its thin side along the spiral."""
    if package is None:
        return None
    if package.kind.is_round:
        return outline(package)
    tall, thick = package.standing_height_mm, package.standing_thickness_mm
    if tall is None or thick is None:
        return None
    half, end = thick / 2, tall * 0.1
    points = ((0.0, half * 0.6), (end, half), (tall - end, half), (tall, half * 0.4))
    return Outline(points, (), tall, thick)


def _coil(canvas: Canvas, position: SpiralPosition) -> None:
    """The wire: one wave a turn, as high as the lane is wide or the shelf allows."""
    high = min(position.lane_width_mm, position.shelf_height_mm) * 0.5
    for turn in range(position.turns):
        x, y = canvas.at(turn * position.pitch_mm, WIRE_MM)
        across = position.pitch_mm * canvas.scale
        up = high * canvas.scale
        canvas.room(x + across, y - up)
        canvas.path(
            "spring",
            f"M{figure(x)},{figure(y)}q{figure(across * 0.18)},{figure(-up * 1.1)} "
            f"{figure(across * 0.5)},{figure(-up)}t{figure(across * 0.5)},{figure(up)}",
            turn=turn,
        )


def _pitch(canvas: Canvas, position: SpiralPosition, units: Units) -> None:
    x0, y = canvas.at(0, 0)
    x1, _ = canvas.at(position.pitch_mm, 0)
    for x in (x0, x1):
        canvas.pixels("dim", (x, y + 3), (x, y + 16))
    canvas.pixels("dim", (x0, y + 11), (x1, y + 11))
    canvas.text(f"{units.length(position.pitch_mm)} a turn", x1 + 6, y + 15, css="num")


def _said(position: SpiralPosition, package: Package | None, units: Units) -> str:
    what = f"{package.kind.words}, one in each turn" if package else "empty"
    turns = math.floor(position.turns)
    return f"{turns} turns of {units.length(position.pitch_mm)}; {what}."
