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

# Wider than anything in a cabinet on either side: a slip of the keyboard or a mistaken unit is
# refused by name instead of becoming a capacity of billions.
LEAST_SIZE_MM = 0.1
MOST_SIZE_MM = 10_000.0
LEAST_SECONDS = 0.1
MOST_SECONDS = 3_600.0


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


def require_between(field: str, value: float, least: float, most: float, unit: str) -> None:
    """Refuse a number that is not finite or lies outside its limits. Raises BadMeasure."""
    if not math.isfinite(value) or not least <= value <= most:
        raise BadMeasure(
            field, f"{value} {unit} cannot be used; give a number from {least:g} to {most:g} {unit}"
        )


def require_size(field: str, value: float) -> None:
    """Refuse a length that nothing in a cabinet has, in mm. Raises BadMeasure."""
    require_between(field, value, LEAST_SIZE_MM, MOST_SIZE_MM, "mm")


def require_seconds(field: str, value: float, *, least: float = 0.0) -> None:
    """Refuse a time that no motor takes, in seconds. Raises BadMeasure."""
    require_between(field, value, least, MOST_SECONDS, "s")


def require_count(field: str, value: int, *, least: int = 1, most: int | None = None) -> None:
    """Refuse a count below `least`, above `most` or not whole. Raises BadMeasure."""
    span = f"from {least} up" if most is None else f"from {least} to {most}"
    whole = isinstance(value, int) and not isinstance(value, bool)
    if not whole or value < least or (most is not None and value > most):
        raise BadMeasure(field, f"{value} cannot be used; give a whole number {span}")
