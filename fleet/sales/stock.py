"""What a column holds at a moment: counted, filled, removed, sold since; and how sure that is.

A column's records are wrong more often than not (DeHoratius and Raman 2008 found 65 % of some
370,000 stock records of stores wrong), so what it holds is always an estimate with a range.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from math import sqrt
from typing import Any, Final, Literal

from django.db import connection

from fleet.compute.lots import Arrival, Held, first_in, left_after
from fleet.inventory.book import load_arrivals
from fleet.machines.models import Column

from .actions.settling import FRESH, settle_counts

__all__ = ["ColumnStock", "ToPull", "estimate", "lots_in", "settle_counts", "to_pull"]

Basis = Literal["reads", "model", "never counted"]
READ_WITHIN: Final = timedelta(days=45)
"""A column of which no read has told for longer is not read."""
LEAST_SPREAD: Final = 0.5
"""Units by which a count or a noted fill is wrong at the least, as a standard deviation; from
experience, no published source."""
BAND: Final = 1.645
"""Standard deviations from the middle to either end of a 90 % band of the normal distribution."""


@dataclass(frozen=True, slots=True)
class ColumnStock:
    """What one column holds of the product it is set for, in units.

    `expected` with `low` and `high`, between which the truth lies nine times out of ten; all three
    as of `known_until`: the later of the last count and the last read, None when there is neither.
    What sold after that is for the demand model to say. `basis` says what the sales since the count
    are known by: "reads"; "model" when no read tells of them; "never counted".
    """

    column_id: int
    product_id: int | None
    expected: float
    low: float
    high: float
    capacity: int
    last_count_at: datetime | None
    counted: int | None
    filled: int
    removed: int
    sold_since: float
    known_until: datetime | None
    basis: Basis
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ToPull:
    """Units of one lot in a column that will be out of date before somebody comes again."""

    column_id: int
    product_id: int
    lot_id: int
    best_before: date
    units: int


@dataclass(slots=True)
class _Known:
    """What the records say of one column."""

    product: int | None = None
    capacity: int = 0
    changed_at: datetime | None = None
    place: int | None = None
    level: int = 0
    counted_at: datetime | None = None
    counted: int | None = None
    first_at: datetime | None = None
    filled: int = 0
    removed: int = 0
    sold: float = 0.0
    doubt: float = 0.0
    is_share: bool = False
    unknown_from: datetime | None = None
    read_until: datetime | None = None
    has_reads: bool = False
    spread: float = 0.0
    surprises: int = 0
    reasons: list[str] = field(default_factory=list)


def estimate(columns: Iterable[Column | int], at: datetime) -> dict[int, ColumnStock]:
    """What each column holds at a moment, by the column's key. Queries do not grow with them."""
    known = _known(_keys(columns), at)
    return {column: _estimated(column, one, at) for column, one in known.items()}


def lots_in(columns: Iterable[Column | int], at: datetime) -> dict[int, list[Held]]:
    """The lots that lie in each column, in the order in which they drop, sales since taken off.

    Runs of units; lot None is of no known lot. Of the product the column is set for.
    """
    known = _known(_keys(columns), at)
    held: dict[tuple[int, int], list[Held]] = {}
    by_place = {one.place: column for column, one in known.items() if one.place is not None}
    for place, product, lot, quantity, best_before in _rows(LOTS, {"places": list(by_place)}):
        held.setdefault((place, product), []).append(Held(lot, quantity, best_before))
    keys = {(one.place, one.product) for one in known.values() if one.place and one.product}
    arrived = load_arrivals([(place, product) for place, product in keys if place and product])
    found: dict[int, list[Held]] = {}
    for column, one in known.items():
        if one.place is None or one.product is None:
            found[column] = []
            continue
        lots = held.get((one.place, one.product), [])
        arrivals: list[Arrival] = [
            arrival for moment, arrival in arrived[(one.place, one.product)] if moment <= at
        ]
        owed = -sum(lot.quantity for lot in lots if lot.quantity < 0)
        found[column] = left_after(first_in(lots, arrivals), owed + round(one.sold))
    return found


