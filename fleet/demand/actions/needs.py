"""What every column needs if it is visited, and loses if it is not, kept for whoever looks."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any, Final

import numpy as np
from django.db import transaction
from numpy.typing import NDArray

from fleet.compute.restock.dry import NOT_WITHIN, Outlook
from people import currency
from people.bulk import copy_values
from people.models import Business

from ..columns import UNKNOWN_MARGIN, Columns, columns_of, demand_of
from ..filling import Filling, filling
from ..gaps import MOST_DAYS, usual_gaps
from ..models import ColumnNeed, DemandRules, FitRun
from ..prospects import Prospect, look_ahead

NAMES: Final = (
    "column_id",
    "product_id",
    "run_id",
    "day",
    "worked_out_at",
    "stock_expected",
    "stock_low",
    "stock_high",
    "stock_basis",
    "capacity",
    "dry_median_days",
    "dry_early_days",
    "chance_dry_by_day",
    "units_lost_by_day",
    "margin_lost_by_day",
    "fill_to",
    "par",
    "fill_expected",
    "pull_units",
    "pull_lots",
    "reasons",
)
#: The range told of a stock: 19 of 20 times it lies within.
RANGE: Final = (0.025, 0.975)


@transaction.atomic
def work_out_needs(*, machines: Sequence[int], run: FitRun, now: datetime) -> int:
    """Work out the needs of the columns of machines, as of now; how many columns.

    What was worked out before of these machines is replaced, also of columns set up for nothing.
    """
    columns = columns_of(machines)
    rows: list[list[Any]] = []
    if len(columns):
        demands = demand_of(columns)
        rules = DemandRules.the()
        business = Business.the()
        gaps_by = usual_gaps(machines, now=now, usual=rules.usual_gap_days)
        gaps = np.array([gaps_by[machine] for machine in columns.machines.tolist()], np.int64)
        for places in columns.blocks():
            some = columns.where(places)
            days = max(rules.ahead_days, MOST_DAYS + 1)
            ahead = look_ahead(some, demands.fitted.where(places), at=now, days=days)
            filled = filling(ahead, visit_day=0, gaps=gaps[places], rules=rules)
            outlook = ahead.outlook(rules.ahead_days)
            rows += _rows(some, ahead, filled, outlook, run, now, business)
    ColumnNeed.objects.filter(column__machine__in=list(machines)).delete()
    copy_values(ColumnNeed, NAMES, rows)
    return len(rows)


def _rows(
    columns: Columns,
    ahead: Prospect,
    filled: Filling,
    outlook: Outlook,
    run: FitRun,
    now: datetime,
    business: Business,
) -> list[list[Any]]:
    units = np.arange(ahead.held.shape[1])
    below = np.cumsum(ahead.held, axis=1)
    low, high = ((below >= level).argmax(axis=1) for level in RANGE)
    expected = ahead.held @ units
    need = filled.need @ np.arange(filled.need.shape[1])
    pulled = filled.pulled(len(columns))
    lots: dict[int, list[dict[str, Any]]] = {}
    for one in filled.pulls:
        lots.setdefault(one.place, []).append(
            {
                "lot": one.lot,
                "code": one.code,
                "best_before": one.best_before.isoformat(),
                "units": one.units,
                "pull": one.pull,
            }
        )
    chance, lost = _literals(outlook.chance_dry, 4), _literals(outlook.units_lost, 3)
    margin = _literals(outlook.margin_lost_minor / 10.0**business.currency_exponent, 4)
    return [
        [
            columns.ids[at].item(),
            columns.products[at].item(),
            run.pk,
            ahead.first_day,
            now,
            round(expected[at].item(), 3),
            float(low[at]),
            float(high[at]),
            ahead.stocks[at].basis[:40],
            columns.capacities[at].item(),
            _day(outlook.median_day[at]),
            _day(outlook.early_day[at]),
            chance[at],
            lost[at],
            margin[at],
            filled.level[at].item(),
            filled.par[at].item(),
            round(need[at].item(), 3),
            pulled[at].item(),
            lots.get(at, []),
            _reasons(columns, filled, at, business),
        ]
        for at in range(len(columns))
    ]


def _reasons(
    columns: Columns, filled: Filling, at: int, business: Business
) -> list[dict[str, Any]]:
    found = [{"code": one.code, "text": one.text} for one in filled.levels.reasons(at)]
    for one in found:
        if one["code"] == "capacity":
            # The computation speaks of minor units; whoever reads this counts in money.
            minor = Decimal(str(filled.levels.one_more_minor[at].item()))
            worth = currency.said(minor.scaleb(-business.currency_exponent), business)
            one["text"] = (
                f"The column holds {columns.capacities[at]}; one more would be worth "
                f"{worth} by the next visit."
            )
    if not columns.cost_known[at]:
        found.append(
            {
                "code": "cost_not_known",
                "text": f"The product's cost is not entered: {UNKNOWN_MARGIN:.0%} of its price "
                "is taken for the margin.",
            }
        )
    return found


def _literals(figures: NDArray[np.float64], places: int) -> list[str]:
    """Each row as the text that PostgreSQL reads as an array.

    The driver looks at every number of a list by itself, which would cost more than all else.
    """
    form = f"%.{places}f"
    line = "{" + ",".join([form] * figures.shape[1]) + "}"
    return [line % tuple(row) for row in figures.tolist()]


def _day(day: Any) -> int | None:
    return None if day == NOT_WITHIN else int(day)
