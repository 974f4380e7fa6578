"""One part of the fleet fitted: its sales read, the models of before held against them, fitted."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fleet.compute.demand import (
    Calendar,
    DemandSettings,
    Fit,
    IntervalSales,
    exposures,
    fit,
    moment_number,
)
from fleet.compute.demand.calendar import day_number

from . import sold
from .calendars import calendar_for
from .models import ColumnDemand
from .sold import Held, Sold

#: Columns sell otherwise from weekday to weekday: an average day is taken over whole weeks.
AVERAGE_OVER: Final = 28
#: An interval that begins and ends in the same minute.
MINUTE: Final = 1 / 1440


@dataclass(frozen=True)
class Known:
    """All that one part is fitted on, and the moment up to which it is known."""

    held: Held
    sales: IntervalSales
    by_count: NDArray[np.bool_]
    calendar: Calendar
    as_of: float


def known(
    machines: Sequence[int], *, now: datetime, history_days: int, zone: ZoneInfo
) -> Known | None:
    """Read it, in six queries whatever the size; None where no column holds anything any more."""
    until, since = now, now - timedelta(days=history_days)
    held = sold.held(machines)
    if not len(held.columns):
        return None
    reads = sold.by_reads(held, machines, since=since, until=until, zone=zone)
    counts = sold.by_counts(held, machines, since=since, until=until, zone=zone)
    empty = sold.found_empty(machines, since=since, until=until, zone=zone)
    whole = _lasting(sold.with_empty_counts(sold.together(reads, counts), held, empty))
    by_count = np.zeros(len(held.columns), np.bool_)
    by_count[np.unique(counts.row)] = True
    by_count[np.unique(reads.row)] = False
    today = now.astimezone(zone).date()
    return Known(
        held=held,
        sales=IntervalSales.of(
            column=whole.row,
            starts=whole.starts,
            ends=whole.ends,
            units=whole.units,
            ran_dry=whole.ran_dry,
            machine=held.machines,
            product=held.products,
        ),
        by_count=by_count,
        calendar=calendar_for(
            held.machines,
            since=today - timedelta(days=history_days + 7),
            until=today + timedelta(days=400),
        ),
        as_of=moment_number(now.astimezone(zone)),
    )


def fitted(known: Known, *, history_days: int) -> Fit:
    return fit(known.sales, known.calendar, known.as_of, DemandSettings(history_days=history_days))


def rows_of(known: Known, found: Fit, *, run_id: int, day: date, now: datetime) -> list[list[Any]]:
    """The values of ColumnDemand in the order of NAMES, one list a column."""
    count = len(known.held.columns)
    row, sales = known.sales.column, known.sales
    intervals = np.bincount(row, minlength=count)
    units = np.bincount(row, weights=sales.units, minlength=count).astype(np.int64)
    dry = np.bincount(row, weights=sales.ran_dry, minlength=count).astype(np.int64)
    last = np.full(count, -np.inf)
    np.maximum.at(last, row, sales.ends)
    ahead = exposures(found.columns, known.calendar, day_number(day), AVERAGE_OVER)
    a_day = found.columns.rate * ahead.mean(axis=1)
    basis = np.where(known.by_count, ColumnDemand.Basis.COUNTS, ColumnDemand.Basis.READS)
    basis = np.where(intervals == 0, ColumnDemand.Basis.POOL, basis)
    models = [found.columns.column(place).as_json() for place in range(count)]
    return [
        list(values)
        for values in zip(
            known.held.columns.tolist(),
            known.held.products.tolist(),
            [run_id] * count,
            [now] * count,
            [day] * count,
            basis.tolist(),
            intervals.tolist(),
            units.tolist(),
            dry.tolist(),
            [_day_of(moment) for moment in last.tolist()],
            a_day.tolist(),
            models,
            strict=True,
        )
    ]


NAMES: Final = (
    "column_id",
    "product_id",
    "run_id",
    "fitted_at",
    "fitted_through",
    "basis",
    "intervals",
    "units",
    "dry_intervals",
    "last_sale_day",
    "a_day",
    "model",
)


def _day_of(moment: float) -> date | None:
    return None if moment == -np.inf else sold.EPOCH + timedelta(days=int(np.ceil(moment)) - 1)


def _lasting(whole: Sold) -> Sold:
    """Without intervals of no length that sold nothing; one that sold is given a minute."""
    instant = whole.ends <= whole.starts
    if not instant.any():
        return whole
    kept = ~instant | (whole.units > 0)
    ends = np.where(instant, whole.starts + MINUTE, whole.ends)
    return Sold(
        whole.row[kept], whole.starts[kept], ends[kept], whole.units[kept], whole.ran_dry[kept]
    )
