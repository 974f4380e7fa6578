"""What a column may hold: book stock is an estimate until somebody counts.

Of about 370,000 store stock records 65 % were wrong (DeHoratius & Raman 2008, Management Science
54(4)), so every question here takes the present stock as a distribution.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fleet.compute.columns import Floats, Ints
from fleet.compute.restock.distributions import as_pmf
from fleet.compute.units import BadMeasure

#: Halvings of the span in which the tilt is sought: to far less than a thousandth of a unit.
_HALVINGS = 40
_STEEPEST = 40.0


def counted(units: ArrayLike, most: int) -> Floats:
    """Stock that was counted just now, as (N, most + 1). A count below 0 is taken as 0."""
    held = _whole("units", units)
    pmf = np.zeros((held.size, most + 1))
    pmf[np.arange(held.size), np.clip(held, 0, most)] = 1
    return pmf


def between(expected: ArrayLike, low: ArrayLike, high: ArrayLike, most: int) -> Floats:
    """Stock known by a mean and a range, as (N, most + 1).

    The distribution on low..high with that mean which presumes least (of greatest entropy, Jaynes
    1957): chances that rise or fall by one factor from unit to unit, all equal where the mean is
    in the middle. A range that goes below 0 or above `most` is cut there, and the mean with it.
    """
    bottom = np.clip(_whole("low", low), 0, most)
    top = np.clip(_whole("high", high), 0, most)
    if (bottom > top).any():
        row = int(np.argmax(bottom > top))
        raise BadMeasure(f"low.{row}", f"{bottom[row]} is more than the high of {top[row]}")
    mean = np.clip(np.atleast_1d(np.asarray(expected, dtype=np.float64)), bottom, top)
    span = (top - bottom).astype(np.float64)
    part = np.divide(mean - bottom, span, out=np.full(span.shape, 0.5), where=span > 0)
    at = np.arange(most + 1)[np.newaxis, :]
    within = (at >= bottom[:, np.newaxis]) & (at <= top[:, np.newaxis])
    place = (at - bottom[:, np.newaxis]) / np.maximum(span, 1)[:, np.newaxis]

    def tilted(steepness: Floats) -> Floats:
        power = steepness[:, np.newaxis] * (place - (steepness > 0)[:, np.newaxis])
        weight = np.where(within, np.exp(np.minimum(power, 0)), 0)
        chances: Floats = weight / weight.sum(axis=1, keepdims=True)
        return chances

    least = np.full(mean.shape, -_STEEPEST) * np.maximum(span, 1)
    most_steep = -least
    for _ in range(_HALVINGS):
        middle = (least + most_steep) / 2
        low_mean = (tilted(middle) * place).sum(axis=1) < part
        least = np.where(low_mean, middle, least)
        most_steep = np.where(low_mean, most_steep, middle)
    return tilted((least + most_steep) / 2)


def after_sales(stock: ArrayLike, sold: ArrayLike) -> Floats:
    """What is left of `stock` (N, U) once `sold` (N, V) were asked for; never below 0.

    Stock and demand are taken as independent: the demand is that of the time after the stock was
    known. Also the stock at a later visit, with the demand until then.
    """
    before, asked = as_pmf("stock", stock), as_pmf("sold", sold)
    count = max(before.shape[0], asked.shape[0])
    units = before.shape[1]
    left = np.zeros((count, units))
    for taken in range(min(asked.shape[1], units)):
        beyond = asked[:, taken:].sum(axis=1) if taken == units - 1 else asked[:, taken]
        left[:, : units - taken] += before[:, taken:] * beyond[:, np.newaxis]
    left[:, 0] += np.maximum(1 - left.sum(axis=1), 0)
    return left


def _whole(field: str, units: ArrayLike) -> Ints:
    given = np.atleast_1d(np.asarray(units))
    if given.dtype.kind not in "iu":
        rounded = np.rint(given.astype(np.float64))
        if not np.isfinite(rounded).all():
            raise BadMeasure(field, "every number of units must be finite")
        given = rounded
    return given.astype(np.int64)
