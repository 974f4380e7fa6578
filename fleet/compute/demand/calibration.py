"""How well the model foretold what was then asked for.

The truth should fall within a band of 80 % about 80 % of the time. Units are whole, so a band of
whole units holds more than its name says: beside what was found stands what the model itself
expects of its bands. The continuous ranked probability score (Matheson & Winkler 1976; Gneiting &
Raftery 2007), in units, is the sum over k of (P(D <= k) - [truth <= k])^2: 0 is perfect.

Of an interval that ran dry only "at least this many" is known. Its share within a band is the
chance that the model gives it, knowing that much; its score is taken up to what was sold, where
it is known (a censored score that honesty still minimises); its units are what is then expected.
"""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final, Self

import numpy as np

from .arrays import BadSales, Floats, refuse_where
from .calendar import Calendar
from .fitting import fit
from .model import Fitted
from .predict import exposure_between, mean_and_size, predictive
from .sales import IntervalSales
from .settings import DEFAULT_SETTINGS, DemandSettings

LEVELS: Final = (0.5, 0.8, 0.95)
AT_ONCE: Final = 20_000


@dataclass(frozen=True, slots=True)
class Band:
    """A central band of chance `level`: sums over intervals of truths in it, and expected in it."""

    level: float
    within: float
    expected: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """Sums over `intervals`, so that those of several nights or regions can be added.

    `units` were asked for where `foretold` were expected; `ran_dry` counts intervals that did.
    """

    intervals: int
    ran_dry: int
    units: float
    foretold: float
    score_sum: float
    bands: tuple[Band, ...]

    @classmethod
    def of(cls, parts: Iterable[Self]) -> Self:
        """Several together. Raises BadSales when their bands are not the same."""
        given = list(parts)
        levels = tuple(one.level for one in given[0].bands) if given else LEVELS
        for index, part in enumerate(given):
            if tuple(one.level for one in part.bands) != levels:
                raise BadSales("bands", f"must be those of levels {levels}", index)
        return cls(
            sum(one.intervals for one in given),
            sum(one.ran_dry for one in given),
            sum(one.units for one in given),
            sum(one.foretold for one in given),
            sum(one.score_sum for one in given),
            tuple(
                Band(
                    level,
                    sum(one.bands[place].within for one in given),
                    sum(one.bands[place].expected for one in given),
                )
                for place, level in enumerate(levels)
            ),
        )

    @property
    def crps(self) -> float | None:
        """Mean score in units; None of no intervals."""
        return self.score_sum / self.intervals if self.intervals else None

    @property
    def bias(self) -> float | None:
        """Part by which too many (above 0) or too few units were foretold."""
        return self.foretold / self.units - 1 if self.units > 0 else None

    def within(self, level: float) -> float | None:
        """Part of the truths within the band of `level`."""
        return self._part(level, "within")

    def expected(self, level: float) -> float | None:
        """Part that the model expected within the band of `level`."""
        return self._part(level, "expected")

    def _part(self, level: float, name: str) -> float | None:
        for band in self.bands:
            if band.level == level:
                return float(getattr(band, name)) / self.intervals if self.intervals else None
        raise BadSales("level", f"{level} is none of {[band.level for band in self.bands]}")

    def as_json(self) -> dict[str, Any]:
        """JSON, read back by `from_json`."""
        return {**asdict(self), "bands": [asdict(band) for band in self.bands]}

    @classmethod
    def from_json(cls, kept: dict[str, Any]) -> Self:
        """What `as_json` wrote."""
        bands = tuple(Band(**band) for band in kept["bands"])
        return cls(**{**kept, "bands": bands})


