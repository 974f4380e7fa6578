"""What a line of a report of tax is made of: sale intervals of one machine, adding up to it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import chain

from fleet.sales.models import SaleInterval
from people.models import Business
from service.compute.tax.report import Line, report
from service.compute.tax.rounding import Rounding
from service.compute.tax.rules import Rules

from ..sums.detail import Piece, pieces
from ..sums.gathering import Period, money
from .tax import Judged, judge, unit


@dataclass(frozen=True)
class LinePart:
    """What of one sale interval, with its two reads, lies in a line of a report.

    `is_cut` says that the rest of it lies in another period, place or rate.
    """

    sale: SaleInterval
    units: int
    receipts: Decimal
    is_cut: bool


@dataclass(frozen=True)
class LineOfMachine:
    """One machine's part of a line: the sale intervals add up to `receipts` exactly."""

    machine_id: int
    units: int
    receipts: Decimal
    parts: tuple[LinePart, ...]


def machines_of_line(line: Line) -> dict[int, Decimal]:
    """Receipts of each machine in a line, the greatest first; they add up to the line's."""
    sums: dict[int, Decimal] = defaultdict(Decimal)
    for one in line.of:
        sums[int(one.key.split(":")[0])] += one.receipts
    return dict(sorted(sums.items(), key=lambda each: (-each[1], each[0])))


def line_of_machine(
    line: Line, machine_id: int, period: Period, *, basis: str, rounding: Rounding
) -> LineOfMachine:
    """The sale intervals that one machine puts into a line, latest first. A fixed number of
    queries."""
    judged = judge(period, state=line.state, basis=basis, machines=[machine_id])
    chosen = _rows_of(line, judged, rounding)
    found = pieces(basis, period, judged.segments, [machine_id])
    held = [one for one in found if (one.segment, one.product_id, one.price_minor) in chosen]
    parts = _parts(held)
    return LineOfMachine(
        machine_id,
        sum(part.units for part in parts),
        sum((part.receipts for part in parts), Decimal(0)),
        tuple(parts),
    )


def _rows_of(
    line: Line, judged: Judged, rounding: Rounding
) -> set[tuple[int, int | None, int | None]]:
    """Which sums of a machine went into a line, by segment, product and price.

    The report itself says so: every fact is given a key of its own and the lines say which they
    hold.
    """
    facts = [
        replace(fact, key=str(n))
        for n, fact in enumerate(judged.facts)
        if line.first <= fact.sale.on <= line.last
    ]
    found = report(facts, Rules.of(judged.rules), rounding=rounding, unit=unit())
    same = (one for one in found.lines if _place(one) == _place(line))
    numbers = chain.from_iterable(one.keys for one in same)
    rows = [judged.rows[int(number)] for number in numbers]
    return {(row.segment, row.product_id, row.price_minor) for row in rows}


def _place(line: Line) -> tuple[object, ...]:
    """What tells a line from every other line of a report."""
    why = "" if line.rule else line.split.why
    return line.state, line.jurisdictions, line.split.rate, line.code, line.rule, why


def _parts(held: Sequence[Piece]) -> list[LinePart]:
    sums: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for one in held:
        of = sums[one.sale_id]
        of[0] += one.units
        of[1] += one.minor
    sales = (
        SaleInterval.objects.filter(pk__in=sums)
        .select_related(
            "interval__machine", "interval__from_read", "interval__to_read", "set_up__product"
        )
        .defer("interval__from_read__raw", "interval__to_read__raw")
        .order_by("-interval__ends_at", "-pk")
    )
    exponent = Business.the().currency_exponent
    return [
        LinePart(
            sale,
            units := sums[sale.pk][0],
            money(minor := sums[sale.pk][1], exponent),
            (units, minor) != (sale.paid_units or 0, sale.paid_minor or 0),
        )
        for sale in sales
    ]
