"""How reliable machines are, and how far the figures are to be believed.

Faults are few and machines many, so every figure comes with the interval in which the truth lies
as often as the confidence says, and with how many cases it stands on. Nothing is left out because
it is uncertain; it says that it is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from math import comb, isnan, log, sqrt
from typing import Final

from scipy.stats import chi2, norm

FEW: Final = 5
"""Fewer cases than these tell little; assumed."""
DAYS_A_MONTH: Final = Decimal("30.4375")
"""365.25 / 12, as the Julian year of astronomy counts."""


class BadFigures(ValueError):
    """Figures that cannot be: fewer than no failures, no time, a share above one."""


@dataclass(frozen=True, slots=True)
class BetweenFailures:
    """Days in service from one failure to the next.

    `days` is None without a failure and `most_days` without an upper bound; `few` when the failures
    are too few to tell machines apart.
    """

    failures: int
    machine_days: float
    days: float | None
    least_days: float
    most_days: float | None
    confidence: float
    few: bool
    said: str


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many, as a share in [0, 1]. Without cases the share is None, from 0 to 1."""

    hits: int
    cases: int
    share: float | None
    least: float
    most: float
    confidence: float
    few: bool
    said: str


@dataclass(frozen=True, slots=True)
class Typical:
    """The middle value of several, in their own unit. Bounds are None with too few for any."""

    cases: int
    middle: float | None
    least: float | None
    most: float | None
    confidence: float
    few: bool
    said: str


@dataclass(frozen=True, slots=True)
class Alike:
    """Whether machines fail alike but for chance. `p_value` is None where that cannot be told."""

    p_value: float | None
    alike: bool
    said: str


def between_failures(
    failures: int, machine_days: float, *, confidence: float = 0.90
) -> BetweenFailures:
    """Time between failures of machines that are repaired and go on, watched for a fixed time.

    Exact for a constant rate: 2T / chi-square of 2r + 2 and 2r degrees of freedom; without a
    failure only the lower bound, T / -ln(1 - confidence). Source: NIST/SEMATECH e-Handbook of
    Statistical Methods, 8.4.5.1. Raises BadFigures.
    """
    _check_confidence(confidence)
    if failures < 0:
        raise BadFigures(f"{failures} failures; there cannot be fewer than none")
    if not machine_days > 0:
        raise BadFigures(f"{machine_days} days in service; nothing can be said of no time")
    tail = 1 - confidence
    if failures == 0:
        least = machine_days / -log(tail)
        said = f"no failure in {machine_days:.0f} days; at least {least:.0f} days between two"
        return BetweenFailures(0, machine_days, None, least, None, confidence, True, said)
    days = machine_days / failures
    least = float(2 * machine_days / chi2.ppf(1 - tail / 2, 2 * failures + 2))
    most = float(2 * machine_days / chi2.ppf(tail / 2, 2 * failures))
    few = failures < FEW
    said = (
        f"{failures} {_plural('failure', failures)} in {machine_days:.0f} days: {days:.0f} days "
        f"between two, and anything from {least:.0f} to {most:.0f} agrees with that"
        + ("; too few to tell this from others" if few else "")
    )
    return BetweenFailures(failures, machine_days, days, least, most, confidence, few, said)


def share(hits: int, cases: int, *, confidence: float = 0.95) -> Share:
    """The share of hits with Wilson's interval.

    Source: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209; values in R. G. Newcombe, Statistics in
    Medicine 17 (1998) 857, table I. Raises BadFigures.
    """
    _check_confidence(confidence)
    if not 0 <= hits <= cases:
        raise BadFigures(f"{hits} of {cases}; there are from 0 to {cases} of {cases}")
    if cases == 0:
        return Share(0, 0, None, 0.0, 1.0, confidence, True, "no case yet; nothing can be said")
    z = float(norm.ppf((1 + confidence) / 2))
    at = hits / cases
    middle = (hits + z * z / 2) / (cases + z * z)
    half = z / (cases + z * z) * sqrt(at * (1 - at) * cases + z * z / 4)
    # At none and at all the bound is 0 and 1 by the formula, which rounding misses by a hair.
    least = 0.0 if hits == 0 else middle - half
    most = 1.0 if hits == cases else middle + half
    few = cases < FEW
    said = (
        f"{hits} of {cases}, {at:.0%}; anything from {least:.0%} to {most:.0%} agrees with that"
        + ("; too few to judge by" if few else "")
    )
    return Share(hits, cases, at, least, most, confidence, few, said)


