"""From what is known of columns to distributions of what will be asked of them.

Given a rate L that is Gamma(a, b) and an exposure E, the demand has the mean m = a E / b. It is
taken as negative binomial of that mean and of size r = 1 / ((c - 1) / m + 1 / a), c being the
dispersion: its variance m + m^2 / r = c m + m^2 / a is that of the counts around the rate plus
that of the rate itself. For c = 1 this is the exact Gamma-Poisson predictive (any textbook of
Bayesian statistics; checked against worked numbers in the tests).
"""

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import special

from .arrays import BadSales, Floats, Ints
from .calendar import Calendar, weekdays
from .model import Fitted

#: What lies beyond the end of a row of chances, when its length is not given.
TAIL: Final = 1e-7
MOST_UNITS: Final = 100_000
DAYS_A_WEEK: Final = 7


def exposures(fitted: Fitted, calendar: Calendar, first_day: int, days: int) -> Floats:
    """[columns, days] exposure of each day: weekday x season x how much of usual is open."""
    if len(calendar.row) != len(fitted):
        raise BadSales("row", f"has {len(calendar.row)} entries, must have {len(fitted)}")
    if days < 0:
        raise BadSales("days", "must be 0 or more")
    numbers = np.arange(first_day, first_day + days)
    found: Floats = fitted.weekday[:, weekdays(numbers)]
    found *= _season_ahead(fitted, numbers)
    usual = calendar.between(first_day, days)
    found *= usual if len(usual) == 1 else usual[calendar.row]
    return found


def _season_ahead(fitted: Fitted, numbers: Ints) -> Floats:
    """[columns, days] factor of the season; [1, days] where all columns know the same of it."""
    known = (fitted.fitted_at, fitted.trend_a_week, fitted.trend_damping)
    if len(fitted) and all((one == one[0]).all() for one in known):
        known = (known[0][:1], known[1][:1], known[2][:1])
    at, trend, damping = (one[:, None] for one in known)
    ahead = np.maximum((numbers[None, :] + 0.5 - at) / DAYS_A_WEEK, 0)
    found: Floats = np.exp(trend * damped(ahead, damping))
    return found


def damped(weeks: Floats, damping: npt.ArrayLike) -> Floats:
    """How many full weeks' trend are left of a trend that fades by `damping` each week.

    The sum of damping^1 .. damping^weeks, for a part of a week too.
    """
    d = np.asarray(damping, np.float64)
    inside = np.clip(d, 1e-9, 1 - 1e-9)
    fading = inside * (1 - inside**weeks) / (1 - inside)
    found: Floats = np.where(d >= 1, weeks, np.where(d <= 0, 0.0, fading))
    return found


def exposure_between(
    fitted: Fitted, calendar: Calendar, starts: npt.ArrayLike, ends: npt.ArrayLike
) -> Floats:
    """[columns] exposure of [starts, ends), one pair of moments a column or one for all."""
    begin = np.broadcast_to(np.asarray(starts, np.float64), (len(fitted),))
    end = np.broadcast_to(np.asarray(ends, np.float64), (len(fitted),))
    if not len(fitted):
        return np.zeros(0)
    if (end < begin).any():
        raise BadSales("ends", "must not be before its start", int(np.argmax(end < begin)))
    first, last = int(np.floor(begin.min())), int(np.ceil(end.max()))
    by_day = exposures(fitted, calendar, first, last - first)
    numbers = np.arange(first, last)[None, :]
    part = np.minimum(end[:, None], numbers + 1) - np.maximum(begin[:, None], numbers)
    found: Floats = (by_day * np.clip(part, 0, 1)).sum(axis=1)
    return found


