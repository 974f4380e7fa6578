"""Receipts, goods and what was lost of them, by machine, site and product: sums of the database."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Final

from django.db import connection

from people.models import Business

from .stays import Stay

#: A machine at a site, or at none the record knows.
Place = tuple[int, int | None]
ZERO: Final = Decimal(0)

STAYS: Final = """
    stay AS (
        SELECT * FROM unnest(
            %(machines)s::bigint[], %(sites)s::bigint[],
            %(since)s::timestamptz[], %(until)s::timestamptz[]
        ) AS s(machine_id, site_id, since, until)
    )"""
# The part of an interval that lies in a stay. One without length lies in the stay it begins in.
PART: Final = """
    CASE WHEN i.ends_at = i.starts_at THEN 1.0
    ELSE EXTRACT(EPOCH FROM LEAST(i.ends_at, stay.until) - GREATEST(i.starts_at, stay.since))
         / EXTRACT(EPOCH FROM i.ends_at - i.starts_at) END"""
# Moving averages with the time they held. Looked up line by line they would be most of the work.
COSTS: Final = """
    cost AS (
        SELECT c.product_id, c.average, c.at AS since,
               lead(c.at, 1, 'infinity')
                   OVER (PARTITION BY c.product_id ORDER BY c.at, c.id) AS until
        FROM inventory_costchange c
    )"""
# Units paid for and given away; what test vends dropped is put back.
SOLD: Final = f"""
WITH {STAYS}, {COSTS}, cut AS (
    SELECT stay.machine_id, stay.site_id, i.id, i.ends_at, {PART} AS part,
           power(10::numeric, -i.exponent) AS of_money
    FROM stay JOIN sales_machineinterval i ON i.machine_id = stay.machine_id
        AND i.starts_at < stay.until
        AND (i.ends_at > stay.since OR (i.ends_at = i.starts_at AND i.starts_at = stay.since))
        AND i.currency IN ('', %(currency)s) AND i.exponent = %(exponent)s
)
SELECT cut.machine_id, cut.site_id, s.product_id,
       COALESCE(sum(l.paid_minor * cut.part * cut.of_money), 0),
       COALESCE(sum((COALESCE(l.paid_units, 0) + COALESCE(l.free_units, 0)) * cut.part), 0),
       COALESCE(sum((COALESCE(l.paid_units, 0) + COALESCE(l.free_units, 0)) * cut.part
                    * COALESCE(cost.average, p.cost)), 0),
       COALESCE(sum((COALESCE(l.paid_units, 0) + COALESCE(l.free_units, 0)) * cut.part)
                FILTER (WHERE COALESCE(cost.average, p.cost) IS NULL), 0),
       count(*) FILTER (WHERE l.paid_minor IS NULL AND NOT l.is_unassigned),
       COALESCE(sum(l.cashless_minor * cut.part * cut.of_money), 0)
FROM cut
JOIN sales_saleinterval l ON l.interval_id = cut.id
LEFT JOIN machines_setup s ON s.id = l.set_up_id
LEFT JOIN machines_product p ON p.id = s.product_id
LEFT JOIN cost ON cost.product_id = s.product_id
    AND cost.since <= cut.ends_at AND cut.ends_at < cost.until
GROUP BY 1, 2, 3
"""  # noqa: S608 - put together of our own words; values are parameters
# Goods that left columns for waste, and those that nobody can explain. A column's first record is
# no loss.
LOST: Final = f"""
WITH {STAYS}, line AS (
    SELECT m.happened_at, m.reason, l.product_id, l.quantity, l.unit_cost,
           COALESCE(a.column_id, b.column_id) AS column_id,
           CASE WHEN a.column_id IS NULL THEN -1 ELSE 1 END AS sign,
           'waste' IN (a.kind, b.kind) AS is_waste
    FROM inventory_movementline l
    JOIN inventory_movement m ON m.id = l.movement_id
    JOIN inventory_stockplace a ON a.id = l.from_place_id
    JOIN inventory_stockplace b ON b.id = l.to_place_id
    WHERE m.happened_at >= %(first)s AND m.happened_at < %(last)s AND m.reason <> 'opening'
      AND ((a.kind = 'column' AND b.kind IN ('waste', 'unexplained'))
           OR (b.kind = 'column' AND a.kind IN ('waste', 'unexplained')))
)
SELECT stay.machine_id, stay.site_id, line.product_id,
       COALESCE(sum(sign * quantity * COALESCE(line.unit_cost, p.cost))
                FILTER (WHERE is_waste), 0),
       COALESCE(sum(sign * quantity * COALESCE(line.unit_cost, p.cost))
                FILTER (WHERE NOT is_waste), 0),
       count(*) FILTER (WHERE COALESCE(line.unit_cost, p.cost) IS NULL)
FROM line
JOIN machines_column c ON c.id = line.column_id
JOIN stay ON stay.machine_id = c.machine_id
    AND line.happened_at >= stay.since AND line.happened_at < stay.until
JOIN machines_product p ON p.id = line.product_id
GROUP BY 1, 2, 3
"""  # noqa: S608 - put together of our own words; values are parameters


@dataclass(frozen=True, slots=True)
class Goods:
    """What one product (None: not known which) brought in at one machine and site.

    `units_without_cost` and `lines_without_cost` say how much has no cost to be reckoned with,
    `lines_without_money` how many lines tell of units alone.
    """

    receipts: Decimal = ZERO
    units: Decimal = ZERO
    cost: Decimal = ZERO
    waste: Decimal = ZERO
    missing: Decimal = ZERO
    units_without_cost: Decimal = ZERO
    lines_without_cost: int = 0
    lines_without_money: int = 0
    cashless: Decimal = ZERO


def goods(of: Sequence[Stay]) -> dict[tuple[Place, int | None], Goods]:
    """Sales spread evenly over their intervals, with what they cost and what was lost. Two queries.

    Receipts are whole: they add up to what the intervals tell, whatever the cut. Intervals in
    another currency than the business's are left out.
    """
    if not of:
        return {}
    business = Business.the()
    given = {
        "currency": business.currency,
        "exponent": business.currency_exponent,
        "machines": [one.machine for one in of],
        "sites": [one.site for one in of],
        "since": [one.since for one in of],
        "until": [one.until for one in of],
        "first": min(one.since for one in of),
        "last": max(one.until for one in of),
    }
    found: dict[tuple[Place, int | None], Goods] = {}
    for machine, site, product, receipts, units, cost, bare, mute, cashless in _rows(SOLD, given):
        found[(machine, site), product] = Goods(
            receipts=receipts,
            units=units,
            cost=cost,
            units_without_cost=bare,
            lines_without_money=mute,
            cashless=cashless,
        )
    for machine, site, product, waste, missing, bare in _rows(LOST, given):
        was = found.get(((machine, site), product), Goods())
        found[(machine, site), product] = replace(
            was, waste=waste, missing=missing, lines_without_cost=bare
        )
    return found


def _rows(sql: str, given: dict[str, Any]) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(sql, given)
        return cursor.fetchall()