def to_pull(
    columns: Iterable[Column | int] | Column | int, next_visit: date, *, at: datetime
) -> list[ToPull]:
    """What lies in columns and will be past its best-before date before the next visit.

    `next_visit` is the day on which somebody comes again. A lot that is good until the day before
    may be sold until then; one that ends sooner cannot stay. By column, the first to go first.
    """
    many: Iterable[Column | int] = [columns] if isinstance(columns, Column | int) else columns
    keys = _keys(many)
    known = _known(keys, at)
    found: list[ToPull] = []
    for column, runs in lots_in(keys, at).items():
        units: dict[tuple[int, date], int] = {}
        for run in runs:
            if run.lot is None or run.best_before is None:
                continue
            if run.best_before < next_visit - timedelta(days=1):
                key = (run.lot, run.best_before)
                units[key] = units.get(key, 0) + run.quantity
        product = known[column].product
        found += [
            ToPull(column, product or 0, lot, best_before, n)
            for (lot, best_before), n in sorted(units.items(), key=lambda one: (one[0][1], one[0]))
        ]
    return found


def _estimated(column: int, one: _Known, at: datetime) -> ColumnStock:
    reasons = list(one.reasons)
    expected = one.level - one.sold
    if one.counted_at is None and one.first_at is None:
        expected = one.capacity / 2
    variance = LEAST_SPREAD**2 + one.doubt + one.spread**2
    if one.is_share:
        # Which of the columns behind one button dropped is not told; half of it is a guess.
        variance += one.sold / 2
        reasons.append("several columns are behind its selection, and sales are shared out")
    spread = BAND * sqrt(variance)
    most = max(one.capacity, 0)
    low, high = max(expected - spread, 0.0), max(expected + spread, 0.0)
    if expected < -0.5:  # less would be said as 0
        reasons.append(f"by the records {-expected:.0f} more left than went in; a count is due")
    if most:
        if expected - most > 0.5:  # less would be said as 0
            reasons.append(f"by the records {expected - most:.0f} more than fit; a count is due")
        low, high = min(low, float(most)), min(high, float(most))
    basis: Basis
    if one.counted_at is None:
        basis = "never counted"
        low, high = 0.0, float(most or max(high, 0.0))
        reasons.append("nobody has counted it yet")
    elif one.has_reads:
        basis = "reads"
        reasons.append(
            f"counted {one.counted}, filled {one.filled}, removed {one.removed}, sold "
            f"{one.sold:.0f} since by reads"
        )
    else:
        basis = "model"
        reasons.append(
            f"counted {one.counted}, filled {one.filled}, removed {one.removed}; no read tells "
            "what sold since"
        )
    if one.surprises:
        reasons.append(
            f"its last {one.surprises} counts differed from the books by {one.spread:.1f} on the "
            "whole"
        )
    expected = min(max(expected, low), high)
    return ColumnStock(
        column_id=column,
        product_id=one.product,
        expected=expected,
        low=low,
        high=high,
        capacity=one.capacity,
        last_count_at=one.counted_at,
        counted=one.counted,
        filled=one.filled,
        removed=one.removed,
        sold_since=one.sold,
        known_until=_known_until(one, at),
        basis=basis,
        reasons=tuple(reasons),
    )


def _known_until(one: _Known, at: datetime) -> datetime | None:
    read = one.read_until if one.has_reads else None
    if read is not None and one.unknown_from is not None:
        read = min(read, one.unknown_from)
    told = [moment for moment in (one.counted_at, read) if moment is not None]
    return min(max(told), at) if told else None


def _keys(columns: Iterable[Column | int]) -> list[int]:
    return [one.pk if isinstance(one, Column) else int(one) for one in columns]


