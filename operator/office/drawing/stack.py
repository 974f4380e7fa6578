"""A stacked column in section, seen from the side: door at the left, back wall at the right."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from django.utils.safestring import SafeString

from fleet.compute.crosswise import lie_across
from fleet.compute.packages import Package
from fleet.compute.packing import Layers
from fleet.compute.positions import Half, StackPosition
from fleet.compute.rails import End, Rail
from fleet.compute.rules import DEFAULT_RULES
from fleet.compute.units import BadMeasure, Units

from .canvas import Canvas
from .levels import LEVEL_PX, Level
from .products import Outline, lay, outline

# The beam's own thickness enters no computation: distances run from its faces.
BEAM_MM = 16.0
TICK_PX, MARK_PX = 4.0, 8.0
Place = Callable[[float], float]


@dataclass(frozen=True)
class Loaded:
    """What lies in a column, and how it is set. `inside` None draws it full.

    `levels` are drawn as lines across, at the height that so many units reach.
    """

    package: Package
    deep: int
    front_notch: int | None = None
    rear_notch: int | None = None
    inside: int | None = None
    levels: tuple[Level, ...] = ()

    def notch(self, end: End) -> int | None:
        return self.front_notch if end is End.FRONT else self.rear_notch


def place_of(end: End) -> Place:
    """From a distance in mm off the beam to x: leftward in front of it, rightward behind."""
    if end is End.FRONT:
        return lambda distance_mm: -distance_mm
    return lambda distance_mm: BEAM_MM + distance_mm


def stack_section(
    position: StackPosition,
    loaded: Loaded | None,
    *,
    ident: str,
    title: str,
    units: Units,
    scale: float = 0.9,
    most_layers: int | None = None,
) -> SafeString:
    """The section to scale. `most_layers` cuts a high column off with a break line."""
    canvas = Canvas(scale)
    shape = outline(loaded.package) if loaded else None
    layers = _layers(position, loaded)
    drawn = layers.count if layers else 0
    cut = most_layers is not None and (drawn > most_layers or position.height_mm > 400)
    if cut and most_layers is not None:
        drawn = min(drawn, most_layers)
    height = position.height_mm
    if cut:
        across = shape.across_mm if shape else 60.0
        pitch = layers.pitch_mm if layers else across
        height = min(height, ((drawn or most_layers or 1) - 0.55) * pitch + across)
    cradle = position.cradle_units * (shape.across_mm if shape else 0.0)
    _walls(canvas, position, height, cradle)
    if loaded and shape:
        _products(canvas, position, loaded, shape, layers, drawn)
        if layers and not cut and layers.count:
            _fill_line(canvas, position, layers, shape)
            _levels(canvas, position, loaded, layers, shape)
    for end, half in position.halves():
        _rail(canvas, end, half.rail, -cradle)
        notch = loaded.notch(end) if loaded else None
        if notch is not None and 0 <= notch < half.rail.notches:
            _spacer(canvas, end, half, notch, height, cradle)
            if loaded and shape:
                _play(canvas, end, half.rail, notch, loaded, shape, cradle, units)
    if cut:
        _break_line(canvas, position, height)
    _names(canvas, position, height)
    return canvas.svg(ident=ident, title=title, desc=_said(position, loaded, units))


def _layers(position: StackPosition, loaded: Loaded | None) -> Layers | None:
    if loaded is None:
        return None
    try:
        return lie_across(
            position, loaded.package, DEFAULT_RULES, Units.MILLIMETRES
        ).layers or Layers(1, loaded.package.diameter_mm or loaded.package.thickness_mm or 0.0)
    except BadMeasure:
        return None


def _reach(position: StackPosition) -> tuple[float, float]:
    """The leftmost and the rightmost x of the column."""
    left = -position.front.depth_mm if position.front else 0.0
    right = BEAM_MM + position.rear.depth_mm if position.rear else BEAM_MM
    return left, right


def _walls(canvas: Canvas, position: StackPosition, height: float, cradle: float) -> None:
    left, right = _reach(position)
    for x, there in ((left, position.front), (right, position.rear)):
        if there:
            canvas.line("wall", (x, -cradle), (x, height))
    canvas.box("beam", 0.0, -cradle, BEAM_MM, height + cradle)
    if cradle:
        canvas.line("seam", (left, 0.0), (0.0, 0.0))
        canvas.line("seam", (BEAM_MM, 0.0), (right, 0.0))
    canvas.line("seam", (left, -cradle), (right, -cradle))


def _products(
    canvas: Canvas,
    position: StackPosition,
    loaded: Loaded,
    shape: Outline,
    layers: Layers | None,
    drawn: int,
) -> None:
    pitch = layers.pitch_mm if layers else shape.across_mm
    floors = [-(n + 1) * shape.across_mm for n in reversed(range(position.cradle_units))]
    floors += [n * pitch for n in range(drawn)]
    left = loaded.inside
    lying: list[tuple[int, float, End, int, str]] = []
    for layer, floor in enumerate(floors):
        for end, index in _places(position, loaded.deep):
            there = left is None or left > 0
            left = None if left is None else max(0, left - 1)
            lying.append((layer, floor, end, index, "prod" if there else "ghost"))
    # Layers alternate between the two walls across; those at the far wall lie behind the near.
    for layer, floor, end, index, css in sorted(lying, key=lambda one: one[0] % 2 == 0):
        base = index * shape.length_mm
        place = place_of(end)
        lay(
            canvas,
            shape,
            place=lambda along, place=place, base=base: place(base + along),  # type: ignore[misc]
            floor_mm=floor,
            css=css,
            half=end.value,
            layer=layer,
        )


def _places(position: StackPosition, deep: int) -> Iterator[tuple[End, int]]:
    """Where products of one layer lie: each half, from the beam outward."""
    for end, _ in position.halves():
        for index in range(deep):
            yield end, index


def _rail(canvas: Canvas, end: End, rail: Rail, floor: float) -> None:
    """The notches under the floor; every n-th, from the rail's own zero, is longer."""
    place = place_of(end)
    for notch in range(rail.notches):
        x, y = canvas.at(place(rail.distance_mm(notch)), floor)
        marked = rail.mark_every > 0 and notch % rail.mark_every == 0
        canvas.pixels(
            "notch",
            (x, y + 1),
            (x, y + (MARK_PX if marked else TICK_PX)),
            half=end.value,
            notch=notch,
        )
    x, y = canvas.at(place(rail.distance_mm(0)), floor)
    canvas.text("0", x, y + MARK_PX + 11, anchor="middle")


