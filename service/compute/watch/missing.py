"""Units gone from a column that no vend accounts for: two for one payment, or lost otherwise.

Between two counts: missing = last count + filled - removed - vended - counted. Each count may be
off. Where products fall two for one payment, about every vend takes one with it, or every
so-manieth; what was stolen, or filled into another column, is gone at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Final, Self

import numpy as np
import numpy.typing as npt
from scipy import special

from .arrays import BadEvidence, Floats, counts, refuse_unless, refuse_where, whole
from .suspicion import Kind, Suspicion, chance_said, strength_of

#: Share of vends that may drop two before anybody is sent; common practice, no published source.
TOLERATED_RATE: Final = 0.002
#: Chance that a count is one too few, and as much that it is one too many; our own assumption.
OFF_BY_ONE: Final = 0.08
#: Chance that a count is two or three too few, and as much too many; our own assumption.
OFF_BY_MORE: Final = 0.01
#: Counts that an interval hangs on: the one it begins with and the one it ends with.
COUNTS_EACH: Final = 2
MOST_COUNTS: Final = 24
JEFFREYS: Final = 0.5


@dataclass(frozen=True, eq=False)
class Unaccounted:
    """What each column vended and what it is short of, over one or more intervals; [columns].

    vended   units vended: paid, free and test vends
    missing  units gone beyond that; below zero where more were found than should be there
    counts   counts that the sum hangs on; neighbouring intervals share theirs, so that any number
             of intervals in a row hang on the first and the last count: 2
    deep     products deep, as loaded: at most deep - 1 can follow each vend
    """

    vended: Floats
    missing: Floats
    counts: Floats
    deep: Floats

    @classmethod
    def of(
        cls,
        *,
        vended: npt.ArrayLike,
        missing: npt.ArrayLike,
        counts_each: npt.ArrayLike = COUNTS_EACH,
        deep: npt.ArrayLike = 2,
    ) -> Self:
        """Checked arrays of one length. Raises BadEvidence, naming the first bad entry."""
        sold = counts("vended", vended)
        n = len(sold)
        found = cls(
            sold,
            whole("missing", missing, n),
            counts("counts_each", counts_each, n),
            counts("deep", deep, n),
        )
        refuse_where("counts_each", found.counts > MOST_COUNTS, f"must be 0 to {MOST_COUNTS}")
        return found

    def __len__(self) -> int:
        return len(self.vended)


@dataclass(frozen=True, eq=False)
class UnaccountedJudged:
    """What chance has to say; every array is [columns].

    too_few    chance of so many missing, at the tolerated rate and with counts that may be off
    too_many   chance of so many found beyond what should be there
    """

    given: Unaccounted
    too_few: Floats
    too_many: Floats

    @cached_property
    def p_value(self) -> Floats:
        """[columns] the smaller of both chances, doubled for having looked twice."""
        found: Floats = np.minimum(2 * np.minimum(self.too_few, self.too_many), 1.0)
        return found

    def rate(self, index: int) -> tuple[float, float, float]:
        """Extra units a vend of one column, and what bounds them with chance .95 (Jeffreys)."""
        # More can be missing than were vended, where each vend can take several with it.
        each = max(float(self.given.deep[index]) - 1, 1.0)
        extra = max(float(self.given.missing[index]), 0.0)
        trials = max(float(self.given.vended[index]) * each, extra)
        a, b = extra + JEFFREYS, trials - extra + JEFFREYS
        low = float(special.betaincinv(a, b, 0.025)) if extra else 0.0
        high = float(special.betaincinv(a, b, 0.975)) if trials > extra else 1.0
        return (extra / trials * each if trials else 0.0), low * each, high * each

    def suspicion(self, index: int, kind: Kind) -> Suspicion:
        """One column's figures in words, for a finding of `kind` (TWO_FOR_ONE or MISSING)."""
        vended, missing = int(self.given.vended[index]), int(self.given.missing[index])
        short = missing >= 0
        p_value = float(self.p_value[index])
        rate, low, high = self.rate(index)
        if kind is Kind.TWO_FOR_ONE:
            said = (
                f"{_units(missing)} gone beyond the {_vends(vended)} that were counted: about "
                f"{_every(rate)}; {chance_said(p_value)}."
            )
        elif short:
            said = (
                f"{_units(missing)} gone that no vend accounts for ({_vends(vended)}); "
                f"{chance_said(p_value)}."
            )
        else:
            said = (
                f"{_units(-missing)} more found than should be there ({_vends(vended)}); "
                f"{chance_said(p_value)}."
            )
        return Suspicion(
            kind=kind,
            p_value=p_value,
            strength=strength_of(p_value),
            said=said,
            numbers={
                "vended_units": vended,
                "missing_units": missing,
                "counts": int(self.given.counts[index]),
                "extra_a_vend": rate,
                "extra_a_vend_low": low,
                "extra_a_vend_high": high,
            },
        )


