"""A driver at the machine: count, change over, fill, test, take the cash, leave change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from demo.business.shapes import SetUp
from demo.simulator.cabinet import COIN_JAM, Cabinet
from demo.simulator.cash import TOP_UP_BELOW_MINOR
from demo.simulator.truth import Fill, Visit

DOOR_OPEN = "EGS"
# A changed column is dropped this often, so that front and rear, first and last are all seen.
_TEST_VENDS = 4
# Now and then the truck runs out of one thing, a driver tries a button, or lets coins out.
_TRUCK_SHORT_SHARE = 0.06
_TRIES_A_BUTTON_SHARE = 0.05
_LETS_COINS_OUT_SHARE = 0.04


@dataclass
class _Stop:
    pulled: dict[str, int]
    changed: list[str]


def visit(cabinet: Cabinet, at: datetime, set_ups: Mapping[str, SetUp]) -> Visit:
    """Everything done at a stop, but for reading; `set_ups` are those to leave behind."""
    random = cabinet.random
    board = cabinet.board
    board.begin(DOOR_OPEN, cabinet.clock.shows(at))
    counted = {label: column.stock for label, column in cabinet.columns.items()}
    stop = _change_over(cabinet, at, set_ups)
    filled = {label: _fill(cabinet, label) for label in cabinet.columns}
    for label in stop.changed:
        filled[label] += _prove(cabinet, label, at)
    if random.random() < _TRIES_A_BUTTON_SHARE:
        code = random.choice(list(cabinet.buttons))
        column = cabinet.buttons[code][0]
        if column.stock:
            cabinet.test_vend(code, column, at)
    collected_minor, tubes_filled_minor = _cash(cabinet)
    leaves = cabinet.clock.shows(at + timedelta(minutes=random.randrange(12, 35)))
    board.end(DOOR_OPEN, leaves)
    board.clear_sold_out(leaves)
    board.end(COIN_JAM, leaves)
    board.serviced_at = leaves
    cabinet.coins_jammed = False
    done = Visit(
        at=cabinet.aware(at),
        driver_email=cabinet.machine.driver_email,
        fills=tuple(
            Fill(
                column=label,
                product_code=column.set_up.product_code,
                counted=counted[label],
                pulled=stop.pulled.get(label, 0),
                filled=filled[label],
            )
            for label, column in cabinet.columns.items()
        ),
        collected_minor=collected_minor,
        tubes_filled_minor=tubes_filled_minor,
        changed_columns=tuple(stop.changed),
    )
    cabinet.truth.visits.append(done)
    return done


def _change_over(cabinet: Cabinet, at: datetime, set_ups: Mapping[str, SetUp]) -> _Stop:
    stop = _Stop({}, [])
    for label, column in cabinet.columns.items():
        new = set_ups[label]
        if new == column.set_up:
            continue
        if new.product_code != column.set_up.product_code:
            stop.pulled[label] = column.stock
            stop.changed.append(label)
            column.stock = 0
            wrong = cabinet.case.wrong_program
            if wrong is not None and wrong.column == label:
                column.programmed = wrong.program
        if new.price_minor != column.set_up.price_minor:
            cabinet.board.prices_set_at = cabinet.clock.shows(at)
        column.set_up = new
    return stop


def _fill(cabinet: Cabinet, label: str) -> int:
    column = cabinet.columns[label]
    column.serviced()
    room = column.set_up.capacity - column.stock
    short = cabinet.random.random() < _TRUCK_SHORT_SHARE
    put_in = room // 3 if short else room
    column.stock += put_in
    return put_in


def _prove(cabinet: Cabinet, label: str, at: datetime) -> int:
    """Test vends of a changed column, and what is put back in their place.

    Where a wrong program was left behind, it was because nobody tried the column.
    """
    column = cabinet.columns[label]
    if column.programmed is not None:
        return 0
    code = next(code for code, columns in cabinet.buttons.items() if column in columns)
    before = column.stock
    for _ in range(min(_TEST_VENDS, column.stock)):
        cabinet.test_vend(code, column, at)
    put_back = before - column.stock
    column.stock = before
    column.serviced()
    return put_back


def _cash(cabinet: Cabinet) -> tuple[int, int]:
    cash = cabinet.cash
    if cash is None:
        return 0, 0
    if cabinet.random.random() < _LETS_COINS_OUT_SHARE:
        cash.pay_out_by_hand(25, 2)
    collected_minor = cash.collect()
    filled_minor = cash.fill_tubes() if cash.tubes_minor < TOP_UP_BELOW_MINOR else 0
    return collected_minor, filled_minor
