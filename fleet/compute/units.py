"""Lengths are kept in millimetres; people read them in the unit their business uses."""

from __future__ import annotations

import math
from enum import StrEnum

# The inch is exactly 25.4 mm (International yard and pound agreement, 1959).
MM_PER_INCH = 25.4

# Two lengths nearer than this are the same length: far below anything a rule can measure, far
# above the rounding of sums of notch pitches. Without it a plate that leaves exactly the least
# play would be refused or accepted by the luck of binary fractions.
SAME_MM = 1e-6


class BadMeasure(ValueError):
    """A measure that cannot be true: which one, what is wrong with it, what would be right."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(f"{field}: {message}")
        self.field = field
        self.message = message


class Units(StrEnum):
    """The unit in which lengths are spoken. Values in results stay in millimetres."""

    MILLIMETRES = "millimetres"
    INCHES = "inches"

    def length(self, mm: float) -> str:
        """A length in words: `6.4 mm`, or `0.25 in`."""
        if self is Units.INCHES:
            return f"{_plain(mm / MM_PER_INCH, 2)} in"
        return f"{_plain(mm, 1)} mm"


def inches(value: float) -> float:
    """A length given in inches, in mm."""
    return value * MM_PER_INCH


def _plain(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    if float(text) == 0:
        # "-0.0 mm" reads as a fault of the program, not as a measure.
        text = text.lstrip("-")
    return text


def require_positive(field: str, value: float) -> None:
    """Refuse a number that is not finite and above zero. Raises BadMeasure."""
    if not math.isfinite(value) or value <= 0:
        raise BadMeasure(field, f"{value} is not a measure; give a number above zero")


def require_not_negative(field: str, value: float) -> None:
    """Refuse a number that is not finite and at least zero. Raises BadMeasure."""
    if not math.isfinite(value) or value < 0:
        raise BadMeasure(field, f"{value} cannot be used; give zero or a number above it")


def require_count(field: str, value: int, *, least: int = 1, most: int | None = None) -> None:
    """Refuse a count below `least`, above `most` or not whole. Raises BadMeasure."""
    span = f"from {least} up" if most is None else f"from {least} to {most}"
    whole = isinstance(value, int) and not isinstance(value, bool)
    if not whole or value < least or (most is not None and value > most):
        raise BadMeasure(field, f"{value} cannot be used; give a whole number {span}")
