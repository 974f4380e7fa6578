"""Machines whose clock is wrong, by their latest reads.

A receipt only bounds: a clock ahead of it is fast, but one behind it may be a file that waited. So
a read is held against the counts made at the same visit, which people's own clocks tell.
"""

from collections.abc import Sequence
from typing import Final

from django.db import connection

from service.compute.watch.clock import LEAST_READS, Way, judge

from ..known import Known
from ..seen import Seen

#: The latest reads of a machine that are looked at.
READS: Final = 12
#: A clock within so many minutes of a count may have been read at the same visit.
A_VISIT: Final = 30.0
#: Reads whose waits agree were handed in at once, when received over so many hours of the day.
HOURS_APART: Final = 3.0
#: Or so many in a row whose waits agree within so many minutes: people are not that regular.
IN_STEP: Final = 4
IN_STEP_MINUTES: Final = 5.0

# Clock less receipt, in minutes: a file that waited makes a clock look behind, never ahead; and the
# first count of the day before the receipt less receipt, in minutes.
_OFF: Final = """
SELECT r.machine_id, r.received_at, -r.drift_s / 60.0,
       (SELECT -extract(epoch FROM r.received_at - min(k.counted_at)) / 60.0
        FROM machines_column c
        JOIN inventory_stockplace p ON p.column_id = c.id
        JOIN inventory_stockcount k ON k.place_id = p.id
        WHERE c.machine_id = r.machine_id AND k.counted_at <= r.received_at
          AND k.counted_at > r.received_at - interval '18 hours')
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
    rows: dict[int, list[tuple[float, float, bool]]] = {}
    with connection.cursor() as cursor:
        cursor.execute(_OFF, given)
        for machine, received_at, ahead, counted in cursor.fetchall():
            if known.after_mending(machine, received_at):
                held = None if counted is None else float(counted)
                rows.setdefault(machine, []).append(
                    (known.number(received_at), _ahead(float(ahead), held), held is not None)
                )
    found = []
    for machine, reads in rows.items():
        judged = judge(
            [day for day, *_ in reads],
            [ahead for _, ahead, _ in reads],
            limit_minutes=float(known.limits.clock_minutes),
        )
        limit = float(known.limits.clock_minutes)
        if not judged.found or (
            judged.off_minutes < 0 and not _is_slow(reads, judged.a_day, limit)
        ):
            continue
        off = next(
            (day for day, ahead, _ in reads if abs(ahead) > known.limits.clock_minutes), reads[0][0]
        )
        seen = Seen.of(
            judged.suspicion(),
            machine,
            since=known.moment(off),
            chart={
                "kind": "clock",
                "at": [round(day, 3) for day, *_ in reads],
                "ahead_minutes": [round(ahead, 1) for _, ahead, _ in reads],
                "limit_minutes": known.limits.clock_minutes,
            },
        )
        seen.numbers["whole_hours"] = judged.way is Way.WHOLE_HOURS
        seen.numbers["clock_lost"] = judged.way is Way.LOST
        found.append(seen)
    return found


def _ahead(ahead: float, counted: float | None) -> float:
    """Minutes by which a clock is off: by the count made at the visit, where one was made."""
    if counted is None or ahead > 0:
        return ahead
    return ahead - counted if ahead < counted - A_VISIT else 0.0


def _is_slow(reads: Sequence[tuple[float, float, bool]], a_day: float, limit: float) -> bool:
    """Whether a clock that looks behind is, and its files did not merely wait."""
    last = reads[-1][0]
    moved = [ahead + a_day * (last - day) for day, ahead, _ in reads]
    latest = slice(-LEAST_READS, None)
    if all(held for *_, held in reads[latest]):
        return True
    step = moved[-IN_STEP:]
    if len(step) == IN_STEP and max(step) - min(step) <= IN_STEP_MINUTES:
        return True
    hours = [day % 1 * 24 for day, *_ in reads[latest]]
    agree = max(moved[latest]) - min(moved[latest]) <= limit
    return agree and max(hours) - min(hours) >= HOURS_APART
