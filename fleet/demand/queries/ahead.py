"""What one column, or each of a machine, will be asked for: bands to any date, days until dry."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

import numpy as np

from fleet.compute.demand import quantiles
from fleet.compute.restock.dry import NOT_WITHIN
from fleet.machines.models import Column, Machine
from people.errors import Unacceptable

from ..columns import Columns, columns_of, demand_of
from ..prospects import Prospect, look_ahead, means

FARTHEST_DAYS: Final = 90
BANDS: Final = (0.5, 0.8, 0.95)
LEVELS: Final = tuple(level for band in BANDS for level in ((1 - band) / 2, 1 - (1 - band) / 2))


@dataclass(frozen=True)
class DayAhead:
    """To the end of a day, from now: units asked for (mean, and bands as low and high by part),
    what is still held (mean), the chance of being dry, units asked for in vain, margin lost."""

    day: date
    asked: float
    bands: dict[float, tuple[int, int]]
    held: float
    chance_dry: float
    units_lost: float
    margin_lost_minor: float


@dataclass(frozen=True)
class ColumnAhead:
    """One column from now on. `dry_median` and `dry_early` are days by whose end it is dry in half
    of all cases, and in one of twenty; None beyond the days asked for."""

    column: int
    product: int
    capacity: int
    at: datetime
    stock: float
    stock_low: int
    stock_high: int
    stock_basis: str
    stock_reasons: tuple[str, ...]
    last_count_at: datetime | None
    known_until: datetime | None
    from_pool: bool
    days: tuple[DayAhead, ...]
    dry_median: date | None
    dry_early: date | None


def column_ahead(
    column: Column, *, now: datetime, until: date | None = None, days: int = FARTHEST_DAYS
) -> ColumnAhead | None:
    """What one column will be asked for by the end of each day to `until`, or of so many days.

    None for a column that holds nothing.
    Raises Unacceptable for a day that is past, or farther than FARTHEST_DAYS.
    """
    columns = columns_of([column.machine_id])
    columns = columns.where(columns.ids == column.pk)
    if not len(columns):
        return None
    return _ahead(columns, now, until, days)[0]


def machine_ahead(machine: Machine, *, now: datetime, days: int) -> dict[int, ColumnAhead]:
    """The same for every column of a machine that holds a product, by column key."""
    columns = columns_of([machine.pk])
    if not len(columns):
        return {}
    found = _ahead(columns, now, None, days)
    return {one.column: one for one in found}


def _ahead(columns: Columns, now: datetime, until: date | None, days: int) -> Sequence[ColumnAhead]:
    demands = demand_of(columns)
    ahead = look_ahead(columns, demands.fitted, at=now, days=FARTHEST_DAYS if until else days)
    if until is not None:
        days = ahead.day(until)
        if not 1 <= days <= FARTHEST_DAYS:
            last = ahead.first_day + timedelta(days=FARTHEST_DAYS - 1)
            message = f"give a day from {ahead.first_day} to {last}"
            raise Unacceptable(message, fields={"until": message})
    outlook = ahead.outlook(days)
    bands = np.stack(
        [quantiles(ahead.fitted, ahead.until_end_of(day), LEVELS) for day in range(1, days + 1)],
        axis=1,
    )
    held = np.stack([means(ahead.held_at(day)) for day in range(days + 1)], axis=1)
    below = np.cumsum(ahead.held, axis=1)
    low, high = ((below >= level - 1e-9).argmax(axis=1) for level in (0.025, 0.975))
    rate = ahead.fitted.rate
    return [
        ColumnAhead(
            column=columns.ids[at].item(),
            product=columns.products[at].item(),
            capacity=columns.capacities[at].item(),
            at=now,
            stock=held[at, 0].item(),
            stock_low=low[at].item(),
            stock_high=high[at].item(),
            stock_basis=ahead.stocks[at].basis,
            stock_reasons=tuple(str(one) for one in ahead.stocks[at].reasons),
            last_count_at=ahead.stocks[at].last_count_at,
            known_until=ahead.stocks[at].known_until,
            from_pool=not demands.own[at],
            days=tuple(
                DayAhead(
                    day=ahead.first_day + timedelta(days=day),
                    asked=(rate[at] * ahead.by_day[at, day]).item(),
                    bands={
                        band: (
                            bands[at, day, 2 * number].item(),
                            bands[at, day, 2 * number + 1].item(),
                        )
                        for number, band in enumerate(BANDS)
                    },
                    held=held[at, day + 1].item(),
                    chance_dry=outlook.chance_dry[at, day].item(),
                    units_lost=outlook.units_lost[at, day].item(),
                    margin_lost_minor=outlook.margin_lost_minor[at, day].item(),
                )
                for day in range(days)
            ),
            dry_median=_on(ahead, outlook.median_day[at].item()),
            dry_early=_on(ahead, outlook.early_day[at].item()),
        )
        for at in range(len(columns))
    ]


def _on(ahead: Prospect, day: int) -> date | None:
    if day == NOT_WITHIN:
        return None
    return ahead.first_day + timedelta(days=max(day - 1, 0))
