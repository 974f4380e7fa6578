"""Each column's own level: how much it sells, how much that scatters, how fast it changes.

The level is a discounted Gamma-Poisson (Smith & Miller 1986; West & Harrison 1997, chapter on
discounting): sales and exposure lose half their weight in a half-life, on top of a prior that
does not fade. Which half-life is right is not assumed but learned: those of the settings are
mixed, each weighted by how well it foretold the column's last weeks (log score).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from .arrays import Floats, Ints, sums
from .censoring import expected_when_dry
from .history import DAYS_A_WEEK, History
from .settings import DemandSettings

#: Columns worked on at a time: their weeks, days and half-lives then stay in the cache.
AT_ONCE: Final = 2048
#: Half-life, in weeks, with which a column's rate is smoothed where it ran dry.
SMOOTH_WEEKS: Final = 4.0
FILL_STEPS: Final = 8
MOST_DISPERSION: Final = 20.0
COMMON_STEPS: Final = 30
#: So many columns of no particular half-life stand beside the fleet's when its mean is taken.
COMMON_WORTH: Final = 3.0


@dataclass(frozen=True, eq=False)
class Levels:
    """[columns] each: the Gamma of the rate, the half-life learned, the column's own exposure."""

    shape: Floats
    exposure_days: Floats
    half_life_days: Floats
    own_exposure: Floats


def weekly(history: History, rows: Floats, chosen: Ints | None = None) -> Floats:
    """[columns, weeks] sums of rows by the week that their middle falls in."""
    cell = _week_cell(history)
    size = history.sales.columns * history.weeks
    if chosen is not None:
        cell = cell[chosen]
    return sums(cell, rows, size).reshape(-1, history.weeks)


def _week_cell(history: History) -> Ints:
    return history.sales.column * history.weeks + history.middle // DAYS_A_WEEK


def fill_dry(
    history: History,
    exposure: Floats,
    mean: Floats,
    shape: float,
    dispersion: Floats,
    units: Floats,
) -> Floats:
    """[rows] units, with what would have been asked for where a column ran dry.

    Expectation-maximisation with a rate that changes slowly from week to week, starting from
    `units` as they stand; `mean` [columns] and `shape` are the prior's.
    """
    sales = history.sales
    dry = np.flatnonzero(sales.ran_dry)
    if not len(dry):
        return units
    # Only columns that ever ran dry are worked on.
    touched, where = np.unique(sales.column[dry], return_inverse=True)
    weeks = history.weeks
    apart = np.abs(np.subtract.outer(np.arange(weeks), np.arange(weeks)))
    kernel = 0.5 ** (apart / SMOOTH_WEEKS)
    exposed = weekly(history, exposure)[touched] @ kernel + (shape / mean[touched])[:, None]
    plainly = weekly(history, np.where(sales.ran_dry, 0.0, units))[touched]
    cell = where * weeks + history.middle[dry] // DAYS_A_WEEK
    sold, wide, open_days = sales.units[dry], dispersion[sales.column[dry]], exposure[dry]
    asked = units[dry]
    for _ in range(FILL_STEPS):
        total = plainly + sums(cell, asked, plainly.size).reshape(plainly.shape)
        rate = (total @ kernel + shape) / exposed
        asked = expected_when_dry(sold, rate.ravel()[cell] * open_days, wide)
    filled = units.copy()
    filled[dry] = asked
    return filled


def dispersion_of(
    history: History, units: Floats, exposure: Floats, worth: float
) -> tuple[Floats, float]:
    """[columns] variance over mean of counts, shrunk to the pooled one; and the pooled one.

    From each pair of neighbouring weeks: of y1 and y2 sold at exposures x1 and x2 the square of
    y1 - p (y1 + y2), p = x1 / (x1 + x2), has the expectation p (1 - p) x dispersion x the mean of
    both. A level that drifts so hardly counts as scatter. Weeks that ran dry are left out.
    """
    sold, exposed = weekly(history, units), weekly(history, exposure)
    dry = np.flatnonzero(history.sales.ran_dry)
    clean = (exposed > 0) & (weekly(history, np.ones(len(dry)), dry) == 0)
    pair = clean[:, 1:] & clean[:, :-1]
    both = sold[:, 1:] + sold[:, :-1]
    length = exposed[:, 1:] + exposed[:, :-1]
    part = np.divide(exposed[:, 1:], length, out=np.full_like(length, 0.5), where=pair)
    square = (sold[:, 1:] - part * both) ** 2 / (part * (1 - part))
    square = np.where(pair, square, 0).sum(axis=1)
    count = np.where(pair, both, 0).sum(axis=1)
    pairs = pair.sum(axis=1)
    total = float(count.sum())
    pooled = float(np.clip(square.sum() / total if total else 1.0, 1.0, MOST_DISPERSION))
    # A pair of small counts tells less, and neighbouring pairs share a week.
    a_week = np.divide(count, 2 * pairs, out=np.zeros_like(count), where=pairs > 0)
    told = 2 / 3 * pairs * 2 * a_week / (2 * a_week + 1)
    own = np.divide(square, count, out=np.full_like(square, pooled), where=count > 0)
    found = (worth * pooled + told * own) / (worth + told)
    return np.clip(found, 1.0, MOST_DISPERSION), pooled


