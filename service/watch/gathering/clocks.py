"""Machines whose clock is wrong, by their latest reads."""

from typing import Final

from django.db import connection

from service.compute.watch.clock import Way, judge

from ..known import Known
from ..seen import Seen

#: The latest reads of a machine that are looked at.
READS: Final = 12

# Clock less receipt, in minutes: a file that waited makes a clock look behind, never ahead.
_OFF: Final = """
SELECT r.machine_id, r.received_at, -r.drift_s / 60.0
FROM unnest(%(machines)s::bigint[]) AS m(id)
CROSS JOIN LATERAL (
    SELECT machine_id, received_at, drift_s, place FROM sales_auditread
    WHERE machine_id = m.id AND state = 'accepted' AND drift_s IS NOT NULL
      AND received_at > %(since)s AND received_at <= %(until)s
    ORDER BY place DESC LIMIT %(reads)s
) r
ORDER BY r.machine_id, r.received_at, r.place
"""


def clocks(known: Known) -> list[Seen]:
    """Machines whose clock is off by more than the limit. One query."""
    given = known.given() | {
        "reads": READS,
    }
    rows: dict[int, list[tuple[float, float]]] = {}
    with connection.cursor() as cursor:
        cursor.execute(_OFF, given)
        for machine, received_at, ahead in cursor.fetchall():
            if known.after_mending(machine, received_at):
                rows.setdefault(machine, []).append((known.number(received_at), float(ahead)))
    found = []
    for machine, reads in rows.items():
        judged = judge(
            [day for day, _ in reads],
            [ahead for _, ahead in reads],
            limit_minutes=float(known.limits.clock_minutes),
        )
        if not judged.found:
            continue
        off = next(
            (day for day, ahead in reads if abs(ahead) > known.limits.clock_minutes), reads[0][0]
        )
        seen = Seen.of(
            judged.suspicion(),
            machine,
            since=known.moment(off),
            chart={
                "kind": "clock",
                "at": [round(day, 3) for day, _ in reads],
                "ahead_minutes": [round(ahead, 1) for _, ahead in reads],
                "limit_minutes": known.limits.clock_minutes,
            },
        )
        seen.numbers["whole_hours"] = judged.way is Way.WHOLE_HOURS
        seen.numbers["clock_lost"] = judged.way is Way.LOST
        found.append(seen)
    return found
