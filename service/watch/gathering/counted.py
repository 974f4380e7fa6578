"""Units that counts miss and no vend accounts for, since each column was last set or mended."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final, NamedTuple

import numpy as np
from django.db import connection

from service.compute.watch.missing import (
    Nature,
    Shape,
    Unaccounted,
    judge,
    kind_of,
    nature_of,
)
from service.compute.watch.suspicion import Suspicion

from ..known import Known
from ..seen import Seen

#: A chance so small that what was missing before has stopped.
STOPPED: Final = 0.02
#: Units of a neighbour's that make up for so much of what is missing.
MIRRORED: Final = 0.6

# One row a settled count: what reads say was sold since the count before, and what of the rest
# nothing explains (negative: more was found). Since the column was last set up or a ticket of it
# was closed: what was mended is not held against it. The moment of the first count begins the sum.
_SETTLED: Final = """
WITH own AS (
    SELECT s.column_id, c.selection_id, s.product_id, s.deep, p.id AS place_id,
           greatest(%(since)s, s.starts_at, (
               SELECT max(t.closed_at) FROM tickets_ticket t
               WHERE t.column_id = s.column_id AND t.state = 'closed')) AS since
    FROM machines_setup s
    JOIN machines_column c ON c.id = s.column_id AND c.machine_id = ANY(%(machines)s)
    LEFT JOIN inventory_stockplace p ON p.column_id = s.column_id
    WHERE s.ends_at IS NULL
), now AS (
    -- Columns behind one button begin together: what one of them had too many of before it was set
    -- anew is what the other is short of.
    SELECT column_id, selection_id, product_id, deep, place_id,
           max(since) OVER button AS since, count(*) OVER button AS behind
    FROM own WINDOW button AS (PARTITION BY coalesce(selection_id, -column_id))
), moved AS (
    SELECT now.column_id, l.happened_at, l.quantity AS n, o.kind
    FROM now JOIN inventory_movementline l
      ON l.from_place_id = now.place_id AND l.product_id = now.product_id
     AND l.happened_at > now.since AND l.happened_at <= %(until)s
    JOIN inventory_stockplace o ON o.id = l.to_place_id
                               AND o.kind IN ('unexplained', 'customer')
    UNION ALL
    SELECT now.column_id, l.happened_at, -l.quantity, o.kind
    FROM now JOIN inventory_movementline l
      ON l.to_place_id = now.place_id AND l.product_id = now.product_id
     AND l.happened_at > now.since AND l.happened_at <= %(until)s
    JOIN inventory_stockplace o ON o.id = l.from_place_id
                               AND o.kind IN ('unexplained', 'customer')
), counted AS (
    SELECT now.column_id, now.selection_id, now.deep, now.behind, k.counted_at,
           lag(k.counted_at) OVER (PARTITION BY now.column_id ORDER BY k.counted_at) AS before
    FROM now JOIN inventory_stockcount k ON k.place_id = now.place_id
     AND k.counted_at > now.since AND k.counted_at <= %(until)s
)
SELECT column_id, max(deep)::int, max(before), at,
       coalesce(sum(n) FILTER (WHERE kind = 'customer'), 0)::int,
       coalesce(sum(n) FILTER (WHERE kind = 'unexplained'), 0)::int,
       max(selection_id), max(behind)::int