def judge(
    given: Unaccounted,
    tolerated_rate: float = TOLERATED_RATE,
    off_by_one: float = OFF_BY_ONE,
    off_by_more: float = OFF_BY_MORE,
) -> UnaccountedJudged:
    """Judge what is missing against vends and against the error of counting.

    The extra units are binomial in the vends at `tolerated_rate`; each count is off as
    `counting_error` has it. Raises BadEvidence.
    """
    errors = (off_by_one, off_by_more)
    too_few = missing_tail(given.vended, given.missing, given.counts, tolerated_rate, *errors)
    too_many = surplus_tail(given.missing, given.counts, *errors)
    return UnaccountedJudged(given, too_few, too_many)


def counting_error(number: int, off_by_one: float = OFF_BY_ONE, off_by_more: float = 0.0) -> Floats:
    """[2 number reach + 1] chances that `number` counts together are off by so many units.

    Each is one off with `off_by_one` either way, and two or three off with half of `off_by_more`
    each, either way. `reach` is 3, or 1 where `off_by_more` is 0. Raises BadEvidence.
    """
    refuse_unless("off_by_one", 0 <= off_by_one <= 0.5, "must lie between 0 and 0.5")
    refuse_unless(
        "off_by_more",
        0 <= off_by_more <= 0.5,
        "must lie between 0 and 0.5",
    )
    refuse_unless("counts_each", 0 <= number <= MOST_COUNTS, f"must be 0 to {MOST_COUNTS}")
    # A setting of half for one off leaves no room for larger errors.
    more = min(off_by_more, 0.5 - off_by_one)
    side = [more / 2, more / 2, off_by_one] if off_by_more else [off_by_one]
    each = [*side, 1 - 2 * sum(side), *reversed(side)]
    found = np.ones(1)
    for _ in range(number):
        found = np.convolve(found, each)
    return found


def missing_tail(
    vended: Floats,
    missing: Floats,
    count: Floats,
    tolerated_rate: float = TOLERATED_RATE,
    off_by_one: float = OFF_BY_ONE,
    off_by_more: float = 0.0,
) -> Floats:
    """[n] P(X + error >= missing), X binomial in `vended`, the error that of `count` counts."""
    refuse_unless("tolerated_rate", 0 <= tolerated_rate < 1, "must be 0 or more and below 1")
    found = np.ones(len(vended))
    # Where nothing is missing there is nothing to reckon: the chance is large and no matter.
    for number in np.unique(count).astype(int):
        error = counting_error(int(number), off_by_one, off_by_more)
        most = len(error) // 2
        rows = np.flatnonzero((count == number) & (missing > -most))
        total = np.zeros(len(rows))
        for off, chance in zip(range(-most, most + 1), error, strict=True):
            total += chance * binomial_tail(missing[rows] - off, vended[rows], tolerated_rate)
        found[rows] = np.minimum(total, 1.0)
    return found


def surplus_tail(
    missing: Floats, count: Floats, off_by_one: float = OFF_BY_ONE, off_by_more: float = 0.0
) -> Floats:
    """[n] chance that counting alone finds so many too many: P(error <= missing)."""
    found = np.ones(len(missing))
    for number in np.unique(count).astype(int):
        below = np.cumsum(counting_error(int(number), off_by_one, off_by_more))
        most = len(below) // 2
        rows = np.flatnonzero((count == number) & (missing < most))
        at = (missing[rows] + most).astype(int)
        found[rows] = np.where(at < 0, 0.0, below[np.clip(at, 0, 2 * most)])
    return np.minimum(found, 1.0)


