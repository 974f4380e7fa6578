"""The physical shape of what is sold, as measured on the table before a changeover."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, fields
from enum import StrEnum

from fleet.compute.units import BadMeasure, require_between, require_size


class PackageKind(StrEnum):
    CAN = "can"
    NECKED_BOTTLE = "necked_bottle"
    BOTTLE_WITHOUT_NECK = "bottle_without_neck"
    CARTON = "carton"
    BAG = "bag"

    @property
    def words(self) -> str:
        return self.value.replace("_", " ")

    @property
    def is_round(self) -> bool:
        """Round packages roll and settle against each other; cartons and bags do not."""
        return self in (
            PackageKind.CAN,
            PackageKind.NECKED_BOTTLE,
            PackageKind.BOTTLE_WITHOUT_NECK,
        )


@dataclass(frozen=True, slots=True)
class Package:
    """One package. Sizes in mm; None means not measured yet.

    Along the axis everything is measured from the base: `length_mm` to the far end of the cap,
    `shoulder_mm` to where the body begins to narrow, `neck_from_mm` and `neck_to_mm` to the two
    ends of the stretch a spacer can lie in. `diameter_mm` is the greatest diameter of the body
    (for a can the body, not the nominal size in its name). A carton lies with `length_mm` along
    the depth, `width_mm` across and `thickness_mm` up; in a spiral it stands `height_mm` tall.
    Raises BadMeasure for a size that no package has or for sizes that contradict each other.
    """

    kind: PackageKind
    length_mm: float | None = None
    diameter_mm: float | None = None
    shoulder_mm: float | None = None
    neck_from_mm: float | None = None
    neck_to_mm: float | None = None
    neck_diameter_mm: float | None = None
    cap_diameter_mm: float | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    thickness_mm: float | None = None
    volume_ml: float | None = None
    weight_g: float | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if field.name == "kind" or value is None:
                continue
            if field.name.endswith("_mm"):
                require_size(f"package.{field.name}", value)
            else:
                unit = field.name.rpartition("_")[2]
                require_between(f"package.{field.name}", value, 0.1, 100_000.0, unit)
        along = ("shoulder_mm", "neck_from_mm", "neck_to_mm", "length_mm")
        known = [(name, getattr(self, name)) for name in along]
        known = [(name, value) for name, value in known if value is not None]
        for (inner, nearer), (outer, farther) in itertools.pairwise(known):
            if nearer > farther:
                raise BadMeasure(
                    f"package.{inner}",
                    f"{nearer} mm from the base lies beyond {outer} at {farther} mm; "
                    "measure both from the base",
                )
        for part in ("neck_diameter_mm", "cap_diameter_mm"):
            value = getattr(self, part)
            if value is not None and self.diameter_mm is not None and value > self.diameter_mm:
                raise BadMeasure(
                    f"package.{part}",
                    f"{value} mm is wider than the body's {self.diameter_mm} mm; "
                    "give the greatest diameter as diameter_mm",
                )

    @property
    def standing_height_mm(self) -> float | None:
        """How tall the package stands on a shelf."""
        if self.kind.is_round:
            return self.length_mm
        return self.height_mm

    @property
    def standing_width_mm(self) -> float | None:
        """How much of a lane's width the package takes when it stands."""
        return self.diameter_mm if self.kind.is_round else self.width_mm

    @property
    def standing_thickness_mm(self) -> float | None:
        """How much of a spiral's pitch the package takes when it stands."""
        return self.diameter_mm if self.kind.is_round else self.thickness_mm
