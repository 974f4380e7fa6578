"""The money segments of an audit file: coins, bills, tubes and cards."""

from __future__ import annotations

from collections.abc import Mapping

from demo.simulator.cash import BILLS, COINS, TUBE_COINS, TUBE_HOLDS, CashUnit
from demo.simulator.cashless import CardReader
from demo.simulator.dialects import Dialect
from demo.simulator.tallies import Tally, shown
from demo.simulator.writer import Segment

MONEY = 8
COUNT = 8
COUNT_SINCE = 6


def cash_segments(cash: CashUnit, dialect: Dialect) -> list[Segment]:
    """CA2 to CA14; from CA3 on the half since the last reset comes first."""
    found: list[Segment] = [
        (
            "CA2",
            shown(cash.sales.value.ever, MONEY),
            shown(cash.sales.count.ever, 6),
            shown(cash.sales.value.since, MONEY),
            shown(cash.sales.count.since, COUNT_SINCE),
        ),
        _cash_in(cash, dialect),
        (
            "CA4",
            _worth(cash.out, "since"),
            _worth(cash.out_by_hand, "since"),
            _worth(cash.out, "ever"),
            _worth(cash.out_by_hand, "ever"),
        ),
        ("CA8", shown(cash.overpaid.since, MONEY), shown(cash.overpaid.ever, MONEY)),
        (
            "CA9",
            shown(cash.sold_without_change.since, MONEY),
            shown(cash.sold_without_change.ever, MONEY),
        ),
        ("CA10", _worth(cash.filled, "since"), _worth(cash.filled, "ever")),
    ]
    return found + _coin_lines(cash) if dialect.coin_lines else found


def _worth(tallies: Mapping[int, Tally], half: str) -> int:
    return shown(sum(value * getattr(tally, half) for value, tally in tallies.items()), MONEY)


def _cash_in(cash: CashUnit, dialect: Dialect) -> Segment:
    """CA3: total in is box plus tubes plus bills."""
    halves: list[int | None] = []
    bills: list[int] = []
    for half in ("since", "ever"):
        stacked = sum(bill * getattr(tally, half) for bill, tally in cash.stacked.items())
        box = sum(coin * getattr(tally, half) for coin, tally in cash.to_box.items())
        tubes = sum(coin * getattr(tally, half) for coin, tally in cash.to_tubes.items())
        old = {"units": stacked // 100, "both": stacked, "new": None}[dialect.bills]
        halves += [
            shown(box + tubes + stacked, MONEY),
            shown(box, MONEY),
            shown(tubes, MONEY),
            None if old is None else shown(old, MONEY),
        ]
        bills.append(shown(stacked, MONEY))
    return ("CA3", *halves) if dialect.bills == "units" else ("CA3", *halves, *bills)


def _coin_lines(cash: CashUnit) -> list[Segment]:
    found: list[Segment] = []
    for coin in COINS:
        box, tubes = cash.to_box[coin], cash.to_tubes.get(coin)
        in_tubes = (tubes.since, tubes.ever) if tubes else (0, 0)
        found.append(
            (
                "CA11",
                coin,
                shown(box.since + in_tubes[0], COUNT_SINCE),
                shown(box.since, COUNT_SINCE),
                shown(in_tubes[0], COUNT_SINCE),
                shown(box.ever + in_tubes[1], COUNT),
                shown(box.ever, COUNT),
                shown(in_tubes[1], COUNT),
            )
        )
    for coin in TUBE_COINS:
        out, by_hand = cash.out[coin], cash.out_by_hand[coin]
        found.append(
            (
                "CA12",
                coin,
                shown(out.since, COUNT_SINCE),
                shown(by_hand.since, COUNT_SINCE),
                shown(out.ever, COUNT),
                shown(by_hand.ever, COUNT),
            )
        )
    for coin in TUBE_COINS:
        filled = cash.filled[coin]
        found.append(("CA13", coin, shown(filled.since, COUNT_SINCE), shown(filled.ever, COUNT)))
    for bill in BILLS:
        seen, kept = cash.validated[bill], cash.stacked[bill]
        found.append(
            (
                "CA14",
                bill,
                shown(seen.since, COUNT_SINCE),
                shown(kept.since, COUNT_SINCE),
                shown(seen.ever, COUNT),
                shown(kept.ever, COUNT),
            )
        )
    return found


def tube_segments(cash: CashUnit) -> list[Segment]:
    """CA15 and CA17: what the coin unit believes to lie in its tubes."""
    lines: list[Segment] = [
        (
            "CA17",
            place,
            coin,
            cash.tubes[coin],
            None,
            None,
            int(cash.tubes[coin] >= TUBE_HOLDS[coin]),
        )
        for place, coin in enumerate(TUBE_COINS)
    ]
    return [("CA15", cash.tubes_minor), *lines]


def cashless_segments(reader: CardReader) -> list[Segment]:
    """DA2, DA4 and DA5."""
    sales, less = reader.sales, reader.discounts
    return [
        (
            "DA2",
            shown(sales.value.ever, MONEY),
            shown(sales.count.ever, COUNT),
            shown(sales.value.since, MONEY),
            shown(sales.count.since, COUNT_SINCE),
        ),
        ("DA4", 0, 0),
        (
            "DA5",
            shown(less.value.since, MONEY),
            shown(less.count.since, COUNT_SINCE),
            shown(less.value.ever, MONEY),
            shown(less.count.ever, COUNT),
        ),
    ]
