"""How well the last fit foretold what sold since: its bands held against the truth.

Only what was not yet known when the models were fitted is held against them. The first fit has no
model before it: it is tried as it would have stood in the weeks before.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fleet.compute.demand import (
    Calendar,
    Calibration,
    ColumnModel,
    DemandSettings,
    Fitted,
    IntervalSales,
    calibration,
    rolling,
)

from .fitting import Known
from .models import ColumnDemand

#: The first fit is tried as it would have stood so many weeks ago each.
WEEKS_BACK: Final = (4, 3, 2, 1)
#: Before this much history a fit would have had nothing to go by.
LEAST_HISTORY_DAYS: Final = 28
WEEK_DAYS: Final = 7
#: Nobody foretells for longer than this: who comes so seldom is not foretold for.
LONGEST_DAYS: Final = 35


def scores(known: Known, *, run_id: int, history_days: int) -> dict[str, Any]:
    """How forecasts fared, as JSON: `how` with "ahead" for models fitted before, "back" for a
    first fit tried on the weeks before, and the sums of `Calibration`; {} where none can be told.
    """
    before = _models_before(known, run_id)
    if before is not None:
        own, fitted = before
        found = _ahead(known, own, fitted)
        return {"how": "ahead", **found.as_json()}
    found = _back(known, history_days)
    return {"how": "back", **found.as_json()} if found.intervals else {}


def _models_before(known: Known, run_id: int) -> tuple[NDArray[np.bool_], Fitted] | None:
    """Which columns have a model for their present product from a run before, and the models."""
    products = dict(zip(known.held.columns.tolist(), known.held.products.tolist(), strict=True))
    rows = (
        ColumnDemand.objects.filter(column__in=list(products))
        .exclude(run=run_id)
        .order_by("column")
        .values_list("column", "product", "model")
    )
    kept = {column: model for column, product, model in rows if products[column] == product}
    if not kept:
        return None
    own = np.isin(known.held.columns, np.array(list(kept)))
    models = [ColumnModel.from_json(kept[one]) for one in known.held.columns[own].tolist()]
    return own, Fitted.of(models)


def _ahead(known: Known, own: NDArray[np.bool_], fitted: Fitted) -> Calibration:
    sales, place = known.sales, np.cumsum(own) - 1
    of = own[sales.column]
    since = np.zeros(len(sales), np.float64)
    since[of] = fitted.fitted_at[place[sales.column[of]]]
    told = of & (sales.ends > since) & (sales.ends - sales.starts <= LONGEST_DAYS)
    some = sales.where(told)
    return calibration(
        fitted,
        IntervalSales(
            place[some.column],
            some.starts,
            some.ends,
            some.units,
            some.ran_dry,
            sales.machine[own],
            sales.product[own],
        ),
        Calendar(known.calendar.first_day, known.calendar.usual, known.calendar.row[own]),
    )


def _back(known: Known, history_days: int) -> Calibration:
    sales = known.sales
    first = float(sales.starts.min()) if len(sales) else known.as_of
    origins = [
        known.as_of - WEEK_DAYS * weeks
        for weeks in WEEKS_BACK
        if known.as_of - WEEK_DAYS * weeks - first >= LEAST_HISTORY_DAYS
    ]
    return rolling(
        sales, known.calendar, origins, WEEK_DAYS, DemandSettings(history_days=history_days)
    )
