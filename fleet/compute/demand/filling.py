"""Filling in what would have been sold where columns ran dry, from the weeks around."""

from typing import Final

import numpy as np

from .arrays import Floats, sums
from .censoring import expected_when_dry
from .history import History

#: Half-life, in weeks, with which a column's rate is smoothed where it ran dry.
SMOOTH_WEEKS: Final = 4.0
#: Expectation-maximisation creeps where much is missing; longer steps, below twice, get there
#: sooner and still arrive.
FURTHER: Final = 1.4


def fill_dry(
    history: History,
    weekly_exposure: Floats,
    loose_exposure: Floats,
    mean: Floats,
    shape: float,
    dispersion: Floats,
    units: Floats | None,
    steps: int,
) -> Floats:
    """[loose] units, with what would have been asked for where a column ran dry.

    Expectation-maximisation with a rate that changes slowly from week to week, `steps` of it from
    `units` as they stand; without them, from what the intervals that did not run dry say.
    `weekly_exposure` [weeks, columns]; `mean` [columns] and `shape` are the prior's of the rate,
    `dispersion` [columns].
    """
    loose = history.loose
    dry = np.flatnonzero(loose.ran_dry)
    if not len(dry):
        return loose.units
    weeks = np.arange(history.weeks)
    kernel = 0.5 ** (np.abs(weeks[:, None] - weeks) / SMOOTH_WEEKS)
    exposed = kernel @ weekly_exposure + shape / mean
    known = kernel @ history.weekly_units(np.where(loose.ran_dry, 0.0, loose.units)) + shape
    cell = history.loose_week[dry]
    sold, wide, watched = loose.units[dry], dispersion[loose.column[dry]], loose_exposure[dry]
    if units is None:
        unseen = kernel @ sums(cell, watched, known.size).reshape(known.shape)
        rate = known / np.maximum(exposed - unseen, shape / mean)
        asked = expected_when_dry(sold, rate.ravel()[cell] * watched, wide)
    else:
        asked = units[dry]
    for _ in range(steps):
        laid = sums(cell, asked, known.size).reshape(known.shape)
        rate = (kernel @ laid + known) / exposed
        step = expected_when_dry(sold, rate.ravel()[cell] * watched, wide) - asked
        asked = np.maximum(asked + FURTHER * step, sold)
    filled = loose.units.copy()
    filled[dry] = asked
    return filled
