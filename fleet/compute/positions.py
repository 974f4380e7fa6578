"""A column's place in a kind of machine, as measured in an empty cabinet. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from fleet.compute.rails import End, Rail
from fleet.compute.units import (
    LEAST_SECONDS,
    SAME_MM,
    BadMeasure,
    require_count,
    require_seconds,
    require_size,
)

# No cradle tells more products apart than this; see MOST_NOTCHES for why there is a limit.
MOST_DEEP = 12
MOST_TURNS = 500


@dataclass(frozen=True, slots=True)
class Half:
    """The part of a position in front of the centre beam, or behind it.

    `depth_mm` runs from the beam to the door (front) or to the back wall (rear). The rail's
    distances are those of the face a product touches, so no notch lies beyond the depth.
    """

    depth_mm: float
    rail: Rail

    def __post_init__(self) -> None:
        require_size("half.depth_mm", self.depth_mm)
        if self.rail.nominal_farthest_mm > self.depth_mm + SAME_MM:
            raise BadMeasure(
                "half.rail",
                f"its outermost notch lies {self.rail.nominal_farthest_mm:g} mm from the beam, "
                f"beyond the depth of {self.depth_mm:g} mm; check the zero, the pitch and the "
                "number of notches",
            )


@dataclass(frozen=True, slots=True)
class StackPosition:
    """A position whose products lie down, one layer upon another.

    It lies in front of the centre beam, behind it, or both; each half has a cradle and drops by
    itself. `height_mm` is the stack's, above the cradle. `greatest_deep` is how many products
    the cradle can tell apart end to end in a half; `cradle_units` is how many the cradle holds
    below the stack for each of them.
    """

    label: str
    width_mm: float
    height_mm: float
    front: Half | None = None
    rear: Half | None = None
    greatest_deep: int = 2
    cradle_units: int = 0

    def __post_init__(self) -> None:
        require_size("position.width_mm", self.width_mm)
        require_size("position.height_mm", self.height_mm)
        require_count("position.greatest_deep", self.greatest_deep, most=MOST_DEEP)
        require_count("position.cradle_units", self.cradle_units, least=0, most=MOST_DEEP)
        if self.front is None and self.rear is None:
            raise BadMeasure("position", "has neither a front nor a rear half; measure one or both")

    def halves(self) -> tuple[tuple[End, Half], ...]:
        """The halves there are, front first."""
        both = ((End.FRONT, self.front), (End.REAR, self.rear))
        return tuple((end, half) for end, half in both if half is not None)


@dataclass(frozen=True, slots=True)
class SpiralPosition:
    """A lane with a spiral: one product stands in each turn, one turn drops one.

    `pitch_mm` is the clear length of one turn, `lane_width_mm` the clear width of the lane and
    `shelf_width_mm` that of the whole shelf where it is known.
    """

    label: str
    turns: int
    pitch_mm: float
    shelf_height_mm: float
    lane_width_mm: float
    shelf_width_mm: float | None = None

    def __post_init__(self) -> None:
        require_count("position.turns", self.turns, most=MOST_TURNS)
        require_size("position.pitch_mm", self.pitch_mm)
        require_size("position.shelf_height_mm", self.shelf_height_mm)
        require_size("position.lane_width_mm", self.lane_width_mm)
        if self.shelf_width_mm is not None:
            require_size("position.shelf_width_mm", self.shelf_width_mm)
            if self.shelf_width_mm + SAME_MM < self.lane_width_mm:
                raise BadMeasure(
                    "position.shelf_width_mm",
                    f"{self.shelf_width_mm:g} mm is narrower than its lane of "
                    f"{self.lane_width_mm:g} mm",
                )


Position: TypeAlias = StackPosition | SpiralPosition


@dataclass(frozen=True, slots=True)
class DepthProgram:
    """How the board is told to turn the motor for products loaded `deep` deep.

    A full turn of the cradle takes `cycle_s` seconds; after a drop the motor runs on for
    `run_on_s` seconds.
    """

    name: str
    deep: int
    cycle_s: float
    run_on_s: float = 0.0

    def __post_init__(self) -> None:
        require_count("program.deep", self.deep, most=MOST_DEEP)
        require_seconds("program.cycle_s", self.cycle_s, least=LEAST_SECONDS)
        require_seconds("program.run_on_s", self.run_on_s)


@dataclass(frozen=True, slots=True)
class Board:
    """What the machine's board knows: its vend window, its drop sensor, its depth programs.

    A window of about 15 seconds is common practice; no published source.
    """

    vend_window_s: float = 15.0
    drop_sensor: bool = True
    programs: tuple[DepthProgram, ...] = ()

    def __post_init__(self) -> None:
        require_seconds("board.vend_window_s", self.vend_window_s, least=LEAST_SECONDS)
        names = [program.name for program in self.programs]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise BadMeasure("board.programs", f"two programs are called {', '.join(twice)}")