def binomial_tail(least: Floats, trials: Floats, rate: float) -> Floats:
    """[n] P(X >= least), X binomial: the regularised incomplete beta function."""
    inside = (least > 0) & (least <= trials)
    found: Floats = np.where(least <= 0, 1.0, 0.0)
    k, n = least[inside], trials[inside]
    found[inside] = special.betainc(k, n - k + 1, rate)
    return found


class Nature(StrEnum):
    """How units went missing over several intervals."""

    STEADY = "steady"
    AT_ONCE = "at_once"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, slots=True)
class Shape:
    """Whether units go with the vends, or went all at once in the interval `index`."""

    nature: Nature
    index: int | None
    odds: float
    said: str


#: Odds at which one of two stories is told; Jeffreys called 10 strong evidence (from memory).
STRONG_ODDS: Final = 10.0


def nature_of(vended: npt.ArrayLike, missing: npt.ArrayLike) -> Shape:
    """Do units go with the vends, or were they gone at once? Intervals in order of time.

    Compares two stories: extra units binomial in the vends at one unknown rate (uniform prior),
    against all of them in a single interval, whichever (uniform), and none by vending. The odds
    are those of the data under the first against under the second.
    """
    sold = counts("vended", vended)
    gone = np.clip(whole("missing", missing, len(sold)), 0, None)
    total = float(gone.sum())
    if len(sold) < 2 or total < 2:
        return Shape(Nature.CANNOT_TELL, None, 1.0, "Too little to tell how they went.")
    trials = np.maximum(sold, gone)
    # The total is given in both stories, so that only how it is spread counts.
    spread = float(np.sum(_log_choose(trials, gone)) - _log_choose(trials.sum(), np.float64(total)))
    most = int(np.argmax(gone))
    # A count that is off puts one unit beside the heap.
    beside = total - float(gone[most])
    heap = -np.log(len(sold)) + beside * np.log(OFF_BY_ONE)
    odds = float(np.exp(np.clip(spread - heap, -50, 50)))
    if odds >= STRONG_ODDS:
        return Shape(Nature.STEADY, None, odds, "They go with the vends, interval by interval.")
    if odds <= 1 / STRONG_ODDS:
        many = f"All {total:.0f}" if beside == 0 else f"{gone[most]:.0f} of {total:.0f}"
        return Shape(Nature.AT_ONCE, most, odds, f"{many} went in one interval.")
    return Shape(Nature.CANNOT_TELL, None, odds, "They may go with the vends, or went at once.")


def kind_of(vended: float, missing: float, deep: int, shape: Shape | None = None) -> Kind:
    """Two for one where a second product could have followed the vends; else plainly missing.

    `missing` below zero, more than deep - 1 a vend (with one for a count that is off), a spiral or
    a column one deep that lost them at once: those are no double vends.
    """
    if missing <= 0 or (shape is not None and shape.nature is Nature.AT_ONCE):
        return Kind.MISSING
    return Kind.TWO_FOR_ONE if missing <= vended * max(deep - 1, 1) + 1 else Kind.MISSING


def _log_choose(trials: Floats | np.float64, taken: Floats | np.float64) -> Floats:
    found: Floats = np.asarray(
        special.gammaln(trials + 1)
        - special.gammaln(taken + 1)
        - special.gammaln(trials - taken + 1)
    )
    return found


def _units(number: int) -> str:
    return "1 unit" if number == 1 else f"{number} units"


def _vends(number: int) -> str:
    return "1 vend" if number == 1 else f"{number} vends"


def _every(rate: float) -> str:
    """How often one more drops, as a person on the road would say it."""
    if rate > 1.25:
        return f"{rate:.1f} with every vend"
    if rate >= 0.75:
        return "one with every vend"
    if rate >= 0.15:
        return f"{rate * 100:.0f} in 100 vends"
    return f"one in {1 / rate:.0f} vends" if rate > 0 else "none"


__all__ = [
    "COUNTS_EACH",
    "OFF_BY_ONE",
    "TOLERATED_RATE",
    "BadEvidence",
    "Nature",
    "Shape",
    "Unaccounted",
    "UnaccountedJudged",
    "binomial_tail",
    "counting_error",
    "judge",
    "kind_of",
    "missing_tail",
    "nature_of",
    "surplus_tail",
]