def _known(columns: Sequence[int], at: datetime) -> dict[int, _Known]:
    known = {column: _Known() for column in columns}
    given: dict[str, Any] = {
        "columns": list(columns),
        "at": at,
        "fresh": FRESH,
        "read_since": at - READ_WITHIN,
    }
    for column, product, capacity, changed_at in _rows(SET_UPS, given):
        one = known[column]
        one.product, one.capacity, one.changed_at = product, capacity, changed_at
    given["products"] = [known[column].product for column in columns]
    for column, place, level, counted_at, counted, filled, removed, first in _rows(HELD, given):
        one = known[column]
        one.first_at = first
        one.place, one.level = place, level
        one.counted_at, one.counted = counted_at, counted
        one.filled, one.removed = filled, removed
    given["since"] = [_counted_from(known[column], at) for column in columns]
    for column, sold, doubt, is_share, unknown_from, read_until, is_read in _rows(SOLD, given):
        one = known[column]
        one.sold, one.doubt, one.is_share = sold or 0.0, doubt or 0.0, bool(is_share)
        one.unknown_from, one.read_until = unknown_from, read_until
        one.has_reads = bool(is_read)
        if unknown_from is not None:
            one.reasons.append(
                f"what sold from {unknown_from:%Y-%m-%d %H:%M} on waits for a person's decision"
            )
    for column, spread, surprises in _rows(SURPRISES, given):
        known[column].spread, known[column].surprises = spread, surprises
    return known


def _counted_from(one: _Known, at: datetime) -> datetime:
    """From when on sales are taken off: the last count, or the first record of a column never
    counted; but not what the column sold of another product, before it was changed over."""
    begins = one.counted_at or one.first_at or at
    return begins if one.changed_at is None else max(begins, one.changed_at)


