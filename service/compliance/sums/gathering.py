"""Sales of a period added up by the database, and what crosses a change cut here.

Intervals that lie whole in one segment are added up in one statement; the few that a move or a
change of rates falls into are cut by time, so that the parts add up (`service.compute.tax.cut`).
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any, Final, NamedTuple, TypeAlias

from django.db import connection
from django.db.models import Max, Q

from fleet.sales.models import Bag
from people.models import Business
from service.compute.tax.cut import passed

from ..models import TaxSettings
from .segments import Segment

Basis = TaxSettings.Basis
AT_A_VISIT: Final = timedelta(hours=2)
"""A bag sealed so long before its visit's read is still the bag of that read."""
ALWAYS: Final = datetime.min.replace(tzinfo=UTC)
JUST: Final = timedelta(microseconds=1)


Gone: TypeAlias = tuple[int, int]
"""How much of an interval had passed, of its whole length."""


class LostOnTheWay(ArithmeticError):
    """A piece of a cut interval lies in no segment; no figure may be made of the rest."""


class Sold(NamedTuple):
    """Sales of one product at one price in one segment, in units and minor units of money.

    `untold` counts lines with units of which no read tells the money; it is not in `minor`.
    """

    segment: int
    machine_id: int
    product_id: int | None
    price_minor: int | None
    units: int
    minor: int
    untold: int


@dataclass(frozen=True)
class Period:
    """Days `[starts_on, ends_on)` on the calendar of the business."""

    starts_on: date
    ends_on: date

    @cached_property
    def since(self) -> datetime:
        return datetime.combine(self.starts_on, time(0), tzinfo=Business.the().time_zone)

    @cached_property
    def until(self) -> datetime:
        return datetime.combine(self.ends_on, time(0), tzinfo=self.since.tzinfo)


class Source(NamedTuple):
    """What of a line is counted by one basis, when, and what is joined to tell it."""

    when: str
    units: str
    minor: str
    untold: str
    joined: str = ""


UNITS: Final = "COALESCE(l.paid_units, 0)"
MINOR: Final = "COALESCE(l.paid_minor, 0)"
UNTOLD: Final = "(l.paid_minor IS NULL AND l.paid_units > 0)"
READ_WITHIN: Final = "(i.ends_at >= %(since)s AND i.ends_at < %(until)s)"
TOUCHES: Final = "i.starts_at < %(until)s AND (i.ends_at > %(since)s OR i.starts_at >= %(since)s)"
"""An interval without length at the first moment of a period belongs to it."""


# By collection, cash falls where the bag was sealed that took it, and cards by the read. A machine
# that does not tell cash from cards is taken to have sold for cash. A bag takes what reads up to it
# tell, so two moments of each machine say whose bags are of the period: see `_emptied`.
# A board that tells the split in its totals alone has it shared over its lines by what they took,
# each to the nearest cent: a cent may fall with the cards, none is lost.
# No line holds more cash than it was paid: what totals tell beyond the lines stands in the lines.
def _cash(what: str) -> str:
    shared = f"round(l.paid_{what}::numeric * i.cash_{what} / NULLIF(i.paid_{what}, 0))::bigint"
    told = f"COALESCE(l.cash_{what}, {shared}, l.paid_{what}, 0)"
    return f"LEAST({told}, COALESCE(l.paid_{what}, 0))"


CASH_UNITS: Final = _cash("units")
CASH: Final = _cash("minor")
CASH_WITHIN: Final = "(c.machine_id IS NOT NULL AND i.ends_at > c.after AND i.ends_at <= c.upto)"
EMPTIED: Final = """
    LEFT JOIN unnest(
        %(emptied)s::bigint[], %(cash_after)s::timestamptz[], %(cash_upto)s::timestamptz[]
    ) AS c(machine_id, after, upto) ON c.machine_id = i.machine_id
"""


def _of_both(cash: str, whole: str) -> str:
    return (
        f"(CASE WHEN {CASH_WITHIN} THEN {cash} ELSE 0 END"
        f" + CASE WHEN {READ_WITHIN} THEN {whole} - {cash} ELSE 0 END)"
    )


