"""The figures a fit judges by. An operator may change any of them."""

from __future__ import annotations

from dataclasses import dataclass, fields

from fleet.compute.units import MOST_SIZE_MM, BadMeasure, require_between


@dataclass(frozen=True, slots=True)
class Rules:
    """Limits of a fit, in mm, seconds and grams.

    - `least_play_mm`: a quarter inch beyond the products, a finger's width. Less, and they bind
      on their way down to the motor. Common practice; no published source.
    - `most_play_mm`: three quarters of an inch. More, and they shift off the beam. A default of
      our own.
    - `cap_least_mm`: room between the cap and the spacers that hold a bottle by it. A default
      of our own for the common practice of setting them just at the cap.
    - `neck_margin_mm`: room from a spacer to either end of the neck. A default of our own.
    - `neck_least_step_mm`: how much thinner than the body a neck must be for a spacer to hold
      by it. A default of our own.
    - `side_clearance_mm`: room across, both sides together. A default of our own.
    - `head_clearance_mm`: room above a product on a shelf. A default of our own.
    - `pitch_clearance_mm`: room in a turn of a spiral. Common practice; no published source.
    - `pitch_most_clearance_mm`: more room than this, and a product may lean or fall over. A
      default of our own.
    - `heavy_g`, `tall_mm`: from here a product in a spiral wants a larger pitch or a pusher.
      That it does is common practice, the figures are defaults of our own.
    - `least_rest_s`: a drop nearer than this to the end of the motor's run-on may fall into
      it. A default of our own.
    - `learned_least_count`: fewer passed changeovers than this teach nothing. A default of our own.
    """

    least_play_mm: float = 6.35
    most_play_mm: float = 19.05
    cap_least_mm: float = 1.0
    neck_margin_mm: float = 1.0
    neck_least_step_mm: float = 10.0
    side_clearance_mm: float = 2.0
    head_clearance_mm: float = 5.0
    pitch_clearance_mm: float = 3.0
    pitch_most_clearance_mm: float = 25.0
    heavy_g: float = 300.0
    tall_mm: float = 220.0
    least_rest_s: float = 1.0
    learned_least_count: int = 3

    def __post_init__(self) -> None:
        for field in fields(self):
            require_between(
                f"rules.{field.name}",
                getattr(self, field.name),
                0.0,
                MOST_SIZE_MM,
                field.name.rpartition("_")[2],
            )
        if self.least_play_mm > self.most_play_mm:
            raise BadMeasure(
                "rules.least_play_mm",
                f"{self.least_play_mm:g} mm is more than the most play of "
                f"{self.most_play_mm:g} mm; give a band from least to most",
            )
        if self.cap_least_mm > self.most_play_mm:
            raise BadMeasure(
                "rules.cap_least_mm",
                f"{self.cap_least_mm:g} mm is more than the most play of {self.most_play_mm:g} mm",
            )


DEFAULT_RULES = Rules()