def mean_and_size(fitted: Fitted, exposure: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Mean and size of the negative binomial demand in `exposure` usual days, [columns] each."""
    given = np.broadcast_to(np.asarray(exposure, np.float64), (len(fitted),))
    if not (np.isfinite(given) & (given >= 0)).all():
        raise BadSales("exposure", "must be 0 or more")
    mean = fitted.rate * given
    with np.errstate(divide="ignore", invalid="ignore"):
        size = 1 / ((fitted.dispersion - 1) / mean + 1 / fitted.shape)
    return mean, np.where(mean > 0, size, fitted.shape)


def predictive(fitted: Fitted, exposure: npt.ArrayLike, units: int | None = None) -> Floats:
    """Chances [columns, units] of 0, 1, 2 .. units asked for in `exposure` usual days.

    `exposure` is one number a column, or one for all: sums of days of `exposures`, or
    `exposure_between`. What lies beyond the last entry is put on it, so that rows sum to 1;
    without `units` rows are long enough that this is less than 1e-7 in every row.
    """
    mean, size = mean_and_size(fitted, exposure)
    if units is None:
        longest = quantile_of(mean, size, 1 - TAIL).max(initial=0)
        units = int(min(longest, MOST_UNITS)) + 2
    if units < 1:
        raise BadSales("units", "must be 1 or more")
    return chances(mean, size, units)


def chances(mean: Floats, size: Floats, units: int) -> Floats:
    """Negative binomial chances [n, units] by mean and size; the tail is on the last entry."""
    count = np.arange(units, dtype=np.float64)[None, :]
    m, r = mean[:, None], size[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        # xlogy makes 0 x log(0) nothing: no demand at all is certain to be 0 units.
        logs = (
            _rising(count, r)
            - special.gammaln(count + 1)
            - r * np.log1p(m / r)
            + special.xlogy(count, m / (r + m))
        )
    pmf: Floats = np.exp(logs)
    pmf[:, -1] = np.maximum(1 - pmf[:, :-1].sum(axis=1), 0)
    return pmf


def _rising(count: Floats, size: Floats) -> Floats:
    """log gamma(size + count) - log gamma(size), by products: differences would lose digits."""
    steps = np.log(size + count[:, :-1])
    found: Floats = np.concatenate((np.zeros((len(size), 1)), np.cumsum(steps, axis=1)), axis=1)
    return found


def quantiles(fitted: Fitted, exposure: npt.ArrayLike, levels: npt.ArrayLike) -> Ints:
    """[columns, levels] the fewest units that demand does not exceed with chance `level`."""
    wanted = np.atleast_1d(np.asarray(levels, np.float64))
    if not ((wanted >= 0) & (wanted < 1)).all():
        raise BadSales("levels", "must be 0 or more and below 1")
    mean, size = mean_and_size(fitted, exposure)
    return np.stack([quantile_of(mean, size, level) for level in wanted], axis=1)


def quantile_of(mean: Floats, size: Floats, level: float) -> Ints:
    """[n] the least k with P(D <= k) >= level, of negative binomials by mean and size.

    Starts from the normal quantile corrected for skewness (Cornish & Fisher 1938), then walks to
    where the distribution function says; with few steps, since the start is near.
    """
    if level <= 0 or not len(mean):
        return np.zeros(len(mean), np.int64)
    z = float(special.ndtri(level))
    spread = np.sqrt(mean + mean**2 / size)
    with np.errstate(divide="ignore", invalid="ignore"):
        skewness = np.where(spread > 0, (1 + 2 * mean / size) / spread, 0)
    start = mean + spread * (z + skewness * (z * z - 1) / 6) - 0.5
    found = np.maximum(np.floor(np.minimum(start, MOST_UNITS)), 0)
    chance = size / (size + mean)
    left = np.arange(len(mean))
    enough = special.betainc(size, found + 1, chance) >= level
    up, down = left[~enough], left[enough]
    while len(up):
        found[up] += 1
        reached = special.betainc(size[up], found[up] + 1, chance[up]) >= level
        up = up[~reached & (found[up] < MOST_UNITS)]
    down = down[found[down] > 0]
    while len(down):
        # betainc(r, k, p) is P(D <= k - 1): one unit fewer is tried.
        lower = special.betainc(size[down], found[down], chance[down]) >= level
        down = down[lower]
        found[down] -= 1
        down = down[found[down] > 0]
    return found.astype(np.int64)
