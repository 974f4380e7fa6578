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

#: A factor of e to this power from unit to unit puts all on one end; steps that find any factor.
_STEEPEST = 40.0
_STEPS = 60
#: Means nearer than this are the same.
_SAME_UNITS = 1e-6


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
    pmf = np.zeros((mean.size, most + 1))
    rows, span = np.arange(mean.size), top - bottom
    pmf[rows, bottom] = 1
    unsure = np.flatnonzero(span)
    if unsure.size:
        chances = _leaning(mean[unsure] - bottom[unsure], span[unsure])
        at = bottom[unsure, np.newaxis] + np.arange(chances.shape[1])
        within = at <= top[unsure, np.newaxis]
        pmf[unsure, bottom[unsure]] = 0
        pmf[np.broadcast_to(unsure[:, np.newaxis], at.shape)[within], at[within]] = chances[within]
    return pmf


def _leaning(mean: Floats, span: Ints) -> Floats:
    """Distributions on 0 ... span (N,) of these means, (N, most span + 1): chances are in the ratio
    of one factor from unit to unit. Newton's method, halving where it would leave its bounds."""
    at = np.arange(int(span.max()) + 1, dtype=np.float64)[np.newaxis, :]
    within = at <= span[:, np.newaxis]
    low, high = np.full(mean.shape, -_STEEPEST), np.full(mean.shape, _STEEPEST)
    lean = np.zeros(mean.shape)
    found = np.empty(within.shape)
    left = np.arange(mean.size)
    for _ in range(_STEPS):
        # Reckoned from the end it leans to, so that no power overflows.
        top = np.where(lean[left] > 0, span[left], 0)[:, np.newaxis]
        weight = np.where(
            within[left], np.exp(np.minimum(lean[left, np.newaxis] * (at - top), 0)), 0
        )
        found[left] = weight / weight.sum(axis=1, keepdims=True)
        reached = (found[left] * at).sum(axis=1)
        spread = (found[left] * at * at).sum(axis=1) - reached * reached
        short = reached < mean[left]
        low[left] = np.where(short, lean[left], low[left])
        high[left] = np.where(short, high[left], lean[left])
        next_ = lean[left] + (mean[left] - reached) / np.maximum(spread, 1e-12)
        outside = (next_ <= low[left]) | (next_ >= high[left])
        lean[left] = np.where(outside, (low[left] + high[left]) / 2, next_)
        left = left[np.abs(reached - mean[left]) > _SAME_UNITS]
        if not left.size:
            break
    return found


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
