"""The arrays that the watch speaks in, and the error for what cannot be true."""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.compute.units import BadMeasure

Floats: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.int64]
Flags: TypeAlias = npt.NDArray[np.bool_]


class BadEvidence(BadMeasure):
    """Figures that cannot be true: which, what is wrong with them, and what would be right.

    `field` is a path such as `exposure.3`: the fourth entry of `exposure`.
    """

    def __init__(self, field: str, message: str, index: int | None = None) -> None:
        super().__init__(field if index is None else f"{field}.{index}", message)


def floats(field: str, values: npt.ArrayLike, length: int | None = None) -> Floats:
    """A one-dimensional array of finite numbers; one number is taken `length` times."""
    given = np.asarray(values, dtype=np.float64)
    if given.ndim == 0 and length is not None:
        given = np.broadcast_to(given, (length,))
    if given.ndim != 1:
        raise BadEvidence(field, f"must be a plain list, not of shape {given.shape}")
    if length is not None and len(given) != length:
        raise BadEvidence(field, f"has {len(given)} entries, must have {length}")
    refuse_where(field, ~np.isfinite(given), "is not a number")
    return given


def counts(field: str, values: npt.ArrayLike, length: int | None = None) -> Floats:
    """Whole numbers of zero or more, kept as floats for arithmetic."""
    given = floats(field, values, length)
    refuse_where(field, (given < 0) | (given != np.floor(given)), "must be a count: 0, 1, 2 ..")
    return given


def whole(field: str, values: npt.ArrayLike, length: int | None = None) -> Floats:
    """Whole numbers, below zero too, kept as floats for arithmetic."""
    given = floats(field, values, length)
    refuse_where(field, given != np.floor(given), "must be a whole number")
    return given


def flags(field: str, values: npt.ArrayLike, length: int) -> Flags:
    """[length] true or false; one value is taken for all."""
    given = np.asarray(values)
    if given.ndim == 0:
        given = np.broadcast_to(given, (length,))
    if given.shape != (length,):
        raise BadEvidence(field, f"has shape {given.shape}, must have {length} entries")
    return given.astype(np.bool_, copy=False)


def sums(place: Ints, values: npt.ArrayLike, size: int) -> Floats:
    """[size] sums of `values` by `place`; floats even where there are none, unlike bincount."""
    return np.bincount(place, values, size).astype(np.float64, copy=False)


def refuse_where(field: str, wrong: Flags, message: str) -> None:
    """Refuse with the first place where `wrong` holds. Raises BadEvidence."""
    if wrong.any():
        raise BadEvidence(field, message, int(np.argmax(wrong)))


def refuse_unless(field: str, right: bool, message: str) -> None:
    """Refuse a single figure. Raises BadEvidence."""
    if not right:
        raise BadEvidence(field, message)


def in_order(field: str, values: Sequence[float]) -> None:
    """Refuse moments that go back. Raises BadEvidence."""
    for index in range(1, len(values)):
        if values[index] < values[index - 1]:
            raise BadEvidence(field, "lies before the one above it; put them in order", index)
