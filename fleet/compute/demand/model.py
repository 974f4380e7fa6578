"""What is known of columns' demand after a fit: rows of arrays, or one column to be stored."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Self

import numpy as np
from scipy import special

from .arrays import BadSales, Flags, Floats, Ints

#: Written into every stored model; a model of another form is refused, not misread.
FORM: Final = 1


@dataclass(frozen=True, slots=True)
class ColumnModel:
    """The demand of one column.

    The rate, in units a usual day, is Gamma distributed with `shape` and `exposure_days` (its
    mean is shape / exposure_days). Given the rate, what is asked for in a time has the mean of
    rate x exposure and a variance `dispersion` times that.

    weekday         7 factors of a day's exposure, Monday first, 1 on average
    trend_a_week    change of the logarithm of the fleet's season in a week, now
    trend_damping   part of that change that lasts from week to week
    fitted_at       moment (days since 1970-01-01) up to which sales were known
    half_life_days  mean half-life of old sales' weight that the column has learned; 0 from pool
    own_exposure    usual days of the column's own that are in the rate, after fading; 0 from pool
    """

    shape: float
    exposure_days: float
    dispersion: float
    weekday: tuple[float, ...]
    trend_a_week: float
    trend_damping: float
    fitted_at: float
    half_life_days: float
    own_exposure: float

    @property
    def rate(self) -> float:
        """Mean units asked for in a usual day."""
        return self.shape / self.exposure_days

    @property
    def from_pool(self) -> bool:
        """Nothing of the column's own is known yet: a new product or machine."""
        return self.own_exposure == 0

    def as_json(self) -> dict[str, Any]:
        """Small JSON, read back by `from_json` without loss."""
        return {
            "form": FORM,
            "shape": self.shape,
            "exposure_days": self.exposure_days,
            "dispersion": self.dispersion,
            "weekday": list(self.weekday),
            "trend_a_week": self.trend_a_week,
            "trend_damping": self.trend_damping,
            "fitted_at": self.fitted_at,
            "half_life_days": self.half_life_days,
            "own_exposure": self.own_exposure,
        }

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Self:
        """A stored model. Raises BadSales when it was not written by `as_json` of this form."""
        if kept.get("form") != FORM:
            raise BadSales("form", f"is {kept.get('form')!r}, must be {FORM}: fit again")
        names = [name for name in cls.__dataclass_fields__ if name != "weekday"]
        missing = [name for name in (*names, "weekday") if name not in kept]
        if missing:
            raise BadSales(missing[0], "is missing: fit again")
        if len(kept["weekday"]) != 7:
            raise BadSales("weekday", "must hold 7 factors, Monday first")
        return cls(
            weekday=tuple(float(one) for one in kept["weekday"]),
            **{name: float(kept[name]) for name in names},
        )


@dataclass(frozen=True, eq=False)
class Fitted:
    """The demand of many columns: each field of ColumnModel as an array [columns].

    `weekday` is [columns, 7].
    """

    shape: Floats
    exposure_days: Floats
    dispersion: Floats
    weekday: Floats
    trend_a_week: Floats
    trend_damping: Floats
    fitted_at: Floats
    half_life_days: Floats
    own_exposure: Floats

    @classmethod
    def of(cls, models: Sequence[ColumnModel]) -> Self:
        """Stored models of columns, in the order given, from whatever fits."""
        return cls(
            **{
                name: np.array([getattr(one, name) for one in models], np.float64)
                for name in cls.__dataclass_fields__
                if name != "weekday"
            },
            weekday=np.array([one.weekday for one in models], np.float64).reshape(-1, 7),
        )

    def column(self, index: int) -> ColumnModel:
        """One column's model, to be stored."""
        return ColumnModel(
            weekday=tuple(self.weekday[index].tolist()),
            **{
                name: float(getattr(self, name)[index])
                for name in self.__dataclass_fields__
                if name != "weekday"
            },
        )

    def where(self, chosen: Flags | Ints) -> Self:
        """Some of the columns."""
        return type(self)(
            **{name: getattr(self, name)[chosen] for name in self.__dataclass_fields__}
        )

    def __len__(self) -> int:
        return len(self.shape)

    @property
    def rate(self) -> Floats:
        """[columns] mean units asked for in a usual day."""
        return self.shape / self.exposure_days

    def rate_quantile(self, level: float) -> Floats:
        """[columns] rate that the true one does not exceed with chance `level`."""
        found: Floats = special.gammaincinv(self.shape, level) / self.exposure_days
        return found