SOURCES: Final[dict[str, Source]] = {
    Basis.READ: Source(READ_WITHIN, UNITS, MINOR, UNTOLD),
    Basis.DAYS: Source(TOUCHES, UNITS, MINOR, UNTOLD),
    Basis.COLLECTION: Source(
        f"({READ_WITHIN} OR {CASH_WITHIN})"
        " AND i.ends_at > %(least_after)s AND i.ends_at <= %(most_upto)s",
        _of_both(CASH_UNITS, UNITS),
        _of_both(CASH, MINOR),
        # Told once of a line, though its cash and its cards fall apart.
        f"({UNTOLD} AND {READ_WITHIN})",
        EMPTIED,
    ),
}
# Most intervals lie far from the edges of a period, cash and cards both inside. So the sums by
# collection are those by read, and the intervals of which a period has only one are set right.
WHOLES: Final[dict[str, tuple[Source, ...]]] = {
    Basis.READ: (SOURCES[Basis.READ],),
    Basis.DAYS: (SOURCES[Basis.DAYS],),
    Basis.COLLECTION: (
        SOURCES[Basis.READ],
        Source(
            "i.id = ANY(%(edges)s)",
            f"CASE WHEN {READ_WITHIN} THEN -{CASH_UNITS} ELSE {CASH_UNITS} END",
            f"CASE WHEN {READ_WITHIN} THEN -{CASH} ELSE {CASH} END",
            "false",
        ),
    ),
}
EDGES: Final = f"""
    SELECT i.id FROM sales_machineinterval i {EMPTIED}
    WHERE {SOURCES[Basis.COLLECTION].when} AND NOT ({READ_WITHIN} AND {CASH_WITHIN})
"""  # noqa: S608

# Segments hang on by a LEFT JOIN, and sums are not grouped by machine, which its segment names: so
# the database foresees few groups of many rows, and adds up in parallel.
PLACED: Final = """
    LEFT JOIN unnest(
        %(keys)s::int[], %(machines)s::bigint[], %(starts)s::timestamptz[], %(ends)s::timestamptz[]
    ) AS s(idx, machine_id, starts_at, ends_at)
        ON s.machine_id = i.machine_id
        AND i.starts_at >= s.starts_at AND i.starts_at < s.ends_at AND i.ends_at <= s.ends_at
    {joined}
    WHERE {when} AND i.machine_id = ANY(%(machines)s)
        AND i.currency IN ('', %(currency)s) AND i.exponent = %(exponent)s
"""
WHOLE: Final = """
    SELECT s.idx, u.product_id, l.price_minor, SUM({units})::bigint, SUM({minor})::bigint,
        COUNT(*) FILTER (WHERE {untold})
    FROM sales_saleinterval l
    JOIN sales_machineinterval i ON i.id = l.interval_id
    {placed}
    GROUP BY 1, 2, 3
"""
PRODUCT: Final = "LEFT JOIN machines_setup u ON u.id = l.set_up_id"
CROSSING: Final = """
    SELECT i.id, i.machine_id, i.starts_at, i.ends_at
    FROM sales_machineinterval i {placed} AND s.idx IS NULL
"""
PIECES: Final = """
    SELECT i.id, u.product_id, l.price_minor, {units}, {minor}, {untold}::int
    FROM sales_machineinterval i
    JOIN sales_saleinterval l ON l.interval_id = i.id
    {product}
    {joined}
    WHERE i.id = ANY(%(intervals)s)
"""


def first_moment(basis: str, period: Period) -> datetime:
    """The first moment that sales of a period may go back to. One query."""
    source = SOURCES[basis]
    with connection.cursor() as cursor:
        # A map of columns and expressions of our own; nothing in it comes from a question.
        cursor.execute(
            f"SELECT min(i.starts_at) FROM sales_machineinterval i {source.joined}"  # noqa: S608
            f" WHERE {source.when}",
            arguments(basis, period, ()),
        )
        first = cursor.fetchone()[0]
    return min(period.since, first) if first else period.since


def sold(basis: str, period: Period, segments: Sequence[Segment]) -> list[Sold]:
    """What was sold in a period, by segment, product and price. A few statements, however
    much was sold."""
    sums: dict[tuple[int, int, int | None, int | None], list[int]] = defaultdict(lambda: [0, 0, 0])
    kept = clipped(segments, period) if basis == Basis.DAYS else list(enumerate(segments))
    given = arguments(basis, period, kept)
    source = SOURCES[basis]
    with connection.cursor() as cursor:
        if basis == Basis.COLLECTION:
            cursor.execute(EDGES, given)
            given["edges"] = [key for (key,) in cursor.fetchall()]
        for whole in WHOLES[basis]:
            placed = PLACED.format(when=whole.when, joined=PRODUCT)
            cursor.execute(WHOLE.format(placed=placed, **whole._asdict()), given)
            for index, product, price, count, minor, untold in cursor.fetchall():
                if index is None:
                    continue  # it lies in no segment whole, and is cut below
                held = sums[index, segments[index].machine_id, product, price]
                held[0] += count
                held[1] += minor
                held[2] += untold
        placed = PLACED.format(when=source.when, joined=source.joined)
        cursor.execute(CROSSING.format(placed=placed), given)
        crossing = cursor.fetchall()
        if crossing:
            intervals = [key for key, *_ in crossing]
            pieces = PIECES.format(product=PRODUCT, **source._asdict())
            cursor.execute(pieces, {**given, "intervals": intervals})
            _cut(sums, crossing, cursor.fetchall(), kept, basis, period)
    return [Sold(*key, *held) for key, held in sums.items() if any(held)]