def learn(
    history: History,
    units: Floats,
    exposure: Floats,
    mean: Floats,
    shape: float,
    dispersion: Floats,
    settings: DemandSettings,
) -> Levels:
    """The levels at the end of the history, from each row's units and exposure.

    `mean` [columns] and `shape` are the prior's, `dispersion` [columns].
    """
    half_lives = np.asarray(settings.half_lives_days, np.float64)
    columns, lives = history.sales.columns, len(half_lives)
    score = np.zeros((columns, lives))
    a, b, own = (np.empty((columns, lives)) for _ in range(3))
    for first in range(0, columns, AT_ONCE):
        part = slice(first, min(first + AT_ONCE, columns))
        y, x = (_by_day(history, rows, part) for rows in (units, exposure))
        score[part], a[part], b[part], own[part] = _filtered(
            y, x, mean[part, None], shape, dispersion[part, None], half_lives, settings
        )
    weight = _weights(score)
    rate = a / b
    average = (weight * rate).sum(axis=1)
    variance = (weight * (rate / b + (rate - average[:, None]) ** 2)).sum(axis=1)
    return Levels(
        average**2 / variance,
        average / variance,
        np.exp(weight @ np.log(half_lives)),
        (weight * own).sum(axis=1),
    )


def _by_day(history: History, rows: Floats, part: slice) -> Floats:
    """[columns, weeks, 7] of the rows of some columns, each on the day of its middle."""
    at = slice(history.bounds[part.start], history.bounds[part.stop])
    cell = (history.sales.column[at] - part.start) * history.days + history.middle[at]
    height = part.stop - part.start
    laid = sums(cell, rows[at], height * history.days)
    return laid.reshape(height, history.weeks, DAYS_A_WEEK)


def _filtered(
    y: Floats,
    x: Floats,
    mean: Floats,
    shape: float,
    dispersion: Floats,
    half_lives: Floats,
    settings: DemandSettings,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Week by week: foretell, score, take in, fade. [columns, half-lives] each."""
    until_end = np.arange(DAYS_A_WEEK)[::-1] + 0.5
    inside = 0.5 ** (until_end[:, None] / half_lives)
    fade = 0.5 ** (DAYS_A_WEEK / half_lives)
    sold_week, exposed_week = y.sum(axis=2), x.sum(axis=2)
    sold_new, exposed_new = y @ inside, x @ inside
    sold = np.zeros((len(y), len(half_lives)))
    exposed, score = np.zeros_like(sold), np.zeros_like(sold)
    prior_exposure = shape / mean
    for week in range(y.shape[1]):
        a = shape + sold / dispersion
        b = prior_exposure + exposed / dispersion
        told = _log_score(sold_week[:, week, None], exposed_week[:, week, None], a, b, dispersion)
        score = settings.score_memory * score + told
        sold = fade * sold + sold_new[:, week]
        exposed = fade * exposed + exposed_new[:, week]
    return score, shape + sold / dispersion, prior_exposure + exposed / dispersion, exposed


def _log_score(y: Floats, x: Floats, a: Floats, b: Floats, dispersion: Floats) -> Floats:
    """Log chance of y units at exposure x, but for what is the same for every a and b."""
    m = np.maximum(a / b * x, 1e-12)
    r = 1 / ((dispersion - 1) / m + 1 / a)
    log_whole = np.log(r + m)
    return np.where(
        x > 0, _log_rising(r, y) + r * (np.log(r) - log_whole) + y * (np.log(m) - log_whole), 0
    )


def _log_rising(r: Floats, y: Floats) -> Floats:
    """log gamma(r + y) - log gamma(r), by Stirling's series two steps up: to 1e-5, and fast."""
    return _log_gamma(r + y) - _log_gamma(r)


def _log_gamma(z: Floats) -> Floats:
    up = z + 2
    found: Floats = (up - 0.5) * np.log(up) - up + 1 / (12 * up) - np.log(z * (z + 1))
    return found


def _weights(score: Floats) -> Floats:
    """[columns, half-lives] by log score, on top of the fleet's mean of the same.

    A few columns do not tell what is common: as many again are taken to be of every half-life.
    """
    columns, lives = score.shape
    likely = np.exp(score - score.max(axis=1, keepdims=True))
    common = np.full(lives, 1 / lives)
    for _ in range(COMMON_STEPS):
        told = (_shares(likely * common)).sum(axis=0)
        common = (told + COMMON_WORTH / lives) / (columns + COMMON_WORTH)
    return _shares(likely * common)


def _shares(weight: Floats) -> Floats:
    found: Floats = weight / weight.sum(axis=1, keepdims=True)
    return found
