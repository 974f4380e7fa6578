"""Counted bags against what the meter says went to the box between them."""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db import connection

from fleet.sales.actions.settling import FRESH
from people.models import Business
from service.compute.watch.cash import Bags, CashLimits, judge

from ..known import Known
from ..seen import Seen

#: Bags of one machine that are looked at, the latest.
MOST_BAGS: Final = 24

# What was last recorded of each counted bag, and when the bag before was sealed, counted or not.
_BAGS: Final = """
SELECT b.machine_id, b.sealed_at, b.before, c.amount, b.sealed_by_id, c.counted_by_id
FROM (SELECT id, machine_id, sealed_at, sealed_by_id,
             lag(sealed_at) OVER (PARTITION BY machine_id ORDER BY sealed_at, id) AS before
      FROM sales_bag WHERE machine_id = ANY(%(machines)s) AND sealed_at <= %(until)s) b
JOIN LATERAL (SELECT amount, counted_by_id FROM sales_bagcount
              WHERE bag_id = b.id ORDER BY id DESC LIMIT 1) c ON true
WHERE b.before IS NOT NULL AND b.sealed_at > %(since)s
ORDER BY b.machine_id, b.sealed_at
"""
# Coins to the box and notes to the stacker, the bag holds both: all cash but what the tubes took.
_BOXED: Final = """
SELECT machine_id, starts_at, ends_at,
       coalesce(cash_in_minor - cash_to_tubes_minor,
                cash_to_box_minor + coalesce(bills_in_minor, 0)) * %(minor)s / 10.0 ^ exponent
FROM sales_machineinterval
WHERE machine_id = ANY(%(machines)s) AND ends_at > %(since)s AND ends_at <= %(until)s
ORDER BY machine_id, starts_at, ends_at
"""


@dataclass(frozen=True, slots=True)
class Boxed:
    """Cash to the box between two reads, minor units; None where the machine does not say."""

    starts: datetime
    ends: datetime
    minor: float | None


@dataclass(frozen=True, slots=True)
class Compared:
    """One bag beside the meter, in minor units."""

    sealed_at: datetime
    before: datetime
    expected_minor: int
    counted_minor: int
    people: tuple[int, int]


def bags(known: Known) -> list[Seen]:
    """Machines whose bags are not what the meter says, over time. Two queries."""
    exponent = Business.the().currency_exponent
    found = []
    limits = CashLimits(
        least_spread_minor=max(float(known.limits.cash_off) * 10**exponent, 1.0),
        level=float(known.limits.cash_chance),
    )
    for machine, rows in compared(known, 10**exponent).items():
        judged = judge(
            Bags.of([one.expected_minor for one in rows], [one.counted_minor for one in rows]),
            limits,
        )
        if not judged.found:
            continue
        began = judged.shifted_at if judged.because == "shift" else None
        if judged.because == "one_bag":
            began = judged.worst
        seen = Seen.of(
            judged.suspicion(exponent),
            machine,
            since=rows[began or 0].before,
            chart={
                "kind": "bags",
                "ends": [round(known.number(one.sealed_at), 3) for one in rows],
                "expected": [one.expected_minor for one in rows],
                "counted": [one.counted_minor for one in rows],
            },
        )
        seen.numbers["one_person"] = _one_person(rows)
        found.append(seen)
    return found


def compared(known: Known, minor: int) -> dict[int, list[Compared]]:
    """Each machine's latest bags that the meter can be held against, in order of time.

    A bag is emptied at the read of the same visit, where there is one within two hours.
    """
    given = known.given() | {
        "minor": minor,
    }
    with connection.cursor() as cursor:
        cursor.execute(_BAGS, given)
        counted = cursor.fetchall()
        if not counted:
            return {}
        given["since"] = min(row[2] for row in counted) - FRESH
        given["machines"] = sorted({row[0] for row in counted})
        cursor.execute(_BOXED, given)
        boxed: dict[int, list[Boxed]] = defaultdict(list)
        for machine, starts, ends, figure in cursor.fetchall():
            boxed[machine].append(Boxed(starts, ends, None if figure is None else float(figure)))
    found: dict[int, list[Compared]] = defaultdict(list)
    for machine, sealed_at, before, amount, sealed_by, counted_by in counted:
        expected = to_box(boxed[machine], before, sealed_at)
        if expected is not None and known.after_mending(machine, sealed_at):
            found[machine].append(
                Compared(
                    sealed_at,
                    before,
                    round(expected),
                    round(amount * minor),
                    (sealed_by, counted_by),
                )
            )
    return {machine: rows[-MOST_BAGS:] for machine, rows in found.items()}


def to_box(boxed: Sequence[Boxed], since: datetime, until: datetime) -> float | None:
    """Cash to the box between two bags; None where reads do not tell of all of the time."""
    reads = sorted({moment for one in boxed for moment in (one.starts, one.ends)})
    since, until = _at_read(since, reads), _at_read(until, reads)
    within = [one for one in boxed if one.starts < until and one.ends > since]
    if not within or within[0].starts > since + FRESH or within[-1].ends < until - FRESH:
        return None
    total = 0.0
    for before, one in zip([None, *within], within, strict=False):
        if one.minor is None or (before is not None and one.starts > before.ends):
            return None
        whole = (one.ends - one.starts).total_seconds()
        part = (min(one.ends, until) - max(one.starts, since)).total_seconds()
        total += one.minor * (part / whole if whole else 1.0)
    return total


def _at_read(moment: datetime, reads: Sequence[datetime]) -> datetime:
    at = bisect_left(reads, moment)
    near = [read for read in reads[max(at - 1, 0) : at + 1] if abs(read - moment) <= FRESH]
    return min(near, key=lambda read: abs(read - moment), default=moment)


def _one_person(rows: Sequence[Compared]) -> bool | None:
    """Whether one person sealed, or one counted, every bag that is short, and not all others.

    None where too few are short or nobody else handled any: then it tells nothing.
    """
    short = [one for one in rows if one.counted_minor < one.expected_minor]
    others = [one for one in rows if one.counted_minor >= one.expected_minor]
    if len(short) < 2 or not others:
        return None
    return any(
        len({one.people[place] for one in short}) == 1
        and short[0].people[place] not in {one.people[place] for one in others}
        for place in (0, 1)
    )
