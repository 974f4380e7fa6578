"""Outlines of packages, as they lie in a stack or stand in a spiral. Lengths in mm."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from fleet.compute.packages import Package, PackageKind

from .canvas import Canvas, Point

# What is not measured is drawn in the usual proportion, so that there is something to look at;
# nothing is ever computed from these.
USUAL_DIAMETER = 0.3  # of the length
USUAL_NECK = 0.42  # of the diameter
USUAL_CAP = 0.45  # of the diameter
USUAL_SHOULDER = 0.68  # of the length
USUAL_NECK_FROM = 0.82
USUAL_NECK_TO = 0.9
CURVE = 8  # straight pieces that a shoulder is drawn with


@dataclass(frozen=True)
class Outline:
    """Half an outline: from the axis at the base to the axis at the far end, as (along, off)."""

    points: tuple[Point, ...]
    seams: tuple[float, ...]
    length_mm: float
    across_mm: float


def outline(package: Package) -> Outline | None:
    """The shape along its own axis, base at 0, or None while its length is not measured."""
    length = package.length_mm
    if length is None:
        return None
    if package.kind.is_round:
        across = package.diameter_mm or length * USUAL_DIAMETER
    else:
        across = package.thickness_mm or length * USUAL_DIAMETER
    half = across / 2
    if package.kind is PackageKind.CAN:
        rim = min(length * 0.03, 4.0)
        points = ((0.0, half - rim / 2), (rim, half), (length - rim, half), (length, half - rim))
        return Outline(points, (rim, length - rim), length, across)
    if package.kind is PackageKind.NECKED_BOTTLE:
        return Outline(_bottle(package, length, half), (), length, across)
    if package.kind is PackageKind.BOTTLE_WITHOUT_NECK:
        shoulder = package.shoulder_mm or length * USUAL_NECK_FROM
        cap = (package.cap_diameter_mm or across * USUAL_CAP * 1.5) / 2
        collar = (shoulder + length) / 2
        sides = ((0.0, half - 1), (2.0, half), (shoulder, half), (collar, cap), (length, cap))
        return Outline(sides, (collar,), length, across)
    if package.kind is PackageKind.BAG:
        end = length * 0.12
        points = ((0.0, half * 0.3), (end, half), (length - end, half), (length, half * 0.3))
        return Outline(points, (end / 2, length - end / 2), length, across)
    return Outline(((0.0, half), (length, half)), (), length, across)


def _bottle(package: Package, length: float, half: float) -> tuple[Point, ...]:
    neck_from = package.neck_from_mm or length * USUAL_NECK_FROM
    neck_to = package.neck_to_mm or max(neck_from, length * USUAL_NECK_TO)
    shoulder = package.shoulder_mm or min(neck_from, length * USUAL_SHOULDER)
    neck = (package.neck_diameter_mm or 2 * half * USUAL_NECK) / 2
    cap = (package.cap_diameter_mm or 2 * half * USUAL_CAP) / 2
    fall, run = half - neck, neck_from - shoulder
    curve = tuple(
        (shoulder + run * step / CURVE, half - fall * (1 - math.cos(math.pi * step / CURVE)) / 2)
        for step in range(1, CURVE)
    )
    return (
        (0.0, half - 1.5),
        (2.0, half),
        (shoulder, half),
        *curve,
        (neck_from, neck),
        (neck_to, neck),
        (neck_to, cap),
        (length, cap),
    )


def lay(
    canvas: Canvas,
    shape: Outline,
    *,
    place: Callable[[float], float],
    floor_mm: float,
    css: str,
    **data: object,
) -> None:
    """Draw a product lying on `floor_mm`; `place` turns a distance from its base into x."""
    axis = floor_mm + shape.across_mm / 2
    upper = [(place(along), axis + off) for along, off in shape.points]
    lower = [(place(along), axis - off) for along, off in reversed(shape.points)]
    canvas.shape(css, [*upper, *lower], **data)
    for along in shape.seams:
        off = shape.across_mm / 2
        canvas.line("seam", (place(along), axis - off), (place(along), axis + off))


def stand(
    canvas: Canvas, shape: Outline, *, middle_mm: float, floor_mm: float, css: str, **data: object
) -> None:
    """Draw a product standing on its base, its axis at `middle_mm`."""
    right = [(middle_mm + off, floor_mm + along) for along, off in shape.points]
    left = [(middle_mm - off, floor_mm + along) for along, off in reversed(shape.points)]
    canvas.shape(css, [*right, *left], **data)