def _rows(statement: str, given: Mapping[str, Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, given)
        return list(cursor.fetchall())


SET_UPS: Final = """
SELECT s.column_id, s.product_id, s.capacity,
       (SELECT max(o.ends_at) FROM machines_setup o
        WHERE o.column_id = s.column_id AND o.product_id <> s.product_id AND o.ends_at <= %(at)s)
FROM machines_setup s
WHERE s.column_id = ANY(%(columns)s) AND s.starts_at <= %(at)s
  AND coalesce(s.ends_at > %(at)s, true)
"""
# The level as of the moment, the last count by then, and what people put in and took out since.
HELD: Final = """
SELECT w.column_id, p.id,
       coalesce((SELECT sum(v.quantity) FROM inventory_stocklevel v
                 WHERE v.place_id = p.id AND v.product_id = w.product_id), 0)::int
       + coalesce((SELECT sum(l.quantity) FROM inventory_movementline l
                   WHERE l.from_place_id = p.id AND l.product_id = w.product_id
                     AND l.happened_at > %(at)s), 0)::int
       - coalesce((SELECT sum(l.quantity) FROM inventory_movementline l
                   WHERE l.to_place_id = p.id AND l.product_id = w.product_id
                     AND l.happened_at > %(at)s), 0)::int,
       k.counted_at,
       CASE WHEN k.id IS NOT NULL THEN coalesce(
           (SELECT sum(n.counted) FROM inventory_countline n
            WHERE n.count_id = k.id AND n.product_id = w.product_id), 0)::int END,
       coalesce((SELECT sum(l.quantity) FROM inventory_movementline l
                 JOIN inventory_stockplace o ON o.id = l.from_place_id
                 WHERE l.to_place_id = p.id AND l.product_id = w.product_id
                   AND l.happened_at <= %(at)s AND o.kind IN ('truck', 'warehouse', 'column')
                   AND (k.id IS NULL OR l.happened_at >= k.counted_at)), 0)::int,
       coalesce((SELECT sum(l.quantity) FROM inventory_movementline l
                 JOIN inventory_stockplace o ON o.id = l.to_place_id
                 WHERE l.from_place_id = p.id AND l.product_id = w.product_id
                   AND l.happened_at <= %(at)s
                   AND o.kind IN ('truck', 'warehouse', 'column', 'waste')
                   AND (k.id IS NULL OR l.happened_at >= k.counted_at)), 0)::int,
       (SELECT min(l.happened_at) FROM inventory_movementline l WHERE l.to_place_id = p.id)
FROM unnest(%(columns)s::bigint[], %(products)s::bigint[]) AS w(column_id, product_id)
JOIN inventory_stockplace p ON p.column_id = w.column_id
LEFT JOIN LATERAL (
    SELECT c.id, c.counted_at FROM inventory_stockcount c
    WHERE c.place_id = p.id AND c.counted_at <= %(at)s
    ORDER BY c.counted_at DESC, c.id DESC LIMIT 1
) k ON true
"""
# Of an interval that began before the count, the part after it, by time; what that part may be out
# by is binomial. A read of the visit of the count begins with the count.
SOLD: Final = """
SELECT w.column_id,
       sum(u.units * u.part)::float8,
       sum(u.units * u.part * (1 - u.part))::float8,
       bool_or(u.is_share),
       min(u.starts_at) FILTER (WHERE u.ends_at IS NOT NULL AND u.units IS NULL),
       max(u.ends_at),
       EXISTS (SELECT FROM sales_saleinterval l JOIN sales_machineinterval i
                 ON i.id = l.interval_id
               WHERE l.column_id = w.column_id
                 AND i.ends_at > %(read_since)s AND i.ends_at <= %(at)s)
FROM unnest(%(columns)s::bigint[], %(since)s::timestamptz[]) AS w(column_id, since)
LEFT JOIN LATERAL (
    SELECT l.paid_units + coalesce(l.free_units, 0) AS units, l.is_share, i.starts_at, i.ends_at,
           CASE WHEN i.starts_at >= w.since - %(fresh)s THEN 1.0
                ELSE extract(epoch FROM i.ends_at - w.since)
                     / extract(epoch FROM i.ends_at - i.starts_at) END AS part
    FROM sales_saleinterval l JOIN sales_machineinterval i ON i.id = l.interval_id
    WHERE l.column_id = w.column_id AND i.ends_at <= %(at)s
      AND i.ends_at > w.since + %(fresh)s
) u ON true
GROUP BY w.column_id
"""
# What the latest eight settled counts of each column left unexplained: its own record of how far
# its books can be believed.
SURPRISES: Final = """
SELECT w.column_id, sqrt(avg(coalesce(s.n, 0) ^ 2))::float8, count(*)::int
FROM unnest(%(columns)s::bigint[], %(products)s::bigint[]) AS w(column_id, product_id)
JOIN inventory_stockplace p ON p.column_id = w.column_id
JOIN LATERAL (
    SELECT moved.happened_at, sum(moved.n) FILTER (WHERE moved.kind = 'unexplained')::float8 AS n
    FROM (
        SELECT l.happened_at, l.quantity AS n, o.kind
        FROM inventory_movementline l JOIN inventory_stockplace o ON o.id = l.to_place_id
        WHERE l.from_place_id = p.id AND l.product_id = w.product_id AND l.happened_at <= %(at)s
        UNION ALL
        SELECT l.happened_at, -l.quantity, o.kind
        FROM inventory_movementline l JOIN inventory_stockplace o ON o.id = l.from_place_id
        WHERE l.to_place_id = p.id AND l.product_id = w.product_id AND l.happened_at <= %(at)s
    ) moved
    WHERE moved.kind IN ('unexplained', 'customer')
    GROUP BY moved.happened_at HAVING bool_or(moved.kind = 'customer')
    ORDER BY moved.happened_at DESC LIMIT 8
) s ON true
GROUP BY w.column_id
"""
LOTS: Final = """
SELECT v.place_id, v.product_id, v.lot_id, v.quantity, t.best_before
FROM inventory_stocklevel v LEFT JOIN inventory_lot t ON t.id = v.lot_id
WHERE v.place_id = ANY(%(places)s) AND v.quantity <> 0
ORDER BY v.place_id, v.product_id, v.lot_id
"""
