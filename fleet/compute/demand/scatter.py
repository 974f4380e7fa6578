"""How much counts scatter around their rate: as a Poisson count does, or more."""

from typing import Final

import numpy as np

from .arrays import Flags, Floats, Ints
from .history import History

MOST_DISPERSION: Final = 20.0


def dispersion_of(
    history: History, sold: Floats, exposed: Floats, worth: float
) -> tuple[Floats, float]:
    """[columns] variance over mean of counts, shrunk to the pooled one; and the pooled one.

    `sold` and `exposed` are [weeks, columns].

    From each pair of neighbouring weeks: of y1 and y2 sold at exposures x1 and x2 the square of
    y1 - p (y1 + y2), p = x1 / (x1 + x2), has the expectation p (1 - p) x dispersion x the mean of
    both. A level that drifts so hardly counts as scatter. Weeks that ran dry are left out.
    """
    dry = None
    if history.loose.ran_dry.any():
        dry = history.loose_weeks(history.loose.ran_dry.astype(np.float64))
    square, count = np.empty(history.columns), np.empty(history.columns)
    pairs = np.empty(history.columns, np.int64)
    for part in history.parts():
        y, x = sold[:, part], exposed[:, part]
        clean = x > 0
        if dry is not None:
            clean &= dry[:, part] == 0
        square[part], count[part], pairs[part] = _of_pairs(y, x, clean)
    total = float(count.sum())
    pooled = float(np.clip(square.sum() / total if total else 1.0, 1.0, MOST_DISPERSION))
    # A pair of small counts tells less, and neighbouring pairs share a week.
    a_week = np.divide(count, 2 * pairs, out=np.zeros_like(count), where=pairs > 0)
    told = 2 / 3 * pairs * 2 * a_week / (2 * a_week + 1)
    own = np.divide(square, count, out=np.full_like(square, pooled), where=count > 0)
    found = (worth * pooled + told * own) / (worth + told)
    return np.clip(found, 1.0, MOST_DISPERSION), pooled


def _of_pairs(sold: Floats, exposed: Floats, clean: Flags) -> tuple[Floats, Floats, Ints]:
    """[columns] sums over neighbouring weeks that are both clean, and how many those are."""
    pair = clean[1:] & clean[:-1]
    both = sold[1:] + sold[:-1]
    length = exposed[1:] + exposed[:-1]
    part = np.divide(exposed[1:], length, out=np.full_like(length, 0.5), where=pair)
    square = (sold[1:] - part * both) ** 2 / (part * (1 - part))
    return (
        np.where(pair, square, 0).sum(axis=0),
        np.where(pair, both, 0).sum(axis=0),
        pair.sum(axis=0),
    )
