"""Columns that should have sold and did not.

Two things are asked of a silence: how likely it is at the column's own rate, and how likely it is
that of all that the machine sold meanwhile none was of this column. The larger chance counts. A
closed site silences all its columns, and only the second sees that; a machine of one column has
no neighbours, and only the first can judge it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt
from scipy import special

from .arrays import Flags, Floats, counts, flags, floats, refuse_where
from .fdr import q_values
from .suspicion import Kind, Suspicion, chance_said, strength_of

#: Share of false alarms that is aimed at among each day's new findings.
DEFAULT_Q = 0.05


@dataclass(frozen=True, eq=False)
class Silence:
    """Each column's silence since its last sale; every array is [columns].

    shape, exposure_days  Gamma of the rate (its mean is shape / exposure_days, units a usual day)
    dispersion            variance over mean of the counts at a known rate, 1 or more
    exposure              usual days of silence: weekday, season and closures are in them, and
                          time in which the column was known to be empty is not
    share                 of what the machine is expected to sell, this column's part, 0 to 1
    share_shape           pseudo-sales behind that share; infinite where it is known exactly
    neighbours_sold       units the machine's other columns sold in the silence
    can_sell              false where the column was empty or not in sale: nothing is suspected
    """

    shape: Floats
    exposure_days: Floats
    dispersion: Floats
    exposure: Floats
    share: Floats
    share_shape: Floats
    neighbours_sold: Floats
    can_sell: Flags

    @classmethod
    def of(
        cls,
        *,
        shape: npt.ArrayLike,
        exposure_days: npt.ArrayLike,
        exposure: npt.ArrayLike,
        share: npt.ArrayLike,
        neighbours_sold: npt.ArrayLike,
        dispersion: npt.ArrayLike = 1.0,
        share_shape: npt.ArrayLike = np.inf,
        can_sell: npt.ArrayLike = True,
    ) -> Self:
        """Checked arrays of one length. Raises BadEvidence, naming the first bad entry."""
        gamma = floats("shape", shape)
        n = len(gamma)
        known = np.broadcast_to(np.asarray(share_shape, np.float64), (n,))
        found = cls(
            shape=gamma,
            exposure_days=floats("exposure_days", exposure_days, n),
            dispersion=floats("dispersion", dispersion, n),
            exposure=floats("exposure", exposure, n),
            share=floats("share", share, n),
            share_shape=known,
            neighbours_sold=counts("neighbours_sold", neighbours_sold, n),
            can_sell=flags("can_sell", can_sell, n),
        )
        refuse_where("shape", gamma <= 0, "must be above 0")
        refuse_where("exposure_days", found.exposure_days <= 0, "must be above 0")
        refuse_where("dispersion", found.dispersion < 1, "must be 1 or more")
        refuse_where("exposure", found.exposure < 0, "must be 0 or more")
        refuse_where("share", (found.share < 0) | (found.share > 1), "must lie between 0 and 1")
        refuse_where("share_shape", ~(known > 0), "must be above 0")
        return found

    def __len__(self) -> int:
        return len(self.shape)


@dataclass(frozen=True, eq=False)
class SilenceJudged:
    """What chance has to say of each silence; every array is [columns].

    expected   units that were to be expected in the silence
    by_rate    chance of the silence at the column's own rate
    by_share   chance that none of what the machine sold was of this column
    p_value    the larger of both
    q_value    share of false alarms among the fleet's columns at least this suspicious
    found      q_value within what is tolerated
    """

    silence: Silence
    expected: Floats
    by_rate: Floats
    by_share: Floats
    p_value: Floats
    q_value: Floats
    found: Flags

    def suspicion(self, index: int) -> Suspicion:
        """One column's silence in words."""
        given = self.silence
        expected = float(self.expected[index])
        p_value = float(self.p_value[index])
        sold = int(given.neighbours_sold[index])
        share = float(given.share[index])
        said = f"Sold nothing where {_units(expected)} were to be expected"
        if sold:
            said += (
                f", while the other columns of the machine sold {sold} "
                f"(this one usually makes {share:.0%} of its sales)"
            )
        said += f": {chance_said(p_value)}."
        return Suspicion(
            kind=Kind.SILENT,
            p_value=p_value,
            strength=strength_of(p_value),
            said=said,
            numbers={
                "expected_units": expected,
                "silent_usual_days": float(given.exposure[index]),
                "usual_a_day": float(given.shape[index] / given.exposure_days[index]),
                "share_of_machine": share,
                "neighbours_sold_units": sold,
                "chance_by_rate": float(self.by_rate[index]),
                "chance_by_share": float(self.by_share[index]),
                "false_share": float(self.q_value[index]),
            },
        )


def judge(silence: Silence, q: float = DEFAULT_Q) -> SilenceJudged:
    """Judge every column's silence; false alarms are held to `q` of those raised.

    By rate: P(no sale) of the negative binomial with mean m = shape / exposure_days x exposure and
    size 1 / ((dispersion - 1) / m + 1 / shape), as demand is told ahead.
    By share: of n units the neighbours sold, with a share that is Beta(share_shape, share_shape x
    (1 - share) / share), none was this column's; (1 - share)^n where the share is known exactly.
    """
    expected = silence.shape / silence.exposure_days * silence.exposure
    by_rate = silent_by_rate(expected, silence.shape, silence.dispersion)
    by_share = silent_by_share(
        silence.share, silence.neighbours_sold, silence.share_shape, silence.dispersion
    )
    # Alone in its machine a column has nobody to be compared with: only its own rate speaks.
    larger = np.where(silence.share < 1, np.maximum(by_rate, by_share), by_rate)
    p_value = np.where(silence.can_sell & (silence.exposure > 0), larger, 1.0)
    adjusted = q_values(p_value)
    return SilenceJudged(silence, expected, by_rate, by_share, p_value, adjusted, adjusted <= q)


def silent_by_rate(expected: Floats, shape: Floats, dispersion: Floats) -> Floats:
    """[n] chance of no sale where `expected` units were to be expected."""
    with np.errstate(divide="ignore", invalid="ignore"):
        size = 1 / ((dispersion - 1) / expected + 1 / shape)
        found: Floats = np.exp(-size * np.log1p(expected / size))
    return np.where(expected > 0, found, 1.0)


def silent_by_share(
    share: Floats, neighbours_sold: Floats, share_shape: Floats, dispersion: Floats
) -> Floats:
    """[n] chance that a column of this share has none of what its neighbours sold beside it.

    Buyers who come in groups make fewer choices than sales: `dispersion` units count as one.
    """
    sold = neighbours_sold / dispersion
    with np.errstate(divide="ignore", invalid="ignore"):
        other = share_shape * (1 - share) / share
        exact = np.exp(sold * np.log1p(-share))
        beta = np.exp(
            special.gammaln(other + sold)
            - special.gammaln(other)
            - special.gammaln(share_shape + other + sold)
            + special.gammaln(share_shape + other)
        )
    found: Floats = np.where(np.isfinite(share_shape) & (share > 0) & (share < 1), beta, exact)
    return np.where(sold > 0, np.minimum(found, 1.0), 1.0)


def _units(expected: float) -> str:
    return f"{expected:.1f} units" if expected < 10 else f"{expected:.0f} units"
