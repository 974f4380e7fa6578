"""What columns took against their price, by their latest vends."""

from typing import Final

import numpy as np
from django.db import connection

from people.models import Business
from service.compute.watch.takings import LEAST_VENDS, Takings, judge

from ..known import Known
from ..seen import Seen

#: Vends back to which the latest intervals of a column are added up: as many as tell, and no
#: more, so that a price that was set right is believed at the next read.
VENDS: Final = LEAST_VENDS

# The latest intervals of each column, until they hold enough vends; of the present set-up alone.
# Money is brought to the business's own minor units.
_TAKEN: Final = """
WITH lines AS (
    SELECT l.column_id, i.starts_at, i.ends_at, l.paid_units AS units,
           l.paid_minor * %(minor)s / 10 ^ i.exponent AS taken,
           coalesce(l.discount_minor, 0) * %(minor)s / 10 ^ i.exponent AS discount,
           s.price * %(minor)s AS price,
           sum(l.paid_units) OVER w - l.paid_units AS later
    FROM sales_machineinterval i
    JOIN sales_saleinterval l ON l.interval_id = i.id
    JOIN machines_setup s ON s.id = l.set_up_id AND s.ends_at IS NULL
    WHERE i.machine_id = ANY(%(machines)s) AND i.ends_at > %(since)s AND i.ends_at <= %(until)s
      AND i.starts_at >= s.starts_at - interval '2 hours'
      AND NOT EXISTS (SELECT FROM tickets_ticket t
                      WHERE t.column_id = l.column_id AND t.state = 'closed'
                        AND t.closed_at > i.starts_at + interval '2 hours')
      AND NOT i.awaits_decision AND NOT l.spans_set_ups AND NOT l.is_share
      AND l.paid_units > 0 AND l.paid_minor IS NOT NULL
    WINDOW w AS (PARTITION BY l.column_id ORDER BY i.ends_at DESC, l.id)
)
SELECT column_id, sum(units)::int, round(sum(taken))::int8, round(sum(discount))::int8,
       round(max(price))::int8, min(starts_at), max(ends_at)
FROM lines WHERE later < %(vends)s
GROUP BY column_id ORDER BY column_id
"""


def takings(known: Known) -> list[Seen]:
    """Columns whose vends took another price than the one on the record. One query."""
    exponent = Business.the().currency_exponent
    given = known.given() | {
        "minor": 10**exponent,
        "vends": VENDS,
    }
    with connection.cursor() as cursor:
        cursor.execute(_TAKEN, given)
        rows = cursor.fetchall()
    there = set(known.columns.ids.tolist())
    rows = [row for row in rows if row[0] in there]
    if not rows:
        return []
    columns, units, taken, discount, price, starts, _ = zip(*rows, strict=True)
    judged = judge(
        Takings.of(paid_units=units, paid_minor=taken, discount_minor=discount, least_minor=price)
    )
    found = []
    for index in np.flatnonzero(judged.found).tolist():
        place = known.place_of(columns[index])
        found.append(
            Seen.of(
                judged.suspicion(index, exponent),
                int(known.columns.machines[place]),
                column=columns[index],
                product=int(known.columns.products[place]),
                since=starts[index],
            )
        )
    return found