FROM (
    -- Put together by grouping: joined, either side looks so small to the planner that it compares
    -- every count with every line.
    SELECT counted.column_id, deep, before, counted_at AS at, NULL::int AS n, NULL AS kind,
           counted.selection_id, behind
    FROM counted JOIN machines_column c ON c.id = counted.column_id
    WHERE counted.before IS NOT NULL
      AND EXISTS (SELECT FROM sales_machineinterval i
                  WHERE i.machine_id = c.machine_id AND i.ends_at > counted.before
                    AND i.starts_at < counted.counted_at)
      -- No read tells what was sold between the last of a board's reads and its exchange: all
      -- columns would look short. A count a minute after that last read is not settled either.
      AND NOT EXISTS (SELECT FROM sales_machineinterval i
                      WHERE i.machine_id = c.machine_id
                        AND i.ends_at > counted.before
                        AND i.starts_at < counted.counted_at
                        AND (i.awaits_decision OR i.devices @> '[{"state": "new_epoch"}]'))
    UNION ALL
    SELECT column_id, NULL, NULL, happened_at, n, kind, NULL, NULL FROM moved
) told
GROUP BY column_id, at
HAVING max(before) IS NOT NULL
ORDER BY column_id, at
"""


@dataclass(frozen=True, slots=True)
class Settled:
    """What was found of one column from one count to the next."""

    before: datetime
    counted_at: datetime
    vended: int
    missing: int


class Button(NamedTuple):
    """What a column is behind, and how many columns with a set-up are behind it."""

    key: int
    behind: int


def unaccounted(known: Known) -> list[Seen]:
    """Columns of which more or fewer units went than vends account for. One query.

    Where no read tells of a time, all that was missing was taken as sold, and nothing can be said.
    """
    columns, deep, buttons = _settled(known)
    columns = _by_button(columns, buttons)
    if not columns:
        return []
    keys = list(columns)
    judged = judge(
        Unaccounted.of(
            vended=[max(sum(one.vended for one in columns[key]), 0) for key in keys],
            missing=[sum(one.missing for one in columns[key]) for key in keys],
            deep=[deep[key] for key in keys],
        ),
        tolerated_rate=float(known.limits.double_rate),
        off_by_one=float(known.limits.miscount),
    )
    limit = float(known.limits.missing_chance)
    totals = {key: int(judged.given.missing[index]) for index, key in enumerate(keys)}
    found = []
    for index in np.flatnonzero(judged.p_value <= limit).tolist():
        key, rows = keys[index], columns[keys[index]]
        shape = nature_of([max(one.vended, 0) for one in rows], [one.missing for one in rows])
        if _stopped(rows):
            continue
        kind = kind_of(
            float(judged.given.vended[index]), float(judged.given.missing[index]), deep[key], shape
        )
        found.append(_seen(known, key, judged.suspicion(index, kind), rows, shape, totals))
    return found


def _settled(
    known: Known,
) -> tuple[dict[int, list[Settled]], dict[int, int], dict[int, "Button"]]:
    rows: dict[int, list[Settled]] = defaultdict(list)
    deep: dict[int, int] = {}
    buttons: dict[int, Button] = {}
    given = known.given()
    with connection.cursor() as cursor:
        cursor.execute(_SETTLED, given)
        for column, products_deep, *figures, selection, behind in cursor.fetchall():
            rows[column].append(Settled(*figures))
            deep[column] = products_deep
            # A column without a button is alone; keys of columns and buttons must not meet.
            buttons[column] = Button(-column if selection is None else selection, behind)
    there = set(known.columns.ids.tolist())
    return {key: those for key, those in rows.items() if key in there}, deep, buttons


def _by_button(
    columns: dict[int, list[Settled]], buttons: dict[int, Button]
) -> dict[int, list[Settled]]:
    """Columns behind one button as one, under the name of that of which most is missing.

    The machine counts a button's vends and not which column they came from: what each sold is a
    share, and what is missing of one may only be what the other has too many of.
    """
    behind: dict[Button, list[int]] = defaultdict(list)
    for key in columns:
        behind[buttons[key]].append(key)
    found: dict[int, list[Settled]] = {}
    for button, keys in behind.items():
        most = max(keys, key=lambda key: sum(one.missing for one in columns[key]))
        found[most] = _together((columns[key] for key in keys), button.behind)
    return {key: rows for key, rows in found.items() if rows}


def _together(lines: Iterable[list[Settled]], several: int) -> list[Settled]:
    """From one count of all of them to the next; a count of some alone tells nothing."""
    at: dict[datetime, list[Settled]] = defaultdict(list)
    for one in (one for line in lines for one in line):
        at[one.counted_at].append(one)
    return [
        Settled(
            min(one.before for one in those),
            counted_at,
            sum(one.vended for one in those),
            sum(one.missing for one in those),
        )
        for counted_at, those in sorted(at.items())
        if len(those) == several
    ]


def _stopped(rows: list[Settled]) -> bool:
    """Whether it ended by itself: so many clean vends since that at its rate more had gone."""
    last = max((at for at, one in enumerate(rows) if one.missing), default=-1)
    clean = sum(one.vended for one in rows[last + 1 :])
    vended = sum(max(one.vended, 0) for one in rows[: last + 1])
    missing = abs(sum(one.missing for one in rows[: last + 1]))
    rate = min(missing / vended, 1.0) if vended else 1.0
    return bool(clean) and (1 - min(rate, 0.999)) ** clean < STOPPED


def _seen(
    known: Known,
    key: int,
    suspicion: Suspicion,
    rows: list[Settled],
    shape: Shape,
    totals: dict[int, int],
) -> Seen:
    place = known.place_of(key)
    machine = int(known.columns.machines[place])
    first = next((one for one in rows if one.missing), rows[0])
    if shape.nature is Nature.AT_ONCE and shape.index is not None:
        first = rows[shape.index]
    seen = Seen.of(
        suspicion,
        machine,
        column=key,
        product=int(known.columns.products[place]),
        since=first.before,
        chart={
            "kind": "vended_and_missing",
            "starts": [round(known.number(one.before), 3) for one in rows],
            "ends": [round(known.number(one.counted_at), 3) for one in rows],
            "sold": [max(one.vended, 0) for one in rows],
            "missing": [one.missing for one in rows],
        },
    )
    seen.numbers["nature"] = shape.nature.value
    seen.numbers["nature_said"] = shape.said
    seen.numbers["neighbour_mirrors"] = _mirrored(known, key, machine, totals)
    return seen


def _mirrored(known: Known, key: int, machine: int, totals: dict[int, int]) -> bool:
    """Whether another column of the machine has about as many too many as this one too few."""
    missing = totals[key]
    return any(
        other != key
        and int(known.columns.machines[known.place_of(other)]) == machine
        and total * missing < 0
        and MIRRORED <= abs(total) / abs(missing) <= 1 / MIRRORED
        for other, total in totals.items()
    )
