"""Distributions of whole units as rows of arrays.

An array (N, U) holds N distributions; entry [n, u] is the chance of exactly u units. What is
missing from a row's sum of 1 lies beyond its end and is put on its last entry, so a row must be
long enough for what is asked of it: what lies beyond its last entry is taken to be that entry.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import fft, special

from fleet.compute.columns import Floats, Ints
from fleet.compute.units import BadMeasure

#: Sums of a thousand rounded chances differ from 1 by far less; a wrong array by far more.
SAME_CHANCE = 1e-6


def as_pmf(field: str, chances: ArrayLike) -> Floats:
    """Chances as an array (N, U) whose rows sum to 1.

    A single row may be given as (U,). Raises BadMeasure for a chance below 0, one that is not a
    number, a row that sums to more than 1, or no entries.
    """
    rows = np.array(chances, dtype=np.float64, ndmin=2)
    if rows.ndim != 2 or not rows.shape[1]:
        raise BadMeasure(field, "give the chances of 0, 1, 2, ... units, one row a column")
    wrong = ~((rows >= -SAME_CHANCE) & (rows <= 1 + SAME_CHANCE))
    if wrong.any():
        row, units = (int(place) for place in np.argwhere(wrong)[0])
        raise BadMeasure(
            f"{field}.{row}",
            f"the chance of {units} units is {rows[row, units]}; give a number from 0 to 1",
        )
    np.clip(rows, 0, 1, out=rows)
    totals = rows.sum(axis=1)
    if (totals > 1 + SAME_CHANCE).any():
        row = int(np.argmax(totals))
        raise BadMeasure(f"{field}.{row}", f"the chances sum to {totals[row]:.6f}; to 1 at most")
    rows[:, -1] += np.maximum(1 - totals, 0)
    return rows


def tails(pmf: Floats, units: int) -> Floats:
    """The chance of at least 1, 2, ... `units` units, as (N, units); 0 beyond the rows' end."""
    at_least = np.cumsum(pmf[:, :0:-1], axis=1)[:, ::-1]
    short = units - at_least.shape[1]
    if short > 0:
        at_least = np.pad(at_least, ((0, 0), (0, short)))
    return np.clip(at_least[:, :units], 0, 1)


def means(pmf: Floats) -> Floats:
    """The mean of each row, in units."""
    mean: Floats = pmf @ np.arange(pmf.shape[1], dtype=np.float64)
    return mean


def quantiles(pmf: Floats, chance: ArrayLike) -> Ints:
    """The fewest units that are not exceeded with at least `chance`, one a row.

    `chance` is one number or one a row, from 0 to 1.
    """
    wanted = np.broadcast_to(np.asarray(chance, dtype=np.float64), pmf.shape[:1])
    reached = np.cumsum(pmf, axis=1) >= wanted[:, np.newaxis] - 1e-12
    reached[:, -1] = True
    found: Ints = np.argmax(reached, axis=1)
    return found


def poisson(mean: ArrayLike, units: int) -> Floats:
    """Poisson distributions of the given means, as (N, units); the tail is on the last entry."""
    at = np.atleast_1d(np.asarray(mean, dtype=np.float64))[:, np.newaxis]
    return _from_cdf(special.pdtr(np.arange(units), at))


def gamma_poisson(shape: ArrayLike, mean: ArrayLike, units: int) -> Floats:
    """Negative binomial distributions: Poisson with a gamma rate of this shape and this mean.

    As (N, units); the tail is on the last entry.
    """
    r = np.atleast_1d(np.asarray(shape, dtype=np.float64))[:, np.newaxis]
    m = np.atleast_1d(np.asarray(mean, dtype=np.float64))[:, np.newaxis]
    # P(D <= u) is the regularised incomplete beta I(r / (r + m); r, u + 1).
    return _from_cdf(special.betainc(r, np.arange(units) + 1.0, r / (r + m)))


def believed(mean: ArrayLike, relative_sd: ArrayLike, units: int) -> Floats:
    """Demand of these means whose rate is known to within a relative standard deviation.

    Poisson where that is 0, else negative binomial of shape 1 / relative_sd ** 2: the same shape
    for one day and for ten, since a rate that is off is off on all of them. As (N, units).
    """
    at, off = np.broadcast_arrays(
        np.atleast_1d(np.asarray(mean, dtype=np.float64)),
        np.asarray(relative_sd, dtype=np.float64),
    )
    found = poisson(at, units)
    unsure = (off > 0) & (at > 0)
    if unsure.any():
        found[unsure] = gamma_poisson(off[unsure] ** -2.0, at[unsure], units)
    return found


def _from_cdf(chances_at_most: ArrayLike) -> Floats:
    cdf = np.array(chances_at_most, dtype=np.float64)
    cdf[:, -1] = 1
    chances: Floats = np.maximum(np.diff(cdf, axis=1, prepend=0.0), 0)
    return chances


def total(pmfs: Floats) -> Floats:
    """The distribution of the sum of independent rows, as (U',): their convolution.

    Independence across columns is assumed: a hot week that lifts them all at once is not in it
    unless each row's spread already holds it.
    """
    count, units = pmfs.shape
    if count == 1:
        alone: Floats = pmfs[0].copy()
        return alone
    length = count * (units - 1) + 1
    size = fft.next_fast_len(length, real=True)
    spectrum = np.prod(fft.rfft(pmfs, size, axis=1), axis=0)
    found = np.clip(np.array(fft.irfft(spectrum, size)[:length], dtype=np.float64), 0, None)
    every: Floats = found / found.sum()
    return every
