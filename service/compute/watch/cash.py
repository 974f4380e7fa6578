"""Counted cash bags against the meter's cash-to-box, over time. Money in minor units.

Each bag is compared to what the meter says went to the box since the bag before. Small
differences come and go with the coin tubes (common practice, no published source); what is looked
for is a mean that is not nothing, a level that has shifted, or one bag far out of the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Self

import numpy as np
import numpy.typing as npt
from scipy import special

from .arrays import BadEvidence, Floats, floats
from .sequential import LevelSum
from .suspicion import Kind, Suspicion, chance_said, strength_of, strength_over

#: Spread of a bag's difference taken for granted: coin-tube movement and miscounts of a few coins;
#: common practice, no published source.
LEAST_SPREAD_MINOR: Final = 200.0
#: Difference of a single bag beyond which it is told by itself, in parts of what was expected.
TOLERATED_PART: Final = 0.05
LEAST_BAGS: Final = 4
#: Scales the median absolute deviation to a normal standard deviation: 1 / Phi^-1(3/4).
MAD_TO_SIGMA: Final = 1.4826
#: Student's t with so many degrees is near enough to normal that a spread known beforehand counts
#: as so many bags more.
KNOWN_AS_BAGS: Final = 4.0


@dataclass(frozen=True, slots=True)
class Bags:
    """The bags of one machine, or of one person, in order of time; money in minor units.

    expected_minor  cash to the box by the meter, since the bag before
    counted_minor   what was in the bag
    """

    expected_minor: tuple[int, ...]
    counted_minor: tuple[int, ...]

    @classmethod
    def of(cls, expected_minor: Sequence[int], counted_minor: Sequence[int]) -> Self:
        """Raises BadEvidence where the lists differ in length or money is below zero."""
        for name, given in (("expected_minor", expected_minor), ("counted_minor", counted_minor)):
            for index, value in enumerate(given):
                if value < 0:
                    raise BadEvidence(name, "cannot be below zero", index)
        if len(expected_minor) != len(counted_minor):
            raise BadEvidence(
                "counted_minor",
                f"has {len(counted_minor)} entries, must have {len(expected_minor)}",
            )
        return cls(tuple(expected_minor), tuple(counted_minor))

    def __len__(self) -> int:
        return len(self.expected_minor)

    @property
    def differences(self) -> Floats:
        """[bags] counted less expected, minor units: below zero where cash is short."""
        return np.array(self.counted_minor, np.float64) - np.array(self.expected_minor, np.float64)


@dataclass(frozen=True, slots=True)
class CashLimits:
    """What of a difference is usual. `least_spread_minor`: of one bag, as a standard deviation."""

    least_spread_minor: float = LEAST_SPREAD_MINOR
    tolerated_part: float = TOLERATED_PART
    level: float = 0.005


@dataclass(frozen=True, slots=True)
class CashJudged:
    """What the bags of one machine or person say; money in minor units, short below zero.

    mean_minor     mean difference of a bag, with extreme bags drawn in
    spread_minor   usual spread of a bag's difference
    p_value        chance of a mean so far from nothing (Student, both ways)
    shifted_at     index of the bag from which the level has shifted; None where it has not
    worst          index of the bag farthest out
    found          whether any of the three is beyond its limit
    """

    bags: Bags
    mean_minor: float
    total_minor: float
    spread_minor: float
    p_value: float
    shifted_at: int | None
    path_short: tuple[float, ...]
    worst: int | None
    worst_minor: float
    found: bool
    because: str
    limits: CashLimits

    def suspicion(self, digits: int = 2) -> Suspicion:
        """The bags in words; `digits` after the point of the currency."""
        number = len(self.bags)
        expected = float(sum(self.bags.expected_minor))
        way = "short" if self.total_minor < 0 else "over"
        said = (
            f"{number} bags together are {_money(abs(self.total_minor), digits)} {way} of "
            f"{_money(expected, digits)} by the meter"
        )
        if self.because == "one_bag":
            one = "short" if self.worst_minor < 0 else "over"
            said += f"; one alone is {_money(abs(self.worst_minor), digits)} {one}."
            tolerated = self.limits.tolerated_part * max(
                1.0, float(self.bags.expected_minor[self.worst or 0])
            )
            strength = max(
                strength_of(self.p_value), strength_over(abs(self.worst_minor), tolerated)
            )
        elif self.because == "shift":
            said += f"; it began {number - (self.shifted_at or 0)} bags ago."
            strength = max(3.0, strength_of(self.p_value))
        else:
            said += f", {_money(abs(self.mean_minor), digits)} a bag: {chance_said(self.p_value)}."
            strength = strength_of(self.p_value)
        return Suspicion(
            kind=Kind.CASH,
            p_value=self.p_value,
            strength=strength,
            said=said,
            numbers={
                "bags": number,
                "expected_minor": int(expected),
                "difference_minor": int(self.total_minor),
                "mean_minor": self.mean_minor,
                "spread_minor": self.spread_minor,
                "shifted_at": self.shifted_at,
                "worst": self.worst,
                "worst_minor": int(self.worst_minor),
                "because": self.because,
            },
        )


def judge(bags: Bags, limits: CashLimits = CashLimits()) -> CashJudged:
    """Judge the bags of one machine, or those that one person handled, in order of time.

    The mean is that of differences drawn in to three spreads around their median (Winsorised); its
    Student's t has the spread known beforehand in it, as KNOWN_AS_BAGS bags, so that a few bags
    alike do not prove anything. The shift is a two-sided cumulative sum (LevelSum) of differences
    over their spread. A single bag is told beyond `tolerated_part` of what was expected and four
    spreads.
    """
    differences = bags.differences
    number = len(differences)
    if not number:
        return CashJudged(
            bags, 0.0, 0.0, limits.least_spread_minor, 1.0, None, (), None, 0.0, False, "", limits
        )
    spread = spread_of(differences, limits.least_spread_minor)
    middle = float(np.median(differences))
    drawn = np.clip(differences, middle - 3 * spread, middle + 3 * spread)
    mean = float(drawn.mean())
    p_value = student(drawn, limits.least_spread_minor) if number >= LEAST_BAGS else 1.0
    chart = LevelSum()
    high, low = chart.path(np.clip(differences / spread, -4, 4))
    shifted = _shift(high, chart.h), _shift(low, chart.h)
    shifted_at = max((one for one in shifted if one is not None), default=None)
    expected = np.array(bags.expected_minor, np.float64)
    beyond = np.abs(differences) - np.maximum(4 * spread, limits.tolerated_part * expected)
    worst = int(np.argmax(beyond))
    because = ""
    if p_value <= limits.level:
        because = "mean"
    elif number >= LEAST_BAGS and shifted_at is not None:
        because = "shift"
    elif beyond[worst] > 0:
        because = "one_bag"
    return CashJudged(
        bags=bags,
        mean_minor=mean,
        total_minor=float(differences.sum()),
        spread_minor=spread,
        p_value=p_value,
        shifted_at=shifted_at,
        path_short=tuple(low.tolist()),
        worst=worst,
        worst_minor=float(differences[worst]),
        found=bool(because),
        because=because,
        limits=limits,
    )


def spread_of(differences: npt.ArrayLike, least: float = LEAST_SPREAD_MINOR) -> float:
    """Usual spread of a bag's difference: the scaled median absolute deviation, at least `least`.

    Around the median of the first half of the bags where that is steadier, so that a level that
    has shifted does not hide itself in the spread.
    """
    given = floats("differences", differences)
    if not len(given):
        return least
    half = given[: max(LEAST_BAGS, (len(given) + 1) // 2)]
    both = [float(np.median(np.abs(one - np.median(one)))) for one in (given, half)]
    return max(least, MAD_TO_SIGMA * min(both))


def student(differences: npt.ArrayLike, spread: float) -> float:
    """Chance of a mean so far from nothing, both ways, with a spread partly known beforehand.

    The variance is that of the differences and `spread`^2 weighted as KNOWN_AS_BAGS degrees (a
    scaled inverse chi-square prior; Gelman et al., Bayesian Data Analysis, section 2.6, from
    memory). With `spread` 0 it is Student's plain test of one sample.
    """
    given = floats("differences", differences)
    n = len(given)
    known = KNOWN_AS_BAGS if spread > 0 else 0.0
    degrees = n - 1 + known
    if n == 0 or degrees <= 0:
        return 1.0
    squares = float(((given - given.mean()) ** 2).sum()) + known * spread**2
    if squares == 0:
        return 1.0 if given.mean() == 0 else 0.0
    t = abs(float(given.mean())) / np.sqrt(squares / degrees / n)
    return float(2 * special.stdtr(degrees, -t))


def _shift(path: Floats, h: float) -> int | None:
    """Where the run that ends above the limit began; None where the last value is within it."""
    if not len(path) or path[-1] < h:
        return None
    zero = np.flatnonzero(path <= 0)
    return int(zero[-1]) + 1 if len(zero) else 0


def _money(minor: float, digits: int) -> str:
    return f"{minor / 10**digits:,.{digits}f}"
