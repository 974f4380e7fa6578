"""Power lost again and again at a machine, against what is usual. Vectorised over machines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Self

import numpy as np
import numpy.typing as npt
from scipy import special

from .arrays import Flags, Floats, counts, floats, refuse_where
from .suspicion import Kind, Suspicion, chance_said, strength_of

#: Losses a week that nobody is sent for, and at least so many in the time looked at; common
#: practice, no published source.
LIMIT_A_WEEK: Final = 1.0
LEAST_LOSSES: Final = 3
DAYS_A_WEEK: Final = 7.0


@dataclass(frozen=True, eq=False)
class PowerLosses:
    """How often each machine lost its power in a time; [machines].

    losses          by the machine's own counter or events
    days            over which
    site_losses     of other machines at the same site over the same days; where they lost it too,
                    the trouble is the site's
    site_machines   how many those are
    """

    losses: Floats
    days: Floats
    site_losses: Floats
    site_machines: Floats

    @classmethod
    def of(
        cls,
        *,
        losses: npt.ArrayLike,
        days: npt.ArrayLike,
        site_losses: npt.ArrayLike = 0,
        site_machines: npt.ArrayLike = 0,
    ) -> Self:
        """Checked arrays of one length. Raises BadEvidence."""
        lost = counts("losses", losses)
        n = len(lost)
        found = cls(
            lost,
            floats("days", days, n),
            counts("site_losses", site_losses, n),
            counts("site_machines", site_machines, n),
        )
        refuse_where("days", found.days < 0, "must be 0 or more")
        return found


@dataclass(frozen=True, eq=False)
class PowerJudged:
    """[machines] chance of so many losses at the limit's rate, and what is found."""

    given: PowerLosses
    p_value: Floats
    shared: Flags
    found: Flags
    limit_a_week: float

    def suspicion(self, index: int) -> Suspicion:
        """One machine's losses of power in words."""
        given = self.given
        losses, days = int(given.losses[index]), float(given.days[index])
        p_value = float(self.p_value[index])
        said = (
            f"Lost its power {losses} times in {days:.0f} days, where {self.limit_a_week:g} a week "
            f"is the limit: {chance_said(p_value)}."
        )
        if self.shared[index]:
            said += " Other machines at the site lost theirs too."
        elif given.site_machines[index]:
            said += " Other machines at the site did not."
        return Suspicion(
            kind=Kind.POWER,
            p_value=p_value,
            strength=strength_of(p_value),
            said=said,
            numbers={
                "losses": losses,
                "days": days,
                "limit_a_week": self.limit_a_week,
                "shared_with_site": bool(self.shared[index]),
            },
        )


def judge(
    given: PowerLosses,
    limit_a_week: float = LIMIT_A_WEEK,
    level: float = 0.05,
    least: int = LEAST_LOSSES,
) -> PowerJudged:
    """More losses than a Poisson count at `limit_a_week` would have with chance `level`."""
    mean = limit_a_week * given.days / DAYS_A_WEEK
    p_value = np.where(given.losses > 0, special.pdtrc(np.maximum(given.losses - 1, 0), mean), 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        beside = np.where(given.site_machines > 0, given.site_losses / given.site_machines, 0.0)
    shared = (given.site_machines > 0) & (beside * 2 >= given.losses)
    found = (p_value <= level) & (given.losses >= least)
    return PowerJudged(given, p_value, shared, found, limit_a_week)
