"""One machine's counters as the segments of an audit file, in its board's own habits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from demo.business.shapes import Machine
from demo.simulator.board import ControlBoard, total
from demo.simulator.cash import CashUnit
from demo.simulator.cashless import CardReader
from demo.simulator.dialects import Dialect
from demo.simulator.report_money import (
    COUNT,
    COUNT_SINCE,
    MONEY,
    cash_segments,
    cashless_segments,
    tube_segments,
)
from demo.simulator.tallies import shown
from demo.simulator.writer import Segment


@dataclass(frozen=True)
class Shelf:
    """What the board was told about one selection."""

    price_minor: int
    name: str
    capacity: int
    level: int


@dataclass(frozen=True)
class Reading:
    """The moment of a read by the machine's clock, and by which reader."""

    at: datetime
    reader: str
    before: tuple[datetime, str] | None
    temperature_c: float | None


@dataclass(frozen=True)
class Source:
    """Everything that one file is written from."""

    machine: Machine
    asset_text: str
    location: str
    dialect: Dialect
    board: ControlBoard
    cash: CashUnit | None
    card_reader: CardReader | None
    shelves: Mapping[str, Shelf]
    reading: Reading


def segments(source: Source) -> list[Segment]:
    """All segments between ST and G85."""
    found = _identity(source)
    found += _vends(source.board)
    if source.cash is not None:
        tubes = tube_segments(source.cash)
        money = cash_segments(source.cash, source.dialect)
        found += tubes + money if source.dialect.tubes_first else money + tubes
    if source.card_reader is not None:
        found += cashless_segments(source.card_reader)
    products = _products(source)
    found += [("LS", "0100"), *products, ("LE", "0100")] if source.dialect.loop else products
    found += _events(source)
    return found


def _identity(source: Source) -> list[Segment]:
    machine, dialect, now = source.machine, source.dialect, source.reading.at
    found: list[Segment] = [
        (
            "ID1",
            machine.serial,
            dialect.model,
            "0102",
            source.location[:30],
            None,
            source.asset_text,
            6,
            1,
        ),
        ("ID4", 2, "1840", "USD"),
    ]
    if dialect.seconds_in_time:
        found.append(("ID5", dialect.date(now), dialect.time(now), None, "NA"))
    else:
        found.append(("ID5", dialect.date(now), dialect.time(now), now.second, "NA"))
    found.append(("CB1", source.board.serial, dialect.model, dialect.software))
    if source.cash is not None:
        found.append(("CA1", source.cash.serial, "COINS-5", "0311"))
        found.append(("BA1", source.cash.bill_serial, "BILLS-2", "0205"))
    if source.card_reader is not None:
        found.append(("DA1", source.card_reader.serial, "CARDS-1", "0110"))
    return found


def _vends(board: ControlBoard) -> list[Segment]:
    paid = total(sold for lines in board.paid.values() for sold in lines.values())
    discounts = total(board.discounts.values())
    tested = total(board.tested.values())
    free = total(board.free.values())
    return [
        (
            "VA1",
            shown(paid.value.ever, MONEY),
            shown(paid.count.ever, COUNT),
            shown(paid.value.since, MONEY),
            shown(paid.count.since, COUNT_SINCE),
            shown(discounts.value.ever, MONEY),
            shown(discounts.count.ever, COUNT),
            shown(discounts.value.since, MONEY),
            shown(discounts.count.since, COUNT),
        ),
        (
            "VA2",
            shown(tested.value.ever, MONEY),
            shown(tested.count.ever, COUNT),
            shown(tested.value.since, 6),
            shown(tested.count.since, 4),
        ),
        (
            "VA3",
            shown(free.value.ever, MONEY),
            shown(free.count.ever, COUNT),
            shown(free.value.since, MONEY),
            shown(free.count.since, COUNT_SINCE),
        ),
    ]


def _products(source: Source) -> list[Segment]:
    board, dialect = source.board, source.dialect
    found: list[Segment] = []
    for code, shelf in source.shelves.items():
        levels = (shelf.capacity, shelf.capacity, 1, 0, shelf.level, shelf.capacity // 4)
        told = levels if dialect.levels else (None, None, 1, 0)
        found.append(("PA1", code, shelf.price_minor, shelf.name.upper()[:20], *told))
        paid = total(board.paid[code].values())
        less = board.discounts[code]
        tested, free = board.tested[code], board.free[code]
        pa2: Segment = (
            "PA2",
            shown(paid.count.ever, COUNT),
            shown(paid.value.ever, MONEY),
            shown(paid.count.since, COUNT_SINCE),
            shown(paid.value.since, MONEY),
        )
        if less.count.ever:
            pa2 += (less.count.ever, less.value.ever, less.count.since, less.value.since)
        found.append(pa2)
        for segment, sold in (("PA3", tested), ("PA4", free)):
            found.append(
                (
                    segment,
                    shown(sold.count.ever, COUNT),
                    shown(sold.value.ever, MONEY),
                    shown(sold.count.since, COUNT_SINCE),
                    shown(sold.value.since, MONEY),
                )
            )
        mark = board.last_sold_out.get(code)
        if mark is not None:
            found.append(("PA5", dialect.date(mark.at), dialect.time(mark.at), mark.asked))
        if dialect.payment_lines:
            for (device, price_list, price_minor), sold in board.paid[code].items():
                found.append(
                    (
                        "PA7",
                        code,
                        device,
                        price_list,
                        price_minor,
                        shown(sold.count.ever, COUNT),
                        shown(sold.value.ever, MONEY),
                        shown(sold.count.since, COUNT_SINCE),
                        shown(sold.value.since, MONEY),
                    )
                )
    return found


def _events(source: Source) -> list[Segment]:
    board, dialect, reading = source.board, source.dialect, source.reading
    found: list[Segment] = [
        ("EA1", record.event_id, dialect.date(record.at), dialect.time(record.at), record.minutes)
        for record in board.records
    ]
    for event_id, event in board.events.items():
        active = event.active_from is not None
        found.append(
            (
                "EA2",
                event_id,
                shown(event.times.since, 6),
                shown(event.times.ever, 6),
                None,
                int(active),
                event.minutes,
            )
        )
    before: tuple[str | None, str | None, str | None] = (None, None, None)
    if reading.before is not None:
        at, reader = reading.before
        before = (dialect.date(at), dialect.time(at), reader)
    found.append(
        (
            "EA3",
            board.reads_with_reset,
            dialect.date(reading.at),
            dialect.time(reading.at),
            reading.reader,
            *before,
            None,
            board.reads,
            board.resets,
        )
    )
    for segment, at in (
        ("EA4", board.initialised_at),
        ("EA5", board.prices_set_at),
        ("EA6", board.serviced_at),
    ):
        found.append((segment, dialect.date(at), dialect.time(at), "HH000003"))
    found.append(("EA7", board.power_outages.since, board.power_outages.ever))
    if reading.temperature_c is not None and dialect.temperature:
        found.append(("MA5", "LAST", f"CABINET {reading.temperature_c:.1f}C"))
    found.append(("SD1", dialect.password, None, None, None, "SAVE", "SAVE"))
    return found
