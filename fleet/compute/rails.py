"""Spacer rails: from a notch's number to a distance, and to the words a hand finds it by."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fleet.compute.units import (
    MOST_SIZE_MM,
    BadMeasure,
    require_between,
    require_count,
    require_size,
)

# Far more than a rail in a cabinet has; a slip of the keyboard beyond it is refused at once
# instead of being counted through.
MOST_NOTCHES = 500


class Runs(StrEnum):
    """Which way the count of a rail's notches runs from its zero."""

    OUTWARD = "outward"
    INWARD = "inward"


class End(StrEnum):
    """Which half of the cabinet a rail serves, seen from the door."""

    FRONT = "front"
    REAR = "rear"


@dataclass(frozen=True, slots=True)
class Rail:
    """A row of notches. Distances in mm from the centre beam.

    Notch 0 lies `zero_mm` from the beam; the count runs outward (toward the door or the back
    wall) or inward (toward the beam), one notch each `pitch_mm`. Every `mark_every`-th notch
    carries an index mark; 0 means there are no marks. `offset_mm` is a learned correction added
    to every notch's distance. Raises BadMeasure.
    """

    zero_mm: float
    pitch_mm: float
    notches: int
    mark_every: int = 3
    runs: Runs = Runs.OUTWARD
    offset_mm: float = 0.0

    def __post_init__(self) -> None:
        require_between("rail.zero_mm", self.zero_mm, 0.0, MOST_SIZE_MM, "mm")
        require_size("rail.pitch_mm", self.pitch_mm)
        require_count("rail.notches", self.notches, most=MOST_NOTCHES)
        require_count("rail.mark_every", self.mark_every, least=0, most=MOST_NOTCHES)
        require_between("rail.offset_mm", self.offset_mm, -MOST_SIZE_MM, MOST_SIZE_MM, "mm")
        if self.runs is Runs.INWARD and self.zero_mm < (self.notches - 1) * self.pitch_mm:
            raise BadMeasure(
                "rail.notches",
                f"counting {self.notches} notches of {self.pitch_mm} mm inward from "
                f"{self.zero_mm} mm passes the centre beam; check the zero, the pitch and "
                "which way the count runs",
            )

    @property
    def nominal_farthest_mm(self) -> float:
        """Distance of the outermost notch as measured, before any learned correction."""
        if self.runs is Runs.INWARD:
            return self.zero_mm
        return self.zero_mm + (self.notches - 1) * self.pitch_mm

    @property
    def outermost(self) -> int:
        """The notch farthest from the beam."""
        return self.notches - 1 if self.runs is Runs.OUTWARD else 0

    @property
    def innermost(self) -> int:
        """The notch nearest the beam."""
        return 0 if self.runs is Runs.OUTWARD else self.notches - 1

    def distance_mm(self, notch: int) -> float:
        """Distance of a notch from the beam. Raises BadMeasure when the rail has no such notch."""
        if not 0 <= notch < self.notches:
            raise BadMeasure("notch", f"{notch} is not on this rail: 0 to {self.notches - 1} are")
        step = notch * self.pitch_mm
        reach = self.zero_mm + step if self.runs is Runs.OUTWARD else self.zero_mm - step
        return reach + self.offset_mm

    def outward(self) -> tuple[int, ...]:
        """All notches, from the beam outward."""
        count = range(self.notches)
        return tuple(count) if self.runs is Runs.OUTWARD else tuple(reversed(count))
