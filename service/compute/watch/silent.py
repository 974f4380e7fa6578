"""Columns that should have sold and did not.

Two things are asked of a silence: how likely it is at the column's own rate, and how likely it is
that of all that the machine sold meanwhile none was of this column. The larger chance counts. A
closed site silences all its columns, and only the second sees that; a machine of one column has
no neighbours, and only the first can judge it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Self

import numpy as np
import numpy.typing as npt
from scipy import special

from .arrays import Flags, Floats, Ints, counts, flags, floats, refuse_where, sums
from .fdr import q_values
from .suspicion import Kind, Suspicion, chance_said, strength_of

#: Share of false alarms that is aimed at among each day's new findings.
DEFAULT_Q: Final = 0.05
#: Half-life of sales in the rate that a silence is held against: long, so that a slow week does
#: not pass for the usual. By trial on a synthetic fleet (the tests' own).
HALF_LIFE_DAYS: Final = 56.0
#: A machine's mean counts as this many sales of each of its columns.
PRIOR_SALES: Final = 2.0
#: What moves a whole machine moves no column's share, which so is known as by this many times the
#: sales behind its rate. By trial on the same fleet.
SHARE_KNOWN_BY: Final = 3.0


@dataclass(frozen=True, eq=False)
class Intervals:
    """What columns sold, interval by interval, in any order.

    One entry an interval:
      column    which column, 0 .. columns-1
      ends      moment, in days from any origin
      units     units sold
      exposure  usual days in it, by weekday, season and the calendar of the site
      beside    units the machine's other columns sold in the same time
      empty     known to have been empty: it could not sell
    One entry a column:
      machine     number of its machine
      dispersion  variance over mean of its counts at a known rate, 1 or more
    """

    column: Ints
    ends: Floats
    units: Floats
    exposure: Floats
    beside: Floats
    empty: Flags
    machine: Ints
    dispersion: Floats

    @classmethod
    def of(
        cls,
        *,
        column: npt.ArrayLike,
        ends: npt.ArrayLike,
        units: npt.ArrayLike,
        exposure: npt.ArrayLike,
        beside: npt.ArrayLike,
        machine: npt.ArrayLike,
        empty: npt.ArrayLike = False,
        dispersion: npt.ArrayLike = 1.0,
    ) -> Self:
        """Checked arrays. Raises BadEvidence, naming the first bad entry."""
        _, numbered = np.unique(np.asarray(machine), return_inverse=True)
        many = len(numbered)
        rows = counts("column", column)
        refuse_where("column", rows >= many, f"names none of the {many} columns")
        n = len(rows)
        found = cls(
            rows.astype(np.int64),
            floats("ends", ends, n),
            counts("units", units, n),
            floats("exposure", exposure, n),
            counts("beside", beside, n),
            flags("empty", empty, n),
            numbered.astype(np.int64),
            floats("dispersion", dispersion, many),
        )
        refuse_where("exposure", found.exposure < 0, "must be 0 or more")
        refuse_where("dispersion", found.dispersion < 1, "must be 1 or more")
        return found

    @property
    def last_sale(self) -> Floats:
        """[columns] when the last interval that sold something ended; -inf without any."""
        found = np.full(len(self.machine), -np.inf)
        some = self.units > 0
        np.maximum.at(found, self.column[some], self.ends[some])
        return found


def since_last_sale(
    given: Intervals,
    half_life_days: float = HALF_LIFE_DAYS,
    can_sell: npt.ArrayLike = True,
) -> Silence:
    """Each column's silence, held against what it sold up to its last sale and not after.

    A rate that is fitted on the silence too takes it for the usual, the faster the longer it lasts:
    a fleet watched so finds hardly anything. So the rate is a Gamma of the sales up to the last
    one, fading by half in `half_life_days` before it, on top of PRIOR_SALES at the mean of its
    machine; shares are of these rates. `can_sell` [columns]: false where nothing is in it now.
    """
    many = len(given.machine)
    last = given.last_sale
    before = given.ends <= last[given.column]
    weight = np.zeros(len(given.ends))
    weight[before] = 0.5 ** ((last[given.column[before]] - given.ends[before]) / half_life_days)
    weight[given.empty & (given.units == 0)] = 0
    sold = sums(given.column, weight * given.units, many)
    exposed = sums(given.column, weight * given.exposure, many)
    mean = _machine_mean(given.machine, sold, exposed)
    shape = PRIOR_SALES + sold / given.dispersion
    exposure_days = PRIOR_SALES / mean + exposed / given.dispersion
    rate = shape / exposure_days
    silent = ~before & ~given.empty
    column = given.column[silent]
    return Silence.of(
        shape=shape,
        exposure_days=exposure_days,
        dispersion=given.dispersion,
        exposure=sums(column, given.exposure[silent], many),
        share=rate / np.bincount(given.machine, rate)[given.machine],
        share_shape=SHARE_KNOWN_BY * shape,
        neighbours_sold=sums(column, given.beside[silent], many),
        can_sell=can_sell,
    )


def _machine_mean(machine: Ints, sold: Floats, exposed: Floats) -> Floats:
    """[columns] mean rate of the columns of each one's machine; the fleet's where none sold."""
    units, days = np.bincount(machine, sold), np.bincount(machine, exposed)
    total_days = float(days.sum())
    fleet = float(units.sum()) / total_days if total_days else 0.0
    known = (units > 0) & (days > 0)
    mean = np.divide(units, days, out=np.full(len(units), max(fleet, 1e-6)), where=known)
    found: Floats = mean[machine]
    return found


@dataclass(frozen=True, eq=False)
class Silence:
    """Each column's silence since its last sale; every array is [columns].

    shape, exposure_days  Gamma of the rate (its mean is shape / exposure_days, units a usual day)
    dispersion            variance over mean of the counts at a known rate, 1 or more
    exposure              usual days of silence: weekday, season and closures are in them, and
                          time in which the column was known to be empty is not
    share                 of what the machine is expected to sell, this column's part, 0 to 1
    share_shape           sales behind that share; infinite where it is known exactly
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

    A column that sells in bursts is silent more often than its share says: at a known level it is
    so with chance dispersion ^ (-m / (dispersion - 1)) of the negative binomial, exp(-m) at 1, so
    that each unit of a neighbour's speaks for less.
    """
    beyond = np.maximum(dispersion - 1, 1e-12)
    sold = neighbours_sold * np.log1p(beyond) / beyond
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
