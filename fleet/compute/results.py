"""What a fit answers: a verdict, and every number and reason behind it. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeAlias

from fleet.compute.packages import PackageKind
from fleet.compute.rails import End

Value: TypeAlias = float | int | str | bool | None


class Verdict(StrEnum):
    FITS = "fits"
    FITS_WITH_CAUTION = "fits_with_caution"
    DOES_NOT_FIT = "does_not_fit"
    CANNOT_TELL = "cannot_tell"


class Hold(StrEnum):
    """What a spacer holds the products by."""

    NECK = "neck"
    CAP = "cap"
    END = "end"


class Source(StrEnum):
    """Where a setting comes from."""

    MEASURED = "measured"
    LEARNED = "learned"
    LABEL = "label"
    COMPUTED = "computed"


class Risk(StrEnum):
    """What a depth program does to products loaded as they are."""

    NONE = "none"
    DROPS_INTO_RUN_ON = "drops_into_run_on"
    FALSE_SOLD_OUT = "false_sold_out"
    NOTHING_DELIVERED = "nothing_delivered"
    TWO_FOR_ONE = "two_for_one"


@dataclass(frozen=True, slots=True)
class Reason:
    """One step of the argument: a stable code, plain words, and the numbers in the words."""

    code: str
    text: str
    values: dict[str, Value] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Margin:
    """A length against its limits. `name` is stable; either limit may be absent."""

    name: str
    text: str
    value_mm: float
    least_mm: float | None
    most_mm: float | None
    met: bool


@dataclass(frozen=True, slots=True)
class Setting:
    """Where a pair of spacers or a plate goes: both sides of a pair carry the same setting.

    `play_mm` is how far the products can move off the beam before they touch it.
    """

    end: End
    notch: int
    distance_mm: float
    said: str
    play_mm: float
    hold: Hold
    source: Source = Source.COMPUTED


@dataclass(frozen=True, slots=True)
class Candidate:
    """What loading `deep` deep would take; `fits` only if every half has a setting.

    `to_measure` names the sizes without which this depth cannot be judged.
    """

    deep: int
    fits: bool
    front: Setting | None
    rear: Setting | None
    margins: tuple[Margin, ...]
    reasons: tuple[Reason, ...]
    cautions: tuple[Reason, ...] = ()
    to_measure: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Capacity:
    """Units a position holds: (layers + cradle units) x deep x halves; in a spiral, its turns.

    `layer_pitch_mm` is the mean rise of a layer.
    """

    units: int
    layers: int
    deep: int
    halves: int
    cradle_units: int
    layer_pitch_mm: float


@dataclass(frozen=True, slots=True)
class ProgramOutlook:
    """What one depth program does with products loaded `deep_loaded` deep.

    `next_drop_s` is the time from the start of the next vend to its drop; at or below zero it
    falls during the run-on of this one. `products_per_payment` is a mean.
    """

    program: str
    deep_programmed: int
    deep_loaded: int
    next_drop_s: float
    vend_window_s: float
    products_per_payment: float
    risk: Risk
    reason: Reason


@dataclass(frozen=True, slots=True)
class ChartComparison:
    """One chart entry beside the setting that was chosen."""

    source: Source
    deep: int
    front_notch: int | None
    rear_notch: int | None
    count: int
    chosen: bool
    agrees: bool
    reason: Reason


@dataclass(frozen=True, slots=True)
class Fit:
    """The whole answer for one package in one position."""

    verdict: Verdict
    position: str
    package_kind: PackageKind
    deep: int | None = None
    front: Setting | None = None
    rear: Setting | None = None
    capacity: Capacity | None = None
    program: str | None = None
    programs: tuple[ProgramOutlook, ...] = ()
    margins: tuple[Margin, ...] = ()
    candidates: tuple[Candidate, ...] = ()
    charts: tuple[ChartComparison, ...] = ()
    to_measure: tuple[str, ...] = ()
    reasons: tuple[Reason, ...] = ()
    cautions: tuple[Reason, ...] = ()
