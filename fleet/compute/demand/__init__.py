"""Demand: what columns would sell, from what they sold.

`fit` turns intervals of sales into one small model a column (`Fitted.column(i).as_json()`), and a
`Pool` for columns that have sold nothing yet; `exposures` and `predictive` turn models into
distributions of what will be asked for until any date. All by arrays over columns.
"""

from .arrays import BadSales
from .calendar import Calendar, Closure, day_number, moment_number
from .calibration import Band, Calibration, calibration, crps, rolling
from .censoring import censored_rate, expected_when_dry
from .fitting import Fit, fit
from .model import ColumnModel, Fitted
from .pool import Pool, pool_model, pooled
from .predict import exposure_between, exposures, mean_and_size, predictive, quantiles
from .sales import IntervalSales
from .settings import DEFAULT_SETTINGS, DemandSettings

__all__ = [
    "DEFAULT_SETTINGS",
    "BadSales",
    "Band",
    "Calendar",
    "Calibration",
    "Closure",
    "ColumnModel",
    "DemandSettings",
    "Fit",
    "Fitted",
    "IntervalSales",
    "Pool",
    "calibration",
    "censored_rate",
    "crps",
    "day_number",
    "expected_when_dry",
    "exposure_between",
    "exposures",
    "fit",
    "mean_and_size",
    "moment_number",
    "pool_model",
    "pooled",
    "predictive",
    "quantiles",
    "rolling",
]
