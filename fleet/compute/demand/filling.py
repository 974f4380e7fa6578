"""Filling in what would have been sold where columns ran dry, from the weeks around."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from .arrays import Floats, Ints, sums
from .censoring import expected_when_dry
from .history import DAYS_A_WEEK, History

#: Half-life, in weeks, with which a column's rate is smoothed where it ran dry.
SMOOTH_WEEKS: Final = 4.0
#: Expectation-maximisation creeps where much is missing; longer steps, below twice, get there
#: sooner and still arrive.
FURTHER: Final = 1.4
#: Columns filled at a time.
AT_ONCE: Final = 8192


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
    sold_weeks = history.weekly_units(np.where(loose.ran_dry, 0.0, loose.units))
    column, prior = loose.column[dry], shape / mean
    filled = loose.units.copy()
    edges = np.arange(0, history.columns + AT_ONCE, AT_ONCE)
    bounds = np.searchsorted(column, edges)
    # Each column is filled for itself; a few at a time stay in the cache.
    for begin, start, end in zip(edges[:-1], bounds[:-1], bounds[1:], strict=True):
        if start == end:
            continue
        part = slice(int(begin), min(int(begin) + AT_ONCE, history.columns))
        rows = dry[start:end]
        place = column[start:end] - begin
        filled[rows] = _filled(
            Part(
                kernel,
                kernel @ weekly_exposure[:, part] + prior[part],
                kernel @ sold_weeks[:, part] + shape,
                loose.middle[rows] // DAYS_A_WEEK * (part.stop - part.start) + place,
                loose.units[rows],
                dispersion[column[start:end]],
                loose_exposure[rows],
                prior[column[start:end]],
            ),
            None if units is None else units[rows],
            steps,
        )
    return filled


@dataclass(frozen=True, eq=False)
class Part:
    """Some columns with those of their intervals that ran dry.

    kernel [weeks, weeks]; exposed and known [weeks, columns] around each week, with the prior's.
    Of each interval its place among weeks x columns, units sold, dispersion, exposure, and the
    exposure that its column's prior stands for.
    """

    kernel: Floats
    exposed: Floats
    known: Floats
    cell: Ints
    sold: Floats
    wide: Floats
    watched: Floats
    prior: Floats

    def around(self, values: Floats) -> Floats:
        """What lies in the weeks around each interval, of values of each."""
        laid = sums(self.cell, values, self.known.size).reshape(self.known.shape)
        found: Floats = (self.kernel @ laid).ravel()[self.cell]
        return found


def _filled(part: Part, asked: Floats | None, steps: int) -> Floats:
    known, exposed = part.known.ravel()[part.cell], part.exposed.ravel()[part.cell]
    if asked is None:
        rate = known / np.maximum(exposed - part.around(part.watched), part.prior)
        asked = expected_when_dry(part.sold, rate * part.watched, part.wide)
    for _ in range(steps):
        rate = (part.around(asked) + known) / exposed
        step = expected_when_dry(part.sold, rate * part.watched, part.wide) - asked
        asked = np.maximum(asked + FURTHER * step, part.sold)
    return asked
