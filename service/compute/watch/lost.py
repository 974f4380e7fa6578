"""What columns lose by standing empty, against a limit a week. Money in minor units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Self

import numpy as np
import numpy.typing as npt
from scipy import special

from .arrays import Flags, Floats, floats, refuse_where
from .suspicion import Kind, Suspicion, strength_over

#: Margin lost a week that is told; the operator's own choice.
LIMIT_MINOR_A_WEEK: Final = 1_000.0
#: How sure it must be that more than the limit is lost.
SURE: Final = 0.8


@dataclass(frozen=True, eq=False)
class Emptiness:
    """How long each column stood empty, and what it would have sold; [columns].

    shape, exposure_days  Gamma of the rate, units a usual day
    dry_exposure          usual days it stood empty in the time looked at
    weeks                 length of that time
    margin_minor          margin of one unit
    """

    shape: Floats
    exposure_days: Floats
    dry_exposure: Floats
    weeks: Floats
    margin_minor: Floats

    @classmethod
    def of(
        cls,
        *,
        shape: npt.ArrayLike,
        exposure_days: npt.ArrayLike,
        dry_exposure: npt.ArrayLike,
        weeks: npt.ArrayLike,
        margin_minor: npt.ArrayLike,
    ) -> Self:
        """Checked arrays of one length. Raises BadEvidence."""
        gamma = floats("shape", shape)
        n = len(gamma)
        found = cls(
            gamma,
            floats("exposure_days", exposure_days, n),
            floats("dry_exposure", dry_exposure, n),
            floats("weeks", weeks, n),
            floats("margin_minor", margin_minor, n),
        )
        refuse_where("shape", gamma <= 0, "must be above 0")
        refuse_where("exposure_days", found.exposure_days <= 0, "must be above 0")
        refuse_where("dry_exposure", found.dry_exposure < 0, "must be 0 or more")
        refuse_where("weeks", found.weeks <= 0, "must be above 0")
        return found


@dataclass(frozen=True, eq=False)
class EmptinessJudged:
    """[columns] units and margin lost a week; `sure` is the chance that it is beyond the limit."""

    given: Emptiness
    units_a_week: Floats
    minor_a_week: Floats
    sure: Floats
    found: Flags
    limit_minor: float

    def suspicion(self, index: int, digits: int = 2) -> Suspicion:
        """One column's losses in words; `digits` after the point of the currency."""
        given = self.given
        dry, weeks = float(given.dry_exposure[index]), float(given.weeks[index])
        lost = float(self.minor_a_week[index])
        said = (
            f"Stood empty for {dry:.1f} usual days in {weeks:.1f} weeks: about "
            f"{float(self.units_a_week[index]):.1f} units and {_money(lost, digits)} of margin "
            f"lost a week; the limit is {_money(self.limit_minor, digits)}."
        )
        return Suspicion(
            kind=Kind.SOLD_OUT,
            p_value=None,
            strength=strength_over(lost, self.limit_minor),
            said=said,
            numbers={
                "dry_usual_days": dry,
                "weeks": weeks,
                "units_a_week": float(self.units_a_week[index]),
                "margin_minor_a_week": lost,
                "limit_minor_a_week": self.limit_minor,
                "chance_beyond_limit": float(self.sure[index]),
            },
        )


def judge(
    given: Emptiness, limit_minor: float = LIMIT_MINOR_A_WEEK, sure: float = SURE
) -> EmptinessJudged:
    """Columns that lose more than `limit_minor` of margin a week with chance `sure` or more.

    What is lost is rate x empty time; the rate is Gamma distributed, so the chance is its tail.
    """
    rate = given.shape / given.exposure_days
    units = rate * given.dry_exposure / given.weeks
    money = units * np.maximum(given.margin_minor, 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        # The rate from which on the loss is beyond the limit.
        needed = np.where(money > 0, rate * limit_minor / money, np.inf)
    chance = special.gammaincc(given.shape, needed * given.exposure_days)
    chance = np.where(np.isfinite(needed), chance, 0.0)
    return EmptinessJudged(given, units, money, chance, chance >= sure, limit_minor)


def _money(minor: float, digits: int) -> str:
    return f"{minor / 10**digits:,.{digits}f}"
