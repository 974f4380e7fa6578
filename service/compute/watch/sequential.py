"""Tests that go on day by day until they know: Wald's, and the cumulative sum of counts.

Wald, Sequential tests of statistical hypotheses, Annals of Mathematical Statistics 16 (1945).
Lucas, Counted data CUSUM's, Technometrics 27 (1985), with the head start of Lucas & Crosier,
Fast initial response for CUSUM quality-control schemes, Technometrics 24 (1982). Average run
lengths by the Markov chain of Brook & Evans, Biometrika 59 (1972).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Self

import numpy as np
import numpy.typing as npt
from scipy import special

from .arrays import Floats, Ints, counts, floats, refuse_unless

MOST_STATES = 2_000


@dataclass(frozen=True, slots=True)
class RateTest:
    """Wald's test of one Poisson rate against a smaller one, such as of a column that fell silent.

    `usual` and `faulty` are mean counts of one step. The log of the odds for `faulty` begins at 0;
    at `upper` it is believed, at `lower` it is not. `alpha` is the chance of a false alarm, `beta`
    that of a fault missed.
    """

    usual: float
    faulty: float
    alpha: float
    beta: float

    def __post_init__(self) -> None:
        refuse_unless("usual", self.usual > 0, "must be above 0")
        refuse_unless("faulty", 0 <= self.faulty < self.usual, "must be below the usual mean")
        refuse_unless("alpha", 0 < self.alpha < 0.5, "must lie between 0 and 0.5")
        refuse_unless("beta", 0 < self.beta < 0.5, "must lie between 0 and 0.5")

    @property
    def upper(self) -> float:
        return math.log((1 - self.beta) / self.alpha)

    @property
    def lower(self) -> float:
        return math.log(self.beta / (1 - self.alpha))

    def steps(self, seen: npt.ArrayLike) -> Floats:
        """[n] what each step's count adds to the log of the odds."""
        units = counts("seen", seen)
        silent = self.usual - self.faulty
        if self.faulty == 0:
            found: Floats = np.where(units > 0, -np.inf, silent)
            return found
        return silent + units * math.log(self.faulty / self.usual)

    def run(self, seen: npt.ArrayLike) -> Outcome:
        """The test over counts in order of time, until it knows; it ends at the first bound."""
        path = np.cumsum(self.steps(seen))
        over = np.flatnonzero((path >= self.upper) | (path <= self.lower))
        if not len(over):
            return Outcome(None, None, tuple(path.tolist()))
        at = int(over[0])
        return Outcome(bool(path[at] >= self.upper), at + 1, tuple(path[: at + 1].tolist()))


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a sequential test ended: `faulty` None and `after` None while it goes on.

    `after` counts steps, the first being 1; `path` is the log of the odds after each.
    """

    faulty: bool | None
    after: int | None
    path: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class CountSum:
    """The one-sided cumulative sum of counts: S = max(0, S + count - k), a signal at S >= h.

    `start` is where S begins; half of h is the usual head start.
    """

    k: float
    h: float
    start: float = 0.0

    def __post_init__(self) -> None:
        refuse_unless("k", self.k > 0, "must be above 0")
        refuse_unless("h", self.h > 0, "must be above 0")
        refuse_unless("start", 0 <= self.start < self.h, "must be 0 or more and below h")

    @classmethod
    def between(cls, usual: float, faulty: float, h: float, start: float = 0.0) -> Self:
        """The sum that tells the mean `usual` from the greater `faulty`: k is the ratio of their
        difference to the difference of their logarithms (Lucas 1985)."""
        refuse_unless("usual", usual > 0, "must be above 0")
        refuse_unless("faulty", faulty > usual, "must be above the usual mean")
        return cls((faulty - usual) / (math.log(faulty) - math.log(usual)), h, start)

    def path(self, seen: npt.ArrayLike) -> Floats:
        """[n] the sum after each count, in order of time; it goes on past a signal."""
        found = np.empty(len(units := counts("seen", seen)))
        level = self.start
        for index, count in enumerate(units.tolist()):
            level = max(0.0, level + count - self.k)
            found[index] = level
        return found

    def signals(self, seen: npt.ArrayLike) -> Ints:
        """Indices of the counts at which the sum stands at its limit or above."""
        return np.flatnonzero(self.path(seen) >= self.h - 1e-9)

    def run_length(self, mean: float) -> float:
        """Mean number of counts until a signal, for Poisson counts of this mean.

        Exact for k that is a ratio of small whole numbers; any other k is taken as the nearest.
        """
        refuse_unless("mean", mean > 0, "must be above 0")
        unit = _unit(self.k)
        size = math.ceil(Fraction(self.h).limit_denominator(1_000) / unit)
        refuse_unless("h", 0 < size <= MOST_STATES, "is too great for its k to be followed")
        k = int(Fraction(self.k).limit_denominator(100) / unit)
        state = np.arange(size)
        # From S to S' > 0 by a count of (S' - S + k); to 0 by any count that is not above k - S.
        step = state[None, :] - state[:, None] + k
        per = int(1 / unit)
        chance = np.where(
            (step >= 0) & (step % per == 0), _poisson(np.maximum(step, 0) // per, mean), 0.0
        )
        to_nothing = (k - state) // per
        chance[:, 0] = np.where(k >= state, special.pdtr(np.maximum(to_nothing, 0), mean), 0.0)
        lengths = np.linalg.solve(np.eye(size) - chance, np.ones(size))
        return float(lengths[round(float(self.start / float(unit)))])


def _unit(k: float) -> Fraction:
    return Fraction(1, Fraction(k).limit_denominator(100).denominator)


def _poisson(count: Ints, mean: float) -> Floats:
    found: Floats = np.exp(special.xlogy(count, mean) - mean - special.gammaln(count + 1.0))
    return found


@dataclass(frozen=True, slots=True)
class LevelSum:
    """The two-sided cumulative sum of standardised values, for shifts of a mean.

    High and low sums H = max(0, H + z - k), L = max(0, L - z - k); a signal at h. With k 0.5 and
    h 5 it signals every 465 values where nothing is wrong and in 10.4 at a shift of one standard
    deviation (Montgomery, Introduction to Statistical Quality Control; from memory).
    """

    k: float = 0.5
    h: float = 5.0

    def path(self, values: npt.ArrayLike) -> tuple[Floats, Floats]:
        """The high and the low sum after each value, in order of time."""
        z = floats("values", values)
        high, low = np.empty(len(z)), np.empty(len(z))
        up = down = 0.0
        for index, value in enumerate(z.tolist()):
            up = max(0.0, up + value - self.k)
            down = max(0.0, down - value - self.k)
            high[index], low[index] = up, down
        return high, low
