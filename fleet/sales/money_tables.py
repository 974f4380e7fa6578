"""Statements of commission and settlements of cards as tables for a file, alike at either door."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from people.exports import Cell, Table
from people.models import Business

from .models import Statement
from .papers import CLASS_WORDS, carried_over
from .queries.cards import Matched, OfMachine


def statements(rows: Iterable[Any], zone: ZoneInfo) -> Table:
    """Of `queries.commission.statements`."""
    head = (
        *("statement", "site", "host", "from", "to before", "currency", "receipts", "base"),
        *("commission", "to make up the minimum", "corrections", "carried over", "due", "paid"),
        *("open", "carried over on", "issued at", "mailed at"),
    )
    cents = _rounding()
    return Table(
        "Statements of commission",
        head,
        (
            (
                *(one.number, one.site.name, one.host_name, one.starts_on, one.ends_on),
                one.currency,
                *cents(one.receipts, one.base, one.commission, one.minimum_added),
                *cents(one.carried, one.carried_over, one.due, one.paid, one.open),
                one.carried_over_on and one.carried_over_on.number,
                *(one.issued_at, one.mailed_at),
            )
            for one in rows
        ),
        zone,
        money=head[6:15],
    )


def statement(one: Statement, zone: ZoneInfo) -> Table:
    """How one statement was made, from its frozen figures; its amounts add up to what is due."""
    head = (
        *("what", "machine", "class", "receipts", "tax", "deposits", "refunds", "base"),
        *("percent", "amount"),
    )
    money = (*head[3:8], "amount")
    return Table(f"Statement {one.number} of commission", head, _made(one), zone, money=money)


def _made(one: Statement) -> Iterator[Sequence[Cell]]:
    figures, apart, cents = one.figures, [None] * 6, _rounding()
    for line in figures["lines"]:
        percent = line["percent"]
        yield (
            *("commission", line["machine"]),
            CLASS_WORDS.get(line["product_class"], line["product_class"]),
            *cents(*(line[name] for name in ("receipts", "tax", "deposit", "refunds", "base"))),
            None if percent is None else Decimal(percent),
            *cents(line["amount"]),
        )
    for machine in figures["machines"]:
        if Decimal(machine["minimum_added"]):
            added = cents(machine["minimum_added"])
            yield "to make up the minimum", machine["machine"], "", *apart, *added
    if not figures["machines"] and one.minimum_added:
        yield "to make up the minimum", "", "", *apart, *cents(one.minimum_added)
    for carried in figures["carried"]:
        said = f"correction of statement {carried['of_statement']}: {carried['reason']}"
        yield said, "", "", *apart, *cents(carried["amount"])
    for left in carried_over(figures):
        said = f"carried over from statement {left['of_statement']}"
        yield said, "", "", *apart, *cents(left["amount"])
    yield "due", "", "", *apart, *cents(one.due)


def matched(found: Matched, zone: ZoneInfo, *, mismatches: bool = False) -> Table:
    """Machines of a period, those that do not agree first, then what has no machine; or only what
    does not agree."""
    return Table(
        "Mismatches of cards" if mismatches else "Settlements by machine",
        ("machine", "counted", "settled", "difference", "fees", "mismatch"),
        _matched(found, found.mismatches if mismatches else found.machines),
        zone,
        money=("counted", "settled", "difference", "fees"),
    )


def _matched(found: Matched, machines: Sequence[OfMachine]) -> Iterator[Sequence[Cell]]:
    cents = _rounding()
    for one in machines:
        yield one.machine, *cents(one.counted, one.settled, one.difference, one.fee), one.why
    for line in found.unmatched:
        why = f"terminal {line.terminal} on {line.day}: {line.why}"
        yield "not known", *cents(None, line.gross, None, line.fee), why


def days(found: Matched, zone: ZoneInfo) -> Table:
    """Fees and what was counted and settled by machine and day, lines without a machine last."""
    head = ("machine", "terminal", "day", "counted", "settled", "difference", "fee", "reads tell")
    money = ("counted", "settled", "difference", "fee")
    return Table("Settlements by machine and day", head, _days(found), zone, money=money)


def _days(found: Matched) -> Iterator[Sequence[Cell]]:
    cents = _rounding()
    for machine in sorted(found.machines, key=lambda one: one.machine):
        for day in machine.days:
            told = cents(day.counted, day.settled, day.difference, day.fee)
            yield day.machine, "", day.day, *told, day.told
    for line in found.unmatched:
        yield "not known", line.terminal, line.day, *cents(None, line.gross, None, line.fee), ""


def _rounding() -> Callable[..., list[Decimal | None]]:
    """Amounts to the smallest unit; they are kept with more decimals than anybody pays."""
    places = Business.the().currency_exponent

    def cents(*amounts: Decimal | str | None) -> list[Decimal | None]:
        return [None if one is None else round(Decimal(one), places) for one in amounts]

    return cents