def _spacer(canvas: Canvas, end: End, half: Half, notch: int, height: float, cradle: float) -> None:
    x_mm = place_of(end)(half.rail.distance_mm(notch))
    canvas.line("spacer", (x_mm, -cradle), (x_mm, height), half=end.value, notch=notch)
    x, y = canvas.at(x_mm, -cradle)
    canvas.text(str(notch), x, y + MARK_PX + 24, anchor="middle", css="set-text")


def _play(
    canvas: Canvas,
    end: End,
    rail: Rail,
    notch: int,
    loaded: Loaded,
    shape: Outline,
    cradle: float,
    units: Units,
) -> None:
    """The play between the last product and its plate, dimensioned under the notches."""
    at, reach = rail.distance_mm(notch), loaded.deep * shape.length_mm
    x, y = canvas.at(place_of(end)(at), -cradle)
    outward = -1 if end is End.FRONT else 1
    anchor = "start" if end is End.FRONT else "end"
    line = y + MARK_PX + 38
    if at < reach:
        words = "in the neck" if in_the_neck(loaded, at) else f"binds by {units.length(reach - at)}"
        canvas.text(words, x, line + 4, anchor="middle", css="num")
        return
    inner, _ = canvas.at(place_of(end)(reach), 0.0)
    canvas.pixels("dim", (inner, y - 3), (inner, line + 4))
    canvas.pixels("dim", (x, y + MARK_PX + 27), (x, line + 4))
    canvas.pixels("dim", (inner - outward * 12, line), (inner, line))
    canvas.pixels("dim", (x, line), (x + outward * 12, line))
    canvas.text(units.length(at - reach), inner - outward * 15, line + 4, anchor=anchor, css="num")


