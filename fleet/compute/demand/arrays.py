"""The arrays that the demand model speaks in, and the error for those that cannot be true."""

from typing import Any

import numpy as np
import numpy.typing as npt

from fleet.compute.units import BadMeasure

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


class BadSales(BadMeasure):
    """Sales, a calendar or a model that cannot be true: what, where, and what would be right.

    `field` is a path such as `units.3`: the fourth entry of `units`.
    """

    def __init__(self, field: str, message: str, index: int | None = None) -> None:
        super().__init__(field if index is None else f"{field}.{index}", message)


def as_ints(field: str, values: npt.ArrayLike, length: int | None = None) -> Ints:
    """A one-dimensional array of whole numbers. Raises BadSales."""
    return _shaped(field, _whole(field, np.asarray(values)), length).astype(np.int64, copy=False)


def as_floats(field: str, values: npt.ArrayLike, length: int | None = None) -> Floats:
    """A one-dimensional array of finite numbers. Raises BadSales."""
    given = _shaped(field, np.asarray(values, dtype=np.float64), length)
    refuse_where(field, ~np.isfinite(given), "is not a number")
    return given


def sums(place: Ints, values: Floats, size: int) -> Floats:
    """[size] sums of `values` by `place`; numbers even where there are none, unlike bincount."""
    return np.bincount(place, values, size).astype(np.float64, copy=False)


def refuse_where(field: str, wrong: Flags, message: str) -> None:
    """Refuse with the first place where `wrong` holds. Raises BadSales."""
    if wrong.any():
        raise BadSales(field, message, int(np.argmax(wrong)))


def _whole(field: str, given: npt.NDArray[Any]) -> npt.NDArray[Any]:
    if given.size == 0 or given.dtype.kind in "iu":
        return given
    if given.dtype.kind == "f":
        refuse_where(field, ~(np.floor(given) == given), "must be a whole number")
        return given
    raise BadSales(field, f"must hold whole numbers, not {given.dtype}")


def _shaped(field: str, given: npt.NDArray[Any], length: int | None) -> npt.NDArray[Any]:
    if given.ndim != 1:
        raise BadSales(field, f"must be a plain list, not of shape {given.shape}")
    if length is not None and len(given) != length:
        raise BadSales(field, f"has {len(given)} entries, must have {length}")
    return given
