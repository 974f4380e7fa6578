"""The sale intervals behind sums of a period, one by one, for the machines that are asked of."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Final, NamedTuple

from django.db import connection

from service.compute.tax.cut import until

from .gathering import SOURCES, Basis, Period, arguments, clipped
from .segments import Segment

LINES: Final = """
    SELECT l.id, i.starts_at, i.ends_at, u.product_id, l.price_minor, i.machine_id, {units}, {minor}
    FROM sales_machineinterval i
    JOIN sales_saleinterval l ON l.interval_id = i.id
    LEFT JOIN machines_setup u ON u.id = l.set_up_id
    {joined}
    WHERE {when} AND i.machine_id = ANY(%(machines)s)
        AND i.currency IN ('', %(currency)s) AND i.exponent = %(exponent)s
"""


class Piece(NamedTuple):
    """What of one sale interval lies in one segment, in units and minor units of money."""

    sale_id: int
    segment: int
    product_id: int | None
    price_minor: int | None
    units: int
    minor: int


def pieces(
    basis: str, period: Period, segments: Sequence[Segment], machines: Sequence[int]
) -> list[Piece]:
    """Every piece of the machines' sale intervals in a period: what `sold` adds up."""
    kept = clipped(segments, period) if basis == Basis.DAYS else list(enumerate(segments))
    of_machine: dict[int, list[tuple[int, Segment]]] = defaultdict(list)
    for index, segment in kept:
        of_machine[segment.machine_id].append((index, segment))
    found: list[Piece] = []
    with connection.cursor() as cursor:
        # A map of columns and expressions of our own; nothing in it comes from a question.
        cursor.execute(
            LINES.format(**SOURCES[basis]._asdict()),
            {**arguments(basis, period, ()), "machines": list(machines)},
        )
        for sale, starts, ends, product, price, machine, count, minor in cursor.fetchall():
            found += (
                Piece(sale, index, product, price, *part)
                for index, part in _parts(of_machine[machine], starts, ends, count, minor)
            )
    return found


def _parts(
    segments: Iterable[tuple[int, Segment]],
    starts: datetime,
    ends: datetime,
    units: int,
    minor: int,
) -> Iterable[tuple[int, tuple[int, int]]]:
    for index, segment in segments:
        if segment.starts <= starts < segment.ends and ends <= segment.ends:
            part = units, minor
        elif starts == ends:
            continue
        else:
            part = (
                until(units, starts, ends, segment.ends)
                - until(units, starts, ends, segment.starts),
                until(minor, starts, ends, segment.ends)
                - until(minor, starts, ends, segment.starts),
            )
        if any(part):
            yield index, part
