"""Forecasts of lumpy demand that the demand model is measured against; not used by the service.

Croston 1972: the size of a sale and the time between sales are smoothed apart, by `alpha`.
Syntetos & Boylan 2005 (SBA): the same less half of alpha of it, which takes out its bias.
Teunter, Syntetos & Babai 2011 (TSB): the chance of a sale is smoothed instead of the time.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def croston(sold: npt.NDArray[np.int64], alpha: float = 0.1) -> Floats:
    """[n] units a period, from [n, periods] sold."""
    size, gap, waited, begun = (np.zeros(len(sold)) for _ in range(4))
    for now in sold.T:
        waited += 1
        came, first = now > 0, (now > 0) & (begun == 0)
        size = np.where(first, now, np.where(came, size + alpha * (now - size), size))
        gap = np.where(first, waited, np.where(came, gap + alpha * (waited - gap), gap))
        begun = np.where(came, 1, begun)
        waited = np.where(came, 0, waited)
    return np.divide(size, gap, out=np.zeros(len(sold)), where=gap > 0)


def sba(sold: npt.NDArray[np.int64], alpha: float = 0.1) -> Floats:
    """[n] units a period, from [n, periods] sold."""
    return (1 - alpha / 2) * croston(sold, alpha)


def tsb(sold: npt.NDArray[np.int64], alpha: float = 0.1, beta: float = 0.1) -> Floats:
    """[n] units a period, from [n, periods] sold."""
    chance = (sold[:, 0] > 0).astype(np.float64)
    first = np.argmax(sold > 0, axis=1)
    size = sold[np.arange(len(sold)), first].astype(np.float64)
    for period, now in enumerate(sold.T[1:], start=1):
        came = now > 0
        chance += beta * (came - chance)
        size = np.where(came & (period > first), size + alpha * (now - size), size)
    return chance * size