def in_the_neck(loaded: Loaded, at_mm: float) -> bool:
    """Whether a spacer at this distance lies in the neck of a bottle one deep."""
    package = loaded.package
    if loaded.deep != 1 or package.neck_from_mm is None or package.neck_to_mm is None:
        return False
    return package.neck_from_mm <= at_mm <= package.neck_to_mm


def _fill_line(canvas: Canvas, position: StackPosition, layers: Layers, shape: Outline) -> None:
    left, right = _reach(position)
    y_mm = (layers.count - 1) * layers.pitch_mm + shape.across_mm
    canvas.line("fill-line", (left, y_mm), (right, y_mm), layers=layers.count)


def _levels(
    canvas: Canvas, position: StackPosition, loaded: Loaded, layers: Layers, shape: Outline
) -> None:
    """Lines at the height that so many units reach; where two would meet, their words part."""
    floors = [-(n + 1) * shape.across_mm for n in reversed(range(position.cradle_units))]
    floors += [n * layers.pitch_mm for n in range(layers.count)]
    a_layer = max(sum(1 for _ in _places(position, loaded.deep)), 1)
    left, right = _reach(position)
    below = None
    for level in sorted(loaded.levels, key=lambda one: one.units):
        filled = min(max(level.units / a_layer, 0.0), float(len(floors)))
        top = max(math.ceil(filled) - 1, 0)
        y_mm = floors[top] + shape.across_mm * (filled - top)
        canvas.line(level.css, (left, y_mm), (right, y_mm), units=f"{level.units:.1f}")
        x, y = canvas.at(right if position.rear else left, y_mm)
        y = y if below is None else min(y, below - LEVEL_PX)
        below = y
        side = 1 if position.rear else -1
        anchor = "start" if position.rear else "end"
        canvas.text(level.words, x + side * 5, y + 4, anchor=anchor, css="num")


def _break_line(canvas: Canvas, position: StackPosition, height: float) -> None:
    left, right = _reach(position)
    middle, step = (left + right) / 2, 6.0
    canvas.line(
        "seam",
        (left - 8, height),
        (middle - step, height),
        (middle - step / 2, height + step),
        (middle + step / 2, height - step),
        (middle + step, height),
        (right + 8, height),
    )


def _names(canvas: Canvas, position: StackPosition, height: float) -> None:
    left, right = _reach(position)
    _, y = canvas.at(0, height)
    if position.front:
        x, _ = canvas.at(left, 0)
        canvas.text("door", x, y - 8, anchor="start")
    if position.rear:
        x, _ = canvas.at(right, 0)
        canvas.text("back wall", x, y - 8, anchor="end")
    x, _ = canvas.at(BEAM_MM / 2, 0)
    anchor = "middle" if position.front and position.rear else "end" if position.front else "start"
    canvas.text("beam", x, y - 8, anchor=anchor)


def _said(position: StackPosition, loaded: Loaded | None, units: Units) -> str:
    if loaded is None:
        return "Empty."
    parts = [f"{loaded.package.kind.words}, {loaded.deep} deep"]
    for end, half in position.halves():
        notch = loaded.notch(end)
        if notch is None or not 0 <= notch < half.rail.notches:
            parts.append(f"no {end.value} setting")
            continue
        at = half.rail.distance_mm(notch)
        parts.append(f"{end.value} at notch {notch}, {units.length(at)} from the beam")
    return "; ".join(parts) + "."
