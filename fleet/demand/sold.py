"""What each column sold of the product that it holds now, as arrays to fit on.

Sales of a product that the column held before count nothing for the present one: a line is taken
when its set-up held the present product and no other was in the column in the interval.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from .columnar import fetch

#: Signs of having run dry that a fit believes; a weak one is as likely no sign at all.
BELIEVED: Final = ("strong", "fair")
#: Day 0 of the day numbers below.
EPOCH: Final = date(1970, 1, 1)

_HELD: Final = """
SELECT c.id::int8, c.machine_id::int8, s.product_id::int8, s.capacity::int4
FROM machines_column c
JOIN machines_setup s ON s.column_id = c.id AND s.ends_at IS NULL
WHERE c.machine_id = ANY(%s)
ORDER BY c.id
"""
_READS: Final = """
SELECT l.column_id::int8,
       (extract(epoch FROM i.starts_at AT TIME ZONE %s) / 86400)::float8,
       (extract(epoch FROM i.ends_at AT TIME ZONE %s) / 86400)::float8,
       (l.paid_units + coalesce(l.free_units, 0))::int4,
       (l.ran_dry = ANY(%s))::bool
FROM sales_machineinterval i
JOIN sales_saleinterval l ON l.interval_id = i.id
JOIN machines_setup was ON was.id = l.set_up_id
JOIN machines_setup now ON now.column_id = l.column_id AND now.ends_at IS NULL
                       AND now.product_id = was.product_id
WHERE i.machine_id = ANY(%s) AND i.ends_at > %s AND i.ends_at <= %s
  AND NOT i.awaits_decision AND l.paid_units IS NOT NULL
  AND (NOT l.spans_set_ups OR NOT EXISTS (
        SELECT FROM machines_setup other
        WHERE other.column_id = l.column_id AND other.product_id <> now.product_id
          AND other.starts_at < i.ends_at AND coalesce(other.ends_at, 'infinity') > i.starts_at))
"""
_COUNTS: Final = """
WITH counts AS (
    SELECT p.column_id, p.id AS place_id, now.product_id, k.counted_at,
           sum(l.counted) AS counted,
           lag(sum(l.counted)) OVER w AS counted_before,
           lag(k.counted_at) OVER w AS since
    FROM inventory_stockplace p
    JOIN machines_column c ON c.id = p.column_id AND c.machine_id = ANY(%s)
    JOIN machines_setup now ON now.column_id = c.id AND now.ends_at IS NULL
    JOIN inventory_stockcount k ON k.place_id = p.id AND k.counted_at > %s AND k.counted_at <= %s
    JOIN inventory_countline l ON l.count_id = k.id AND l.product_id = now.product_id
    GROUP BY p.column_id, p.id, now.product_id, k.id, k.counted_at
    WINDOW w AS (PARTITION BY p.id ORDER BY k.counted_at, k.id)
), told AS (
    SELECT machine_id, max(ends_at) AS until
    FROM sales_machineinterval WHERE machine_id = ANY(%s) AND ends_at <= %s GROUP BY machine_id
)
SELECT n.column_id::int8,
       (extract(epoch FROM n.since AT TIME ZONE %s) / 86400)::float8,
       (extract(epoch FROM n.counted_at AT TIME ZONE %s) / 86400)::float8,
       greatest(n.counted_before + moved.units - n.counted, 0)::int4,
       (n.counted = 0)::bool
FROM counts n
JOIN machines_column c ON c.id = n.column_id
LEFT JOIN told ON told.machine_id = c.machine_id
CROSS JOIN LATERAL (
    SELECT coalesce(sum(CASE WHEN l.to_place_id = n.place_id THEN l.quantity
                             ELSE -l.quantity END), 0) AS units
    FROM inventory_movementline l
    JOIN inventory_stockplace o
      ON o.id = CASE WHEN l.to_place_id = n.place_id THEN l.from_place_id ELSE l.to_place_id END
    WHERE (l.from_place_id = n.place_id OR l.to_place_id = n.place_id)
      AND l.product_id = n.product_id
      AND l.happened_at > n.since AND l.happened_at <= n.counted_at
      AND o.kind NOT IN ('customer', 'unexplained')
) moved
WHERE n.since IS NOT NULL AND n.counted_at > n.since
  AND (told.until IS NULL OR n.since >= told.until)
  AND NOT EXISTS (
        SELECT FROM machines_setup other
        WHERE other.column_id = n.column_id AND other.product_id <> n.product_id
          AND other.starts_at < n.counted_at AND coalesce(other.ends_at, 'infinity') > n.since)
