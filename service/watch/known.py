"""What is known of some machines' columns when they are looked at: sales, and what was expected."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Max
from numpy.typing import NDArray

from fleet.compute.demand import Calendar, Fitted, exposures, moment_number
from fleet.demand.calendars import calendar_for
from fleet.demand.columnar import fetch
from fleet.demand.columns import Columns, columns_of, demand_of
from fleet.demand.sold import EPOCH, Held, Sold, by_reads
from people.models import Business
from service.tickets.models import Ticket

from .models import WatchLimits

#: Sales this far back tell how fast a column used to sell.
SALES_DAYS: Final = 120
LONGEST_INTERVAL_DAYS: Final = 120
_BEGAN: Final = """
SELECT s.column_id::int8, (extract(epoch FROM greatest(s.starts_at, (
           SELECT max(t.closed_at) FROM tickets_ticket t
           WHERE t.column_id = s.column_id AND t.state = 'closed')) AT TIME ZONE %s)
       / 86400)::float8
FROM machines_setup s JOIN machines_column c ON c.id = s.column_id
WHERE c.machine_id = ANY(%s) AND s.ends_at IS NULL
ORDER BY s.column_id
"""


@dataclass(frozen=True)
class Known:
    """Columns that hold a product now, in the order of their keys, and what they sold of it.

    `sold.row` is the place of a column here; moments are days since 1970-01-01 by the business's
    clock. `demand` is one row a column.
    """

    machines: tuple[int, ...]
    columns: Columns
    sold: Sold
    demand: Fitted
    own: NDArray[np.bool_]
    calendar: Calendar
    now: datetime
    since: datetime
    zone: ZoneInfo
    limits: WatchLimits

    @classmethod
    def of(cls, machines: Sequence[int], *, now: datetime, limits: WatchLimits) -> "Known":
        """Read it: the same number of queries whatever the machines."""
        zone = Business.the().time_zone
        since = now - timedelta(days=limits.days_back)
        sold_since = now - timedelta(days=max(limits.days_back, SALES_DAYS))
        columns = columns_of(machines)
        demand = demand_of(columns)
        held = Held(
            columns.ids, columns.machines, columns.products, columns.capacities.astype(np.int32)
        )
        today = now.astimezone(zone).date()
        # An interval that ends in the time looked at may have begun before it.
        begins = sold_since.astimezone(zone).date() - timedelta(days=LONGEST_INTERVAL_DAYS)
        return cls(
            machines=tuple(machines),
            columns=columns,
            sold=by_reads(held, machines, since=sold_since, until=now, zone=zone),
            demand=demand.fitted,
            own=demand.own,
            calendar=calendar_for(columns.machines, since=begins, until=today + timedelta(days=1)),
            now=now,
            since=since,
            zone=zone,
            limits=limits,
        )

    @cached_property
    def exposure(self) -> NDArray[np.float64]:
        """Usual days in each of the intervals sold in: weekday, season and closures are in them."""
        rows = self.sold.row
        if not len(rows):
            return np.zeros(0)
        first = int(np.floor(self.sold.starts.min()))
        last = int(np.ceil(self.sold.ends.max()))
        by_day = exposures(self.demand, self.calendar, first, max(last - first, 1))
        up_to = np.concatenate([np.zeros((len(by_day), 1)), np.cumsum(by_day, axis=1)], axis=1)

        def until(moments: NDArray[np.float64]) -> NDArray[np.float64]:
            day = np.clip(np.floor(moments - first).astype(np.int64), 0, by_day.shape[1] - 1)
            into = moments - first - day
            found: NDArray[np.float64] = up_to[rows, day] + into * by_day[rows, day]
            return found

        return until(self.sold.ends) - until(self.sold.starts)

    @cached_property
    def began(self) -> NDArray[np.float64]:
        """[columns] when each was last set up, or mended: what was before says nothing of now."""
        rows = fetch(
            _BEGAN,
            [str(self.zone), list(self.machines)],
            [("column", "int8"), ("at", "float8")],
        )
        if not len(rows):
            return np.full(len(self.columns), self.number(self.now))
        place = np.minimum(np.searchsorted(rows["column"], self.columns.ids), len(rows) - 1)
        # One that was set up anew since its columns were read is looked at another time.
        there = rows["column"][place] == self.columns.ids
        found: NDArray[np.float64] = np.where(there, rows["at"][place], self.number(self.now))
        return found

    @cached_property
    def mended(self) -> dict[int, datetime]:
        """When a ticket of a whole machine was last closed: what was reported before is over."""
        return dict(
            Ticket.objects.filter(
                machine__in=self.machines,
                column__isnull=True,
                state=Ticket.State.CLOSED,
                closed_at__gt=self.since,
            )
            .order_by()
            .values_list("machine")
            .annotate(Max("closed_at"))
        )

    def given(self) -> dict[str, Any]:
        """What the queries of evidence ask by."""
        return {"machines": list(self.machines), "since": self.since, "until": self.now}

    def after_mending(self, machine: int, at: datetime) -> bool:
        """Whether evidence of a moment is younger than the last work on the machine."""
        mended = self.mended.get(machine)
        return mended is None or at > mended

    @cached_property
    def of_machine(self) -> NDArray[np.int64]:
        """Units that the whole machine sold in the time of each interval."""
        if not len(self.sold.row):
            return np.zeros(0, np.int64)
        machine = self.columns.machines[self.sold.row]
        stretches = np.stack([machine.astype(np.float64), self.sold.starts, self.sold.ends], 1)
        _, code = np.unique(stretches, axis=0, return_inverse=True)
        code = code.reshape(-1)
        totals = np.bincount(code, weights=self.sold.units).astype(np.int64)
        found: NDArray[np.int64] = totals[code]
        return found

    def place_of(self, column: int) -> int:
        """A column's place here. Raises KeyError."""
        place = int(np.searchsorted(self.columns.ids, column))
        if place >= len(self.columns) or self.columns.ids[place] != column:
            raise KeyError(column)
        return place

    def moment(self, day: float) -> datetime:
        """A day number as a moment."""
        whole = int(np.floor(day))
        midnight = datetime.combine(EPOCH + timedelta(days=whole), datetime.min.time())
        local = midnight + timedelta(seconds=round((day - whole) * 86_400))
        return local.replace(tzinfo=self.zone)

    def number(self, moment: datetime) -> float:
        """A moment as a day number."""
        return moment_number(moment.astimezone(self.zone))

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()
