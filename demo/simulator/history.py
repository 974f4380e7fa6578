"""The counters of a machine's years before the first day that is simulated."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from random import Random

from demo.business.machines import CASH, CASHLESS
from demo.business.shapes import Machine, SetUp
from demo.simulator.board import CASH_LINE, CASHLESS_LINE, ControlBoard, total
from demo.simulator.cases import Case
from demo.simulator.cash import CashUnit, live_through
from demo.simulator.cashless import CardReader
from demo.simulator.tallies import Sold

# Boards older than this have sold at a price that is no longer asked.
_OLD_PRICE_AFTER_DAYS = 1100
_OLD_PRICE_LESS_MINOR = 25
_VALUE_FULL = 10**8
_CASH_COUNT_FULL = 10**6


def give_history(
    *,
    machine: Machine,
    case: Case,
    today: Mapping[str, SetUp],
    day: date,
    vends_per_day: float,
    cash_share: float,
    board: ControlBoard,
    cash: CashUnit | None,
    reader: CardReader | None,
    random: Random,
) -> None:
    """Fill board, coin unit and card reader with what was sold since the machine was placed.

    `today` gives the set-up behind each selection. Every paid vend goes to one device, so that
    the machine's totals are the sum of its selections and of its payment devices.
    """
    age_days = (day - machine.placed_on).days
    if age_days <= 0:
        if cash is not None:
            cash.fill_tubes()
        return
    shares = {code: random.uniform(0.5, 1.5) for code in today}
    whole = sum(shares.values())
    if CASHLESS not in machine.payments:
        cash_share = 1.0
    elif CASH not in machine.payments:
        cash_share = 0.0
    for code, set_up in today.items():
        count = int(age_days * vends_per_day * shares[code] / whole * random.uniform(0.6, 0.9))
        prices = [(set_up.price_minor, count)]
        if age_days > _OLD_PRICE_AFTER_DAYS:
            old = count * 3 // 5
            prices = [
                (set_up.price_minor, count - old),
                (set_up.price_minor - _OLD_PRICE_LESS_MINOR, old),
            ]
        for price_minor, sold in prices:
            in_cash = round(sold * cash_share)
            _add_line(board, code, (CASH_LINE, 0, price_minor), in_cash)
            _add_line(board, code, (CASHLESS_LINE, 1, price_minor), sold - in_cash)
        tests = random.randrange(2, 14)
        board.tested[code] = Sold(tests, tests * set_up.price_minor)
    _near_the_top(board, case, next(iter(today)))
    board.power_outages.ever = age_days // 60
    board.resets = board.reads_with_reset = age_days // 4
    board.reads = age_days
    of_cash = _of_device(board, CASH_LINE)
    of_cashless = _of_device(board, CASHLESS_LINE)
    if cash is not None:
        live_through(cash, of_cash, random)
    if reader is not None:
        reader.sales = of_cashless


def _add_line(board: ControlBoard, code: str, key: tuple[str, int, int], count: int) -> None:
    if count:
        board.paid[code][key] = Sold(count, count * key[2])


def _of_device(board: ControlBoard, device: str) -> Sold:
    return total(
        sold for lines in board.paid.values() for key, sold in lines.items() if key[0] == device
    )


def _near_the_top(board: ControlBoard, case: Case, code: str) -> None:
    """A long life at a busy place: one selection sold so much for cash that a counter is full."""
    if case.value_nearly_full_cents is not None:
        held = total(sold for lines in board.paid.values() for sold in lines.values())
        missing = _VALUE_FULL - case.value_nearly_full_cents - held.value.ever
        _add_line(board, code, (CASH_LINE, 0, 100), missing // 100)
    if case.cash_count_nearly_full is not None:
        held = _of_device(board, CASH_LINE)
        missing = _CASH_COUNT_FULL - case.cash_count_nearly_full - held.count.ever
        _add_line(board, code, (CASH_LINE, 0, 65), missing)