def calibration(
    fitted: Fitted,
    sales: IntervalSales,
    calendar: Calendar,
    levels: Sequence[float] = LEVELS,
) -> Calibration:
    """How well models foretold intervals that were not known to them, one by one.

    An interval may begin before its model was fitted; one that also ended before was known to it
    and is refused. Raises BadSales.
    """
    if sales.columns != len(fitted):
        raise BadSales("machine", f"has {sales.columns} columns, must have {len(fitted)}")
    known = sales.ends <= fitted.fitted_at[sales.column]
    refuse_where("ends", known, "the model already knew this interval")
    told = sales.where(~(sales.ran_dry & (sales.units == 0))).in_order()
    parts = []
    for first in range(0, len(told), AT_ONCE):
        some = told.where(np.arange(first, min(first + AT_ONCE, len(told))))
        models = fitted.where(some.column)
        rows = Calendar(calendar.first_day, calendar.usual, calendar.row[some.column])
        exposure = exposure_between(models, rows, some.starts, some.ends)
        parts.append(_scored(models, exposure, some, levels))
    return Calibration.of(parts) if parts else _nothing(levels)


def rolling(
    sales: IntervalSales,
    calendar: Calendar,
    origins: Sequence[float],
    days: int,
    settings: DemandSettings = DEFAULT_SETTINGS,
    levels: Sequence[float] = LEVELS,
) -> Calibration:
    """Fit at each origin on what was known then, and foretell the intervals of the next `days`.

    Of those that end after the origin and by `days` later, one by one: added up over days, a
    column that ran dry would be watched for as long as it sold slowly. Raises BadSales.
    """
    parts = []
    for origin in origins:
        models = fit(sales, calendar, origin, settings).columns
        ahead = sales.where((sales.ends > origin) & (sales.ends <= origin + days))
        parts.append(calibration(models, ahead, calendar, levels))
    return Calibration.of(parts) if parts else _nothing(levels)


def crps(pmf: Floats, truth: Floats) -> Floats:
    """[n] scores of distributions [n, units] against what came true, which they must reach."""
    below = np.cumsum(pmf, axis=1)
    came = np.arange(pmf.shape[1])[None, :] >= truth[:, None]
    found: Floats = ((below - came) ** 2).sum(axis=1)
    return found


def _scored(
    fitted: Fitted, exposure: Floats, sales: IntervalSales, levels: Sequence[float]
) -> Calibration:
    """One model and one exposure a row of `sales`."""
    mean, _ = mean_and_size(fitted, exposure)
    least = int(sales.units.max(initial=0)) + 2
    pmf = predictive(fitted, exposure)
    if pmf.shape[1] < least:
        pmf = predictive(fitted, exposure, least)
    below = np.cumsum(pmf, axis=1)
    count = np.arange(pmf.shape[1])
    sold, dry = sales.units, sales.ran_dry
    square = (below - (count >= sold[:, None])) ** 2
    score = np.where(dry[:, None] & (count >= sold[:, None]), 0, square).sum(axis=1)
    # What is possible given what is known: the truth alone, or all from what was sold on.
    possible = np.where(
        dry[:, None], pmf * (count >= sold[:, None]), (count == sold[:, None]).astype(np.float64)
    )
    # Sold beyond what the model thinks possible at all: it is then that and no more.
    lost = possible.sum(axis=1) <= 0
    possible[lost, sold[lost]] = 1
    possible /= possible.sum(axis=1, keepdims=True)
    bands = []
    for level in levels:
        low = (below < (1 - level) / 2).sum(axis=1)
        high = (below < (1 + level) / 2).sum(axis=1)
        inside = (count >= low[:, None]) & (count <= high[:, None])
        bands.append(Band(level, float((possible * inside).sum()), float((pmf * inside).sum())))
    return Calibration(
        len(sales),
        int(dry.sum()),
        float((possible @ count).sum()),
        float(mean.sum()),
        float(score.sum()),
        tuple(bands),
    )


def _nothing(levels: Sequence[float]) -> Calibration:
    return Calibration(0, 0, 0.0, 0.0, 0.0, tuple(Band(level, 0.0, 0.0) for level in levels))