def _cut(
    sums: dict[tuple[int, int, int | None, int | None], list[int]],
    crossing: Iterable[tuple[int, int, datetime, datetime]],
    lines: Iterable[tuple[int, int | None, int | None, int, int, int]],
    segments: Iterable[tuple[int, Segment]],
    basis: str,
    period: Period,
) -> None:
    """Add the lines of intervals that cross from one segment to the next, each its share."""
    of_machine: dict[int, list[tuple[int, Segment]]] = defaultdict(list)
    for index, segment in segments:
        of_machine[segment.machine_id].append((index, segment))
    cuts = {
        key: (
            machine,
            _within(basis, period, starts, ends),
            _shares(of_machine[machine], starts, ends),
        )
        for key, machine, starts, ends in crossing
    }
    for key, product, price, count, minor, untold in lines:
        machine, within, shares = cuts[key]
        left = [_part(count, *within), _part(minor, *within)]
        for index, since, until in shares:
            held = sums[index, machine, product, price]
            part, amount = _part(count, since, until), _part(minor, since, until)
            held[0] += part
            held[1] += amount
            held[2] += untold * (until[0] == until[1])  # where it ends, once
            left[0] -= part
            left[1] -= amount
        if any(left):
            raise LostOnTheWay(
                f"interval {key} of machine {machine}: {left[0]} units and {left[1]} of "
                "money lie in no segment"
            )


def _within(basis: str, period: Period, starts: datetime, ends: datetime) -> tuple[Gone, Gone]:
    """What of an interval belongs to the period: all of it, or the part of its days in it."""
    if basis != Basis.DAYS or starts == ends:
        return (0, 1), (1, 1)
    return passed(starts, ends, period.since), passed(starts, ends, period.until)


def _part(whole: int, since: Gone, until: Gone) -> int:
    return whole * until[0] // until[1] - whole * since[0] // since[1]


def _shares(
    segments: Iterable[tuple[int, Segment]], starts: datetime, ends: datetime
) -> list[tuple[int, Gone, Gone]]:
    """How much of an interval had passed when each segment that it touches began, and ended."""
    return [
        (index, passed(starts, ends, segment.starts), passed(starts, ends, segment.ends))
        for index, segment in segments
        if segment.starts < ends and segment.ends > starts
    ]


def clipped(segments: Sequence[Segment], period: Period) -> list[tuple[int, Segment]]:
    """Segments within the period: what of an interval lies outside belongs to another period."""
    since, to = period.since, period.until
    return [
        (index, replace(one, starts=max(one.starts, since), ends=min(one.ends, to)))
        for index, one in enumerate(segments)
        if one.starts < to and one.ends > since
    ]


def arguments(
    basis: str, period: Period, segments: Iterable[tuple[int, Segment]]
) -> dict[str, Any]:
    """What the statements are given: the period, the business's money, bags, and segments."""
    business = Business.the()
    held = list(segments)
    since, until = period.since.astimezone(UTC), period.until.astimezone(UTC)
    emptied = _emptied(since, until) if basis == Basis.COLLECTION else []
    return {
        "since": since,
        "until": until,
        "currency": business.currency,
        "exponent": business.currency_exponent,
        "emptied": [machine for machine, _, _ in emptied],
        "cash_after": [after for _, after, _ in emptied],
        "cash_upto": [upto for _, _, upto in emptied],
        "least_after": min([since - JUST, *(after for _, after, _ in emptied)]),
        "most_upto": max([until, *(upto for _, _, upto in emptied)]),
        "keys": [index for index, _ in held],
        "machines": [one.machine_id for _, one in held],
        "starts": [one.starts for _, one in held],
        "ends": [one.ends for _, one in held],
    }


def _emptied(since: datetime, until: datetime) -> list[tuple[int, datetime, datetime]]:
    """Machines with a bag of the period; after which read and up to which one bags took cash.

    A read's cash lies in the first bag that was sealed at its visit or later. That bag is of the
    period where the last one before the period is too early for the read, and the last one of the
    period is not. One query.
    """
    rows = (
        Bag.objects.filter(sealed_at__lt=until)
        .values_list("machine_id")
        .annotate(before=Max("sealed_at", filter=Q(sealed_at__lt=since)), last=Max("sealed_at"))
    )
    return [
        (machine, before + AT_A_VISIT if before else ALWAYS, last + AT_A_VISIT)
        for machine, before, last in rows
        if last >= since
    ]


def money(minor: int, exponent: int) -> Decimal:
    """Minor units as money."""
    return Decimal(minor).scaleb(-exponent)