"""
_FOUND_EMPTY: Final = """
SELECT p.column_id::int8, (extract(epoch FROM k.counted_at AT TIME ZONE %s) / 86400)::float8
FROM inventory_stockplace p
JOIN machines_column c ON c.id = p.column_id AND c.machine_id = ANY(%s)
JOIN machines_setup now ON now.column_id = c.id AND now.ends_at IS NULL
JOIN inventory_stockcount k ON k.place_id = p.id AND k.counted_at > %s AND k.counted_at <= %s
JOIN inventory_countline l ON l.count_id = k.id AND l.product_id = now.product_id
GROUP BY p.column_id, k.id, k.counted_at
HAVING sum(l.counted) = 0
"""
_SOLD_COLUMNS: Final = (
    ("column", "int8"),
    ("starts", "float8"),
    ("ends", "float8"),
    ("units", "int4"),
    ("ran_dry", "bool"),
)


@dataclass(frozen=True)
class Held:
    """The columns of some machines that hold a product now, in the order of their keys."""

    columns: NDArray[np.int64]
    machines: NDArray[np.int64]
    products: NDArray[np.int64]
    capacities: NDArray[np.int32]


@dataclass(frozen=True)
class Sold:
    """Sale intervals: `row` is the place in `Held`; from day `starts` to day `ends` (fractions of
    days since EPOCH, by the business's clock) `units` were sold, and it `ran_dry` in between."""

    row: NDArray[np.int64]
    starts: NDArray[np.float64]
    ends: NDArray[np.float64]
    units: NDArray[np.int32]
    ran_dry: NDArray[np.bool_]


def held(machines: Sequence[int]) -> Held:
    """What the columns of these machines hold now. One query."""
    rows = fetch(
        _HELD,
        [list(machines)],
        [("column", "int8"), ("machine", "int8"), ("product", "int8"), ("capacity", "int4")],
    )
    return Held(rows["column"], rows["machine"], rows["product"], rows["capacity"])


def by_reads(
    held: Held, machines: Sequence[int], *, since: datetime, until: datetime, zone: ZoneInfo
) -> Sold:
    """What audit reads tell of intervals that end after `since` and by `until`. One query.

    Left out: what waits for a person's decision, what no selection or column accounts for, what
    the machine did not count. Test vends are no demand; free vends are.
    """
    given: list[Any] = [str(zone), str(zone), list(BELIEVED), list(machines), since, until]
    return _among(held, fetch(_READS, given, _SOLD_COLUMNS))


def by_counts(
    held: Held, machines: Sequence[int], *, since: datetime, until: datetime, zone: ZoneInfo
) -> Sold:
    """What went between two counts of a column, where no read tells of the time. One query.

    Gone is what was counted first, and was put in and taken out since by our own hands, less what
    was counted then; more than there was is taken as nothing sold. A column counted empty ran dry.
    What the ledger calls unexplained is in here: without reads the missing is taken as sold.
    """
    rows = fetch(
        _COUNTS,
        [list(machines), since, until, list(machines), until, str(zone), str(zone)],
        _SOLD_COLUMNS,
    )
    return _among(held, rows)


def found_empty(
    machines: Sequence[int], *, since: datetime, until: datetime, zone: ZoneInfo
) -> NDArray[Any]:
    """When columns were counted empty, as records of column and moment. One query."""
    return fetch(
        _FOUND_EMPTY,
        [str(zone), list(machines), since, until],
        [("column", "int8"), ("at", "float8")],
    )


def with_empty_counts(sold: Sold, held: Held, empty: NDArray[Any]) -> Sold:
    """The same sales, an interval in which the column was counted empty marked as run dry."""
    if not len(empty) or not len(sold.row):
        return sold
    order = np.lexsort((sold.ends, sold.row))
    row, ends = sold.row[order], sold.ends[order]
    dry = sold.ran_dry.copy()
    for column, at in zip(np.searchsorted(held.columns, empty["column"]), empty["at"], strict=True):
        # The first interval of the column that ends at the count or later, if it began before it.
        first, last = np.searchsorted(row, column), np.searchsorted(row, column, side="right")
        place = first + np.searchsorted(ends[first:last], at)
        if place < last and sold.starts[order[place]] < at:
            dry[order[place]] = True
    return Sold(sold.row, sold.starts, sold.ends, sold.units, dry)


def _among(held: Held, rows: NDArray[Any]) -> Sold:
    """Rows of the columns held; one that was set up since they were read is left for next time."""
    place = np.minimum(np.searchsorted(held.columns, rows["column"]), len(held.columns) - 1)
    there = held.columns[place] == rows["column"]
    rows, place = rows[there], place[there]
    return Sold(place, rows["starts"], rows["ends"], rows["units"], rows["ran_dry"].astype(bool))


def together(*parts: Sold) -> Sold:
    """Several lots of intervals as one."""
    return Sold(
        np.concatenate([one.row for one in parts]),
        np.concatenate([one.starts for one in parts]),
        np.concatenate([one.ends for one in parts]),
        np.concatenate([one.units for one in parts]),
        np.concatenate([one.ran_dry for one in parts]),
    )
