"""Whether a bag is over or short by more than chance explains.

A count differs from what was expected by coins on their way into and out of the tubes, by notes
and coins miscounted, and by sales cut between two visits. How much that comes to is learned from
the differences of the bags before, by median and median absolute deviation, which a few bags with
missing money do not move (F. R. Hampel, J. Am. Stat. Assoc. 69 (1974) 383). Amounts are Decimal,
counted less expected: below zero is short.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum
from math import comb
from typing import Final

FEW: Final = 8
"""Below so many bags their spread tells little; assumed."""
NORMAL_MAD: Final = Decimal("1.4826")
"""1 / 0.67449, the normal distribution's upper quartile: makes the MAD a standard deviation."""
DEVIATIONS: Final = Decimal(3)
"""Chance passes three standard deviations once in 370 (normal distribution)."""
PRIOR_SHARE: Final = Decimal("0.005")
PRIOR_AMOUNT: Final = Decimal("2.00")
"""Before anything is known: half a percent of the bag and two units of change; assumed."""
LEAST: Final = Decimal("0.50")
"""A band is never narrower to either side than two quarters miscounted; assumed."""
SELDOM: Final = 0.01


class Basis(StrEnum):
    """What a band stands on."""

    HISTORY = "history"
    PRIOR = "prior"


@dataclass(frozen=True, slots=True)
class Band:
    """What chance explains, to either side of nothing.

    `middle` is the median of the differences and `deviation` their robust standard deviation; both
    None under a prior.
    """

    most: Decimal
    cases: int
    basis: Basis
    middle: Decimal | None
    deviation: Decimal | None
    said: str


@dataclass(frozen=True, slots=True)
class Judged:
    """A difference beside its band: `short`, `over` or within what chance explains."""

    difference: Decimal
    short: bool
    over: bool
    said: str


@dataclass(frozen=True, slots=True)
class Repeated:
    """Whether shorts come more often than by chance. `p_value` is None with too few to tell."""

    shorts: int
    cases: int
    p_value: float | None
    repeated: bool
    total: Decimal
    said: str


def band(
    differences: Sequence[Decimal],
    *,
    expected: Decimal = Decimal(0),
    spread: Decimal = Decimal(0),
) -> Band:
    """How far a bag may be off by chance, from the differences of bags before it.

    The band lies about nothing, not about the median: bags that are always short must not make
    that usual. With fewer than FEW bags a prior stands, which grows with `expected`. `spread` is
    the standard deviation of `expected` itself, where reads were shared by time; bags before that
    were shared alike have it in their differences already. The order changes nothing.
    """
    shared = f"; reads shared by time may be off by {_up(DEVIATIONS * spread)}" if spread else ""
    cases = len(differences)
    if cases < FEW:
        alone = max(PRIOR_AMOUNT + PRIOR_SHARE * abs(expected), LEAST)
        most = _up((alone**2 + (DEVIATIONS * spread) ** 2).sqrt())
        return Band(
            most,
            cases,
            Basis.PRIOR,
            None,
            None,
            f"up to {most} either way is assumed; {cases} of at least {FEW} bags are known{shared}",
        )
    middle = _median(differences)
    deviation = NORMAL_MAD * _median([abs(one - middle) for one in differences])
    most = _up(max(DEVIATIONS * deviation, DEVIATIONS * spread, LEAST))
    return Band(
        most,
        cases,
        Basis.HISTORY,
        middle,
        deviation,
        f"up to {most} either way is chance, by the spread of {cases} bags{shared}",
    )


def judge(difference: Decimal, within: Band) -> Judged:
    """A bag's difference beside what chance explains."""
    if abs(difference) <= within.most:
        said = "as expected" if difference == 0 else f"no more than chance: {within.said}"
        return Judged(difference, short=False, over=False, said=said)
    short = difference < 0
    word = "short" if short else "over"
    said = f"{word} by {abs(difference)}, more than chance: {within.said}"
    return Judged(difference, short=short, over=not short, said=said)


def repeated(differences: Sequence[Decimal]) -> Repeated:
    """Whether bags of one machine, driver or counter are short more often than over.

    The sign test: without a cause, shorts and overs are equally likely, and bags that agree to the
    cent say nothing. The chance of so many shorts or more is summed from the binomial distribution.
    """
    off = [one for one in differences if one != 0]
    shorts = sum(1 for one in off if one < 0)
    cases = len(off)
    total = sum(differences, Decimal(0))
    if cases < FEW:
        said = f"{shorts} short of {cases} that differ; too few to tell from chance"
        return Repeated(shorts, cases, None, repeated=False, total=total, said=said)
    p_value = sum(comb(cases, k) for k in range(shorts, cases + 1)) / 2**cases
    often = p_value < SELDOM
    said = f"{shorts} short of {cases} that differ; chance does so in {p_value:.1%} of such series"
    return Repeated(shorts, cases, p_value, repeated=often, total=total, said=said)


def _median(values: Sequence[Decimal]) -> Decimal:
    ordered = sorted(values)
    half = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[half]
    return (ordered[half - 1] + ordered[half]) / 2


def _up(amount: Decimal) -> Decimal:
    return amount.quantize(Decimal("0.01"), rounding=ROUND_CEILING)
