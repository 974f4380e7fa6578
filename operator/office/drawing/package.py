"""One package lying on the bench, to scale, with its sizes dimensioned."""

from django.utils.safestring import SafeString

from fleet.compute.packages import Package
from fleet.compute.units import Units

from .canvas import Canvas
from .products import Outline, lay, outline

STEP_PX = 20.0


def package_drawing(
    package: Package, *, ident: str, title: str, units: Units, scale: float = 1.6
) -> SafeString | None:
    """The package with its measured sizes, or None while its length is not measured."""
    shape = outline(package)
    if shape is None:
        return None
    canvas = Canvas(scale)
    lay(canvas, shape, place=lambda along: along, floor_mm=0.0, css="prod")
    measured = [
        (name, size)
        for name, size in (
            ("shoulder", package.shoulder_mm),
            ("neck from", package.neck_from_mm),
            ("neck to", package.neck_to_mm),
            ("length", package.length_mm),
        )
        if size is not None
    ]
    x, floor = canvas.at(0, 0)
    canvas.pixels("dim", (x, floor + 3), (x, floor + len(measured) * STEP_PX + 4))
    for level, (name, size) in enumerate(measured, start=1):
        _along(canvas, shape, size, f"{name} {units.length(size)}", level)
    _across(canvas, shape, package, units)
    desc = ", ".join(
        f"{name} {units.length(size)}"
        for name, size in (
            ("length", package.length_mm),
            ("diameter", package.diameter_mm),
            ("width", package.width_mm),
            ("thickness", package.thickness_mm),
        )
        if size is not None
    )
    return canvas.svg(ident=ident, title=title, desc=f"{package.kind.words}: {desc}.")


def _along(canvas: Canvas, shape: Outline, size: float, words: str, level: int) -> None:
    x0, floor = canvas.at(0, 0)
    x1, axis = canvas.at(size, shape.across_mm / 2)
    y = floor + level * STEP_PX
    canvas.pixels("dim", (x1, axis), (x1, y + 4))
    canvas.pixels("dim", (x0, y), (x1, y), along=size)
    canvas.text(words, (x0 + x1) / 2, y - 4, anchor="middle", css="num")


def _across(canvas: Canvas, shape: Outline, package: Package, units: Units) -> None:
    size = package.diameter_mm if package.kind.is_round else package.thickness_mm
    if size is None:
        return
    x, low = canvas.at(0, 0)
    _, high = canvas.at(0, shape.across_mm)
    canvas.pixels("dim", (x - 16, low), (x - 16, high))
    for y in (low, high):
        canvas.pixels("dim", (x - 20, y), (x - 3, y))
    name = "diameter" if package.kind.is_round else "thickness"
    canvas.text(f"{name} {units.length(size)}", x - 20, high - 8, css="num")
