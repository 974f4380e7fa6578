"""What would have been asked for where a column ran dry.

Of an interval that ran dry only D >= s is known, s being what was sold. Its expectation, which
expectation-maximisation (Dempster, Laird & Rubin 1977) puts in its place, is for a Poisson count
of mean mu

    E[D | D >= s] = mu P(D >= s - 1) / P(D >= s)

and for a negative binomial of size r the same with P(D >= s - 1) taken at size r + 1 and the
same chance of success (both follow from k p(k) = mu q(k - 1), q being p at the next size).
"""

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import special

from .arrays import Flags, Floats, as_floats, refuse_where

#: A tail smaller than this is taken as it is in the limit, where D is s and little more.
LEAST_TAIL: Final = 1e-280
#: A dispersion nearer to 1 than this is a Poisson count.
POISSON: Final = 1e-9
#: Up to so many units are summed one by one, unless what is left is less than this.
FEW: Final = 12.0
LEAST_SURE: Final = 1e-5


def expected_when_dry(
    sold: npt.ArrayLike, mean: npt.ArrayLike, dispersion: npt.ArrayLike = 1.0
) -> Floats:
    """E[D | D >= sold] for counts of this mean and of variance dispersion x mean."""
    s, mu, c = np.broadcast_arrays(
        np.asarray(sold, np.float64),
        np.asarray(mean, np.float64),
        np.asarray(dispersion, np.float64),
    )
    found, sure = _by_sum(s.ravel(), mu.ravel(), c.ravel())
    hard = np.flatnonzero(~sure)
    if len(hard):
        found[hard] = _by_tails(s.ravel()[hard], mu.ravel()[hard], c.ravel()[hard])
    at_least: Floats = np.maximum(found, s.ravel()).reshape(s.shape)
    return at_least


def _by_sum(s: Floats, mu: Floats, c: Floats) -> tuple[Floats, Flags]:
    """By what is not possible any more: the chances of 0 .. s - 1, where those are few.

    And where that is sure: not in a far tail, which is no difference of sums. For counts of a
    mean mu and variance c mu, p(k + 1) = p(k) (k (c - 1) + mu) / (c (k + 1)), whatever c is.
    """
    over = np.maximum(c - 1, 0)
    log_none = np.where(over < POISSON, mu, mu * np.log1p(over) / np.maximum(over, POISSON))
    chance = np.exp(-log_none)
    below, units_below = np.zeros_like(mu), np.zeros_like(mu)
    left = np.flatnonzero((s > 0) & (s <= FEW))
    p, over, m = chance[left], over[left], mu[left]
    for k in range(int(FEW)):
        below[left] += p
        units_below[left] += k * p
        p = p * (k * over + m) / ((1 + over) * (k + 1))
        more = s[left] > k + 1
        left, p, over, m = left[more], p[more], over[more], m[more]
        if not len(left):
            break
    sure = (s <= FEW) & (below < 1 - LEAST_SURE)
    found: Floats = np.divide(mu - units_below, 1 - below, out=s.copy(), where=sure)
    return found, sure


def _by_tails(s: Floats, mu: Floats, c: Floats) -> Floats:
    found: Floats = np.maximum(mu, s)
    plain = c - 1 < POISSON
    found[plain] = _poisson(s[plain], mu[plain])
    wide = ~plain
    found[wide] = _negative_binomial(s[wide], mu[wide], mu[wide] / (c[wide] - 1))
    return found


def _poisson(s: Floats, mu: Floats) -> Floats:
    # gammainc(s, mu) is P(D >= s).
    tail = np.where(s > 0, special.gammainc(np.maximum(s, 1e-300), mu), 1)
    before = np.where(s > 1, special.gammainc(np.maximum(s - 1, 1e-300), mu), 1)
    return _ratio(s, mu, before, tail)


def _negative_binomial(s: Floats, mu: Floats, r: Floats) -> Floats:
    q = mu / (r + mu)
    # betainc(k, r, q) is P(D >= k) at size r.
    tail = np.where(s > 0, special.betainc(np.maximum(s, 1e-300), r, q), 1)
    before = np.where(s > 1, special.betainc(np.maximum(s - 1, 1e-300), r + 1, q), 1)
    return _ratio(s, mu, before, tail)


def _ratio(s: Floats, mu: Floats, before: Floats, tail: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        found: Floats = np.where(tail > LEAST_TAIL, mu * before / tail, s)
    return found


def censored_rate(
    units: npt.ArrayLike,
    exposure: npt.ArrayLike,
    ran_dry: npt.ArrayLike,
    *,
    tolerance: float = 1e-12,
    most_steps: int = 10_000,
) -> float:
    """The most likely rate of Poisson counts of which some are only known as "at least".

    By expectation-maximisation until a step changes the rate by less than `tolerance` of it.
    Raises BadSales. All dry has no most likely rate (it grows without end): refused.
    """
    y = as_floats("units", units)
    x = as_floats("exposure", exposure, len(y))
    dry = np.asarray(ran_dry, np.bool_)
    refuse_where("exposure", x <= 0, "must be above zero")
    refuse_where("units", y < 0, "cannot be below zero")
    refuse_where("ran_dry", np.array([bool(dry.all())]), "all dry: no rate is the most likely")
    rate = float(max(y.sum(), 0.5) / x.sum())
    for _ in range(most_steps):
        filled = np.where(dry, expected_when_dry(y, rate * x), y)
        next_rate = float(filled.sum() / x.sum())
        if abs(next_rate - rate) <= tolerance * rate:
            return next_rate
        rate = next_rate
    return rate