def typical(values: Sequence[float], *, confidence: float = 0.90, unit: str = "") -> Typical:
    """The median, between two of the values themselves, whatever their distribution.

    The k-th smallest and k-th largest hold the median with the chance 1 - 2 P(B < k), B binomial
    (n, 1/2); the narrowest such pair of at least `confidence` is given, with the chance it really
    has. Source: order statistics, as in tables of intervals for a population's median. Raises
    BadFigures for a value that is not a number.
    """
    _check_confidence(confidence)
    ordered = sorted(float(value) for value in values)
    if any(isnan(value) for value in ordered):
        raise BadFigures("a value is not a number")
    cases = len(ordered)
    if cases == 0:
        return Typical(0, None, None, None, confidence, True, "no case yet; nothing can be said")
    half = cases // 2
    middle = ordered[half] if cases % 2 else (ordered[half - 1] + ordered[half]) / 2
    rank, reached = _median_rank(cases, confidence)
    unit = f" {unit}" if unit else ""
    if rank is None:
        said = f"{middle:.1f}{unit} in the middle of {cases}; too few for bounds"
        return Typical(cases, middle, None, None, confidence, True, said)
    least, most = ordered[rank - 1], ordered[cases - rank]
    said = (
        f"{middle:.1f}{unit} in the middle of {cases}; {least:.1f} to {most:.1f}{unit} in "
        f"{reached:.0%} of such samples"
    )
    return Typical(cases, middle, least, most, reached, cases < FEW, said)


def alike(failures: Sequence[int], machine_days: Sequence[float]) -> Alike:
    """Whether the machines' failures differ by more than chance would have them.

    The sum of (seen - expected)^2 / expected against chi-square with one degree of freedom less
    than machines; not told where fewer than 2 machines or 5 failures there are, or where a
    machine's share is so small that the approximation fails (expected below 1 on average).
    Source: R. A. Fisher's index of dispersion for Poisson counts, with unequal times. Raises
    BadFigures.
    """
    if len(failures) != len(machine_days):
        raise BadFigures(f"{len(failures)} counts of failures for {len(machine_days)} times")
    pairs = [(n, t) for n, t in zip(failures, machine_days, strict=True) if t > 0]
    total, time = sum(n for n, _ in pairs), sum(t for _, t in pairs)
    if len(pairs) < 2 or total < FEW or total < len(pairs):
        return Alike(None, True, "too few failures to tell whether machines differ")
    expected = [total * t / time for _, t in pairs]
    value = sum((n - e) ** 2 / e for (n, _), e in zip(pairs, expected, strict=True))
    p_value = float(chi2.sf(value, len(pairs) - 1))
    if p_value < 0.05:
        said = "machines differ by more than chance; look at each, the kind's figure hides it"
        return Alike(p_value, False, said)
    return Alike(p_value, True, "machines differ no more than by chance")


def per_month(cost: Decimal, machine_days: Decimal | int, *, places: int = 2) -> Decimal:
    """Cost by machine and month, in the currency's unit. Raises BadFigures."""
    if machine_days <= 0:
        raise BadFigures(f"{machine_days} days in service; nothing can be said of no time")
    months = Decimal(machine_days) / DAYS_A_MONTH
    return (cost / months).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)


def _median_rank(cases: int, confidence: float) -> tuple[int | None, float]:
    """The largest k whose k-th from both ends hold the median often enough, and how often."""
    found, reached = None, 0.0
    below = 0
    for rank in range(1, cases // 2 + 1):
        below += comb(cases, rank - 1)
        holds = 1 - 2 * below / 2**cases
        if holds < confidence:
            break
        found, reached = rank, holds
    return found, reached


def _check_confidence(confidence: float) -> None:
    if not 0 < confidence < 1:
        raise BadFigures(f"a confidence of {confidence}; it lies between 0 and 1, as in 0.9")


def _plural(noun: str, count: int) -> str:
    return noun if count == 1 else f"{noun}s"
