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

from people.models import Business
from service.compute.tax.cut import passed

from ..models import TaxSettings
from .segments import Segment

Basis = TaxSettings.Basis
AT_A_VISIT: Final = timedelta(hours=2)
"""A bag sealed so long before its visit's read is still the bag of that read."""


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


# What of a line is counted, and the moment by which it falls into a period. A machine that does not
# tell cash from cards is taken to have sold for cash.
CASH_UNITS: Final = "COALESCE(l.cash_units, l.paid_units, 0)"
CASH: Final = "COALESCE(l.cash_minor, l.paid_minor, 0)"
COLLECTED: Final = """(
    SELECT min(b.sealed_at) FROM sales_bag b
    WHERE b.machine_id = i.machine_id AND b.sealed_at >= i.ends_at - %(at_a_visit)s
)"""
SOURCES: Final[dict[str, tuple[tuple[str, str, str], ...]]] = {
    Basis.READ: (("i.ends_at", "COALESCE(l.paid_units, 0)", "COALESCE(l.paid_minor, 0)"),),
    Basis.DAYS: (("", "COALESCE(l.paid_units, 0)", "COALESCE(l.paid_minor, 0)"),),
    Basis.COLLECTION: (
        (COLLECTED, CASH_UNITS, CASH),
        (
            "i.ends_at",
            f"GREATEST(COALESCE(l.paid_units, 0) - {CASH_UNITS}, 0)",
            f"GREATEST(COALESCE(l.paid_minor, 0) - {CASH}, 0)",
        ),
    ),
}
UNTOLD: Final = "l.paid_minor IS NULL AND l.paid_units > 0"
WITHIN: Final = "{moment} >= %(since)s AND {moment} < %(until)s"
TOUCHES: Final = "i.starts_at < %(until)s AND (i.ends_at > %(since)s OR i.starts_at >= %(since)s)"
"""An interval without length at the first moment of a period belongs to it."""

# Segments hang on by a LEFT JOIN, and sums are not grouped by machine, which its segment names: so
# the database foresees few groups of many rows, and adds up in parallel.
PLACED: Final = """
    LEFT JOIN unnest(
        %(keys)s::int[], %(machines)s::bigint[], %(starts)s::timestamptz[], %(ends)s::timestamptz[]
    ) AS s(idx, machine_id, starts_at, ends_at)
        ON s.machine_id = i.machine_id
        AND i.starts_at >= s.starts_at AND i.starts_at < s.ends_at AND i.ends_at <= s.ends_at
    {more}
    WHERE {when} AND i.machine_id = ANY(%(machines)s)
        AND i.currency IN ('', %(currency)s) AND i.exponent = %(exponent)s
"""
WHOLE: Final = """
    SELECT s.idx, u.product_id, l.price_minor, SUM({units})::bigint, SUM({value})::bigint,
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
    SELECT i.id, u.product_id, l.price_minor, {units}, {value}, ({untold})::int
    FROM sales_machineinterval i
    JOIN sales_saleinterval l ON l.interval_id = i.id
    LEFT JOIN machines_setup u ON u.id = l.set_up_id
    WHERE i.id = ANY(%(intervals)s)
"""


def first_moment(basis: str, period: Period) -> datetime:
    """The first moment that sales of a period may go back to. One query."""
    found: list[datetime] = []
    with connection.cursor() as cursor:
        for moment, _, _ in SOURCES[basis]:
            falls = when(moment)
            # A map of columns and expressions of our own; nothing in it comes from a question.
            cursor.execute(
                f"SELECT min(i.starts_at) FROM sales_machineinterval i WHERE {falls}",  # noqa: S608
                arguments(period, ()),
            )
            first = cursor.fetchone()[0]
            found += [first] if first else []
    return min([period.since, *found])


def sold(basis: str, period: Period, segments: Sequence[Segment]) -> list[Sold]:
    """What was sold in a period, by segment, product and price. Three statements a source."""
    sums: dict[tuple[int, int, int | None, int | None], list[int]] = defaultdict(lambda: [0, 0, 0])
    kept = clipped(segments, period) if basis == Basis.DAYS else list(enumerate(segments))
    given = arguments(period, kept)
    of_machine: dict[int, list[tuple[int, Segment]]] = defaultdict(list)
    for index, segment in kept:
        of_machine[segment.machine_id].append((index, segment))
    with connection.cursor() as cursor:
        for moment, units, value in SOURCES[basis]:
            # Told once of a line, though its cash and its cards fall apart.
            untold_if = "false" if moment == COLLECTED else UNTOLD
            placed = PLACED.format(when=when(moment), more=PRODUCT)
            cursor.execute(
                WHOLE.format(units=units, value=value, placed=placed, untold=untold_if), given
            )
            for index, product, price, count, minor, untold in cursor.fetchall():
                if index is None:
                    continue  # it lies in no segment whole, and is cut below
                held = sums[index, segments[index].machine_id, product, price]
                held[0] += count
                held[1] += minor
                held[2] += untold
            cursor.execute(CROSSING.format(placed=PLACED.format(when=when(moment), more="")), given)
            crossing = {
                key: (
                    machine,
                    _within(basis, period, starts, ends),
                    _shares(of_machine[machine], starts, ends),
                )
                for key, machine, starts, ends in cursor.fetchall()
            }
            if not crossing:
                continue
            cursor.execute(
                PIECES.format(units=units, value=value, untold=untold_if),
                {**given, "intervals": list(crossing)},
            )
            for key, product, price, count, minor, untold in cursor.fetchall():
                machine, within, shares = crossing[key]
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
    return [Sold(*key, *held) for key, held in sums.items() if any(held)]


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


def when(moment: str) -> str:
    """The condition by which an interval falls into a period, from the moment that decides."""
    return WITHIN.format(moment=moment) if moment else TOUCHES


def arguments(period: Period, segments: Iterable[tuple[int, Segment]]) -> dict[str, Any]:
    """What the statements are given: the period, the business's money, and segments."""
    business = Business.the()
    held = list(segments)
    return {
        "since": period.since.astimezone(UTC),
        "until": period.until.astimezone(UTC),
        "currency": business.currency,
        "exponent": business.currency_exponent,
        "at_a_visit": AT_A_VISIT,
        "keys": [index for index, _ in held],
        "machines": [one.machine_id for _, one in held],
        "starts": [one.starts for _, one in held],
        "ends": [one.ends for _, one in held],
    }


def money(minor: int, exponent: int) -> Decimal:
    """Minor units as money."""
    return Decimal(minor).scaleb(-exponent)
