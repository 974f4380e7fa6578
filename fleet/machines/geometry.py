"""From rows to the frozen figures that fleet.compute reasons with. No query is made here."""

from collections.abc import Mapping
from decimal import Decimal

from fleet.compute import packages, positions, rails, words
from fleet.compute.rules import Rules
from fleet.compute.units import Units
from people.models import Business

from .models import DepthProgram, Kind, Package, Position

PACKAGE_SIZES = (
    "length_mm",
    "diameter_mm",
    "shoulder_mm",
    "neck_from_mm",
    "neck_to_mm",
    "neck_diameter_mm",
    "cap_diameter_mm",
    "width_mm",
    "height_mm",
    "thickness_mm",
    "volume_ml",
    "weight_g",
)


def package_of(row: Package) -> packages.Package:
    """The measured shape. Raises BadMeasure for sizes that contradict each other."""
    return packages.Package(
        kind=packages.PackageKind(row.shape),
        **{name: _number(getattr(row, name)) for name in PACKAGE_SIZES},
    )


def position_of(
    row: Position, offsets_mm: Mapping[rails.End, float] | None = None
) -> positions.Position:
    """The measured place, with learned offsets on its rails. Raises BadMeasure."""
    if row.style == Position.Style.SPIRAL:
        return positions.SpiralPosition(
            label=row.label,
            turns=row.turns or 0,
            pitch_mm=float(row.spiral_pitch_mm or 0),
            shelf_height_mm=float(row.height_mm),
            lane_width_mm=float(row.width_mm),
        )
    return positions.StackPosition(
        label=row.label,
        width_mm=float(row.width_mm),
        height_mm=float(row.height_mm),
        front=_half(row, rails.End.FRONT, offsets_mm or {}),
        rear=_half(row, rails.End.REAR, offsets_mm or {}),
        greatest_deep=row.greatest_deep,
        cradle_units=row.cradle_units,
    )


def setting_said(row: Position, end: rails.End, notch: int | None) -> str | None:
    """A setting as a hand finds it; None when nothing is set or the rail has no such notch now."""
    half = _half(row, end, {})
    if half is None or notch is None or not 0 <= notch < half.rail.notches:
        return None
    return words.said(half.rail, end, notch)


def board_of(kind: Kind) -> positions.Board:
    """What the kind's board knows. Give kinds with `programs` prefetched."""
    return positions.Board(
        vend_window_s=float(kind.vend_window_s),
        drop_sensor=kind.drop_sensor,
        programs=tuple(program_of(program) for program in kind.programs.all()),
    )


def program_of(row: DepthProgram) -> positions.DepthProgram:
    return positions.DepthProgram(
        name=row.name, deep=row.deep, cycle_s=float(row.cycle_s), run_on_s=float(row.run_on_s)
    )


def rules_of(business: Business) -> Rules:
    """The limits this business sets its columns by."""
    return Rules(
        least_play_mm=float(business.least_play_mm),
        most_play_mm=float(business.most_play_mm),
        side_clearance_mm=float(business.side_clearance_mm),
    )


def units_of(business: Business) -> Units:
    return Units.INCHES if business.units == Business.Units.INCHES else Units.MILLIMETRES


def _half(
    row: Position, end: rails.End, offsets_mm: Mapping[rails.End, float]
) -> positions.Half | None:
    depth = getattr(row, f"{end.value}_depth_mm")
    if depth is None:
        return None
    return positions.Half(
        depth_mm=float(depth),
        rail=rails.Rail(
            zero_mm=float(getattr(row, f"{end.value}_zero_mm")),
            pitch_mm=float(getattr(row, f"{end.value}_pitch_mm")),
            notches=getattr(row, f"{end.value}_notches"),
            mark_every=getattr(row, f"{end.value}_mark_every"),
            runs=rails.Runs(getattr(row, f"{end.value}_runs")),
            offset_mm=offsets_mm.get(end, 0.0),
        ),
    )


def _number(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
