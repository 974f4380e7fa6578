"""Each column's own level: how much it sells, and how fast that changes.

The level is a discounted Gamma-Poisson (Smith & Miller 1986; West & Harrison 1997, chapter on
discounting): sales and exposure lose half their weight in a half-life, on top of a prior that
does not fade. Which half-life is right is not assumed but learned: those of the settings are
mixed, each weighted by how well it foretold the column's last weeks (log score).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from .arrays import Floats
from .history import DAYS_A_WEEK, Grid, History
from .mixing import shares
from .settings import DemandSettings

#: A size beyond this is a Poisson count; kept finite for the sake of single precision.
MOST_SIZE: Final = 1e4
LEAST_MEAN: Final = 1e-9
SCORED_WEEKS: Final = 8


@dataclass(frozen=True, eq=False)
class Levels:
    """[columns] each: the Gamma of the rate, the half-life learned, the column's own exposure."""

    shape: Floats
    exposure_days: Floats
    half_life_days: Floats
    own_exposure: Floats


def learn(
    history: History,
    by_day: Floats,
    loose_units: Floats,
    loose_exposure: Floats,
    mean: Floats,
    shape: float,
    dispersion: Floats,
    settings: DemandSettings,
) -> Levels:
    """The levels at the end of the history.

    `by_day` [machines, days] is the exposure of each machine day; units and exposure are given of
    each loose row. `mean` [columns] and `shape` are the prior's, `dispersion` [columns].
    """
    half_lives = np.asarray(settings.half_lives_days, np.float64)
    columns, lives = history.columns, len(half_lives)
    score, a, b, own = (np.empty((lives, columns), np.float32) for _ in range(4))
    bounds = np.searchsorted(history.loose.column, np.arange(columns + 1))
    narrow = by_day.astype(np.float32)
    for part in history.parts():
        y, x = history.sold[part].copy(), history.plain_exposure(narrow, part)
        rows = slice(bounds[part.start], bounds[part.stop])
        cell = (history.loose.column[rows] - part.start, history.loose.middle[rows])
        np.add.at(y, cell, loose_units[rows].astype(np.float32))
        np.add.at(x, cell, loose_exposure[rows].astype(np.float32))
        filtered = _filtered(
            _weeks_first(y),
            _weeks_first(x),
            (shape / mean[part]).astype(np.float32),
            np.float32(shape),
            dispersion[part].astype(np.float32),
            half_lives,
            np.float32(settings.score_memory),
        )
        for kept, new in zip((score, a, b, own), filtered, strict=True):
            kept[:, part] = new
    weight = shares(score)
    rate = a / b
    average = (weight * rate).sum(axis=0)
    variance = (weight * (rate / b + (rate - average) ** 2)).sum(axis=0)
    return Levels(
        average**2 / variance,
        average / variance,
        np.exp(np.log(half_lives) @ weight),
        (weight * own).sum(axis=0),
    )


def _weeks_first(grid: Grid) -> Grid:
    """[weeks, 7, columns] of [columns, days]: columns last, where arithmetic is fastest."""
    return np.ascontiguousarray(grid.T).reshape(-1, DAYS_A_WEEK, len(grid))


def _filtered(
    y: Grid,
    x: Grid,
    prior_exposure: Grid,
    shape: np.float32,
    dispersion: Grid,
    half_lives: Floats,
    memory: np.float32,
) -> tuple[Grid, Grid, Grid, Grid]:
    """Week by week: foretell, score, take in, fade. [half-lives, columns] each."""
    until_end = np.arange(DAYS_A_WEEK)[::-1] + 0.5
    inside = 0.5 ** (until_end / half_lives[:, None])
    # One row more, unfaded, gives the weeks' plain sums.
    weighed = np.vstack((inside, np.ones(DAYS_A_WEEK))).astype(np.float32)
    fade = (0.5 ** (DAYS_A_WEEK / half_lives)).astype(np.float32)[:, None]
    new_sold, new_exposed = weighed @ y, weighed @ x
    sold = np.zeros((len(half_lives), len(dispersion)), np.float32)
    exposed, score = np.zeros_like(sold), np.zeros_like(sold)
    for week in range(len(y)):
        if week >= len(y) - SCORED_WEEKS:
            a, b = shape + sold / dispersion, prior_exposure + exposed / dispersion
            told = _log_score(new_sold[week, -1], new_exposed[week, -1], a, b, dispersion)
            score = memory * score + told
        sold = fade * sold + new_sold[week, :-1]
        exposed = fade * exposed + new_exposed[week, :-1]
    return score, shape + sold / dispersion, prior_exposure + exposed / dispersion, exposed


def _log_score(y: Grid, x: Grid, a: Grid, b: Grid, dispersion: Grid) -> Grid:
    """Log chance of y units at exposure x, but for what is the same for every a and b.

    log gamma(r + y) - log gamma(r) by Stirling's series two steps up, arranged so that no large
    numbers are subtracted and few logarithms taken.
    """
    m = np.maximum(a / b * x, np.float32(LEAST_MEAN))
    r = np.minimum(1 / ((dispersion - 1) / m + 1 / a), np.float32(MOST_SIZE))
    up, whole, end = r + 2, r + m, r + y
    found: Grid = (up + y - np.float32(0.5)) * np.log(1 + y / up)
    found += y * (np.log(up * m / whole) - 1)
    found -= r * np.log(whole / r)
    found -= np.log(end * (end + 1) / (r * (r + 1)))
    found += (1 / (up + y) - 1 / up) * np.float32(1 / 12)
    found *= x > 0
    return found
