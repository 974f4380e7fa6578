"""Whether levels and ledger agree: proved from every line, not from what was kept beside them."""

from dataclasses import dataclass
from typing import Any

from django.db import connection

DIFFERS = """
WITH moved AS (
    SELECT to_place_id AS place_id, product_id, lot_id, quantity::bigint AS n
    FROM inventory_movementline
    UNION ALL
    SELECT from_place_id, product_id, lot_id, -quantity::bigint FROM inventory_movementline
), ledger AS (
    SELECT m.place_id, m.product_id, m.lot_id, sum(m.n) AS n
    FROM moved m JOIN inventory_stockplace p ON p.id = m.place_id
    WHERE p.kind IN ('warehouse', 'truck', 'column')
    GROUP BY m.place_id, m.product_id, m.lot_id
), both_sides AS (
    SELECT place_id, product_id, lot_id, n AS ledger, 0 AS level FROM ledger
    UNION ALL
    SELECT place_id, product_id, lot_id, 0, quantity FROM inventory_stocklevel
)
SELECT p.name, r.name, coalesce(nullif(l.code, ''), l.best_before::text, ''),
       sum(b.ledger)::bigint, sum(b.level)::bigint
FROM both_sides b
JOIN inventory_stockplace p ON p.id = b.place_id
JOIN machines_product r ON r.id = b.product_id
LEFT JOIN inventory_lot l ON l.id = b.lot_id
GROUP BY p.id, p.name, r.id, r.name, l.id, l.code, l.best_before
HAVING sum(b.ledger) <> sum(b.level)
ORDER BY p.name, p.id, r.name, r.id, l.id
"""
BELOW_ZERO = """
SELECT p.name, r.name, v.quantity FROM inventory_stocklevel v
JOIN inventory_stockplace p ON p.id = v.place_id
JOIN machines_product r ON r.id = v.product_id
WHERE (v.quantity < 0 AND p.kind <> 'column') OR v.is_estimate <> (p.kind = 'column')
ORDER BY p.name, p.id, r.name, r.id, v.id
"""
# What cannot come about while the rules of the tables stand, and would if they were lifted.
BROKEN = """
SELECT * FROM (
SELECT m.id, CASE
    WHEN NOT EXISTS (SELECT FROM inventory_movementline l WHERE l.movement_id = m.id)
        THEN 'has no line'
    WHEN EXISTS (SELECT FROM inventory_movementline l WHERE l.movement_id = m.id
                 AND (l.quantity < 1 OR l.from_place_id = l.to_place_id))
        THEN 'has a line that moves nothing'
    WHEN EXISTS (SELECT FROM inventory_movementline l WHERE l.movement_id = m.id
                 AND l.happened_at <> m.happened_at)
        THEN 'has a line at another moment'
    WHEN EXISTS (SELECT FROM inventory_movementline l JOIN inventory_lot t ON t.id = l.lot_id
                 WHERE l.movement_id = m.id AND t.product_id <> l.product_id)
        THEN 'moves a lot of another product'
    END AS wrong
FROM inventory_movement m
) b WHERE wrong IS NOT NULL ORDER BY id
"""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is not as it must be, in words."""

    code: str
    said: str


@dataclass(frozen=True, slots=True)
class Checked:
    """What was looked at, and every fault that was found."""

    movements: int
    lines: int
    levels: int
    faults: tuple[Fault, ...]


def check_stock() -> Checked:
    """Add the whole ledger up and hold it against the levels. A handful of queries."""
    faults = [
        Fault(
            "level_differs",
            f"{place}: {product}{f' ({lot})' if lot else ''} is {ledger} by the ledger and "
            f"{level} by the level",
        )
        for place, product, lot, ledger, level in _rows(DIFFERS)
    ]
    faults += [
        Fault("below_zero", f"{place}: {product} is kept as {quantity}, which cannot be")
        for place, product, quantity in _rows(BELOW_ZERO)
    ]
    faults += [Fault("movement_broken", f"movement {pk} {wrong}") for pk, wrong in _rows(BROKEN)]
    ((movements, lines, levels),) = _rows(
        "SELECT (SELECT count(*) FROM inventory_movement),"
        " (SELECT count(*) FROM inventory_movementline),"
        " (SELECT count(*) FROM inventory_stocklevel)"
    )
    return Checked(movements, lines, levels, tuple(faults))


def _rows(statement: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return list(cursor.fetchall())
