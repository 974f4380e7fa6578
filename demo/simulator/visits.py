"""A driver at the machine: count, change over, fill, test, take the cash, leave change."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from demo.business.shapes import SetUp
from demo.simulator.cabinet import COIN_JAM, Cabinet
from demo.simulator.cash import TOP_UP_BELOW_MINOR
from demo.simulator.columns import Column
from demo.simulator.goods import Lines, units
from demo.simulator.rounds import Stop
from demo.simulator.trucks import Filled, Supply
from demo.simulator.truth import Fill, Visit

DOOR_OPEN = "EGS"
# A changed column is dropped this often, so that front and rear, first and last are all seen.
_TEST_VENDS = 4
# Now and then a driver counts or notes one too many or too few, tries a button, lets coins out.
_MISCOUNTS_SHARE = 0.015
_MISNOTES_SHARE = 0.003
_TRIES_A_BUTTON_SHARE = 0.05
_LETS_COINS_OUT_SHARE = 0.04


@dataclass
class _Done:
    pulled: dict[str, Lines]
    changed: list[str]


def visit(
    cabinet: Cabinet,
    stop: Stop,
    set_ups: Mapping[str, SetUp],
    *,
    supply: Supply,
    next_visit: date,
    counts: Callable[[int], int] = lambda minor: minor,
) -> Visit:
    """Everything done at a stop, but for reading; `set_ups` are those to leave behind.

    `counts` gives what is found in a bag when it is counted, of what went into it.
    """
    at, board, random = stop.arrives, cabinet.board, cabinet.random
    board.begin(DOOR_OPEN, cabinet.clock.shows(at))
    counted = {label: column.stock for label, column in cabinet.columns.items()}
    was = {label: column.set_up.product_code for label, column in cabinet.columns.items()}
    done = _change_over(cabinet, at, set_ups)
    for taken_out in done.pulled.values():
        supply.give(taken_out)
    old = {label: one.take_out_of_date(next_visit) for label, one in cabinet.columns.items()}
    lines = {label: _fill(column, supply) for label, column in cabinet.columns.items()}
    put_back = {label: _prove(cabinet, label, at) for label in done.changed}
    if random.random() < _TRIES_A_BUTTON_SHARE:
        label, again = _try_a_button(cabinet, at)
        put_back[label] = put_back.get(label, 0) + again
    collected_minor, tubes_filled_minor = _cash(cabinet)
    leaves = cabinet.clock.shows(stop.leaves)
    board.end(DOOR_OPEN, leaves)
    board.clear_sold_out(leaves)
    board.end(COIN_JAM, leaves)
    board.serviced_at = leaves
    cabinet.coins_jammed = False
    noted = {
        label: Filled(
            column.set_up.product_code,
            units(lines[label]),
            _noted(units(lines[label]), column.set_up.capacity, supply, _MISNOTES_SHARE),
        )
        for label, column in cabinet.columns.items()
    }
    spoiled = supply.drops_one()
    supply.note(cabinet.machine.asset_tag, cabinet.aware(at), noted, spoiled)
    visited = Visit(
        at=cabinet.aware(at),
        leaves=cabinet.aware(stop.leaves),
        driver_email=cabinet.machine.driver_email,
        truck=supply.name,
        fills=tuple(
            Fill(
                column=label,
                product_code=column.set_up.product_code,
                counted=counted[label],
                pulled=units(done.pulled.get(label, ())),
                filled=noted[label].units,
                was=was[label],
                out_of_date=units(old[label]),
                put_back=put_back.get(label, 0),
                lines=lines[label],
                pulled_lines=done.pulled.get(label, ()),
                out_of_date_lines=old[label],
                noted_counted=_noted_count(counted[label], column, supply, done, old[label]),
                noted_filled=noted[label].noted,
            )
            for label, column in cabinet.columns.items()
        ),
        collected_minor=collected_minor,
        tubes_filled_minor=tubes_filled_minor,
        changed_columns=tuple(done.changed),
        seal=supply.seal() if collected_minor else "",
        spoiled=spoiled,
        counted_minor=counts(collected_minor),
    )
    cabinet.truth.visits.append(visited)
    return visited


def _noted(count: int, most: int, supply: Supply, share: float) -> int:
    """What the driver writes down: now and then one more or one less."""
    if supply.random.random() >= share or not count:
        return count
    return min(most, max(0, count + supply.random.choice((-1, 1))))


def _noted_count(count: int, column: Column, supply: Supply, done: _Done, old: Lines) -> int:
    # What is taken out is counted in the hand.
    if column.label in done.pulled or old:
        return count
    return _noted(count, column.set_up.capacity, supply, _MISCOUNTS_SHARE)


def _change_over(cabinet: Cabinet, at: datetime, set_ups: Mapping[str, SetUp]) -> _Done:
    done = _Done({}, [])
    for label, column in cabinet.columns.items():
        new = set_ups[label]
        if new == column.set_up:
            continue
        if new.product_code != column.set_up.product_code:
            done.pulled[label] = column.take_all()
            done.changed.append(label)
            wrong = cabinet.case.wrong_program
            if wrong is not None and wrong.column == label:
                column.programmed = wrong.program
        if new.price_minor != column.set_up.price_minor:
            cabinet.board.prices_set_at = cabinet.clock.shows(at)
        column.set_up = new
    return done


def _fill(column: Column, supply: Supply) -> Lines:
    column.serviced()
    room = column.set_up.capacity - column.stock
    lines = supply.take(column.set_up.product_code, room)
    column.put(lines)
    return lines


def _prove(cabinet: Cabinet, label: str, at: datetime) -> int:
    """Test vends of a changed column, all laid in again; how many they were.

    Where a wrong program was left behind, it was because nobody tried the column.
    """
    column = cabinet.columns[label]
    if column.programmed is not None:
        return 0
    code = next(code for code, columns in cabinet.buttons.items() if column in columns)
    as_it_was = column.lines()
    for _ in range(min(_TEST_VENDS, column.stock)):
        cabinet.test_vend(code, column, at)
    put_back = column.put_back(as_it_was)
    column.serviced()
    return put_back


def _try_a_button(cabinet: Cabinet, at: datetime) -> tuple[str, int]:
    code = cabinet.random.choice(list(cabinet.buttons))
    column = cabinet.buttons[code][0]
    as_it_was = column.lines()
    if column.stock and not column.jammed:
        cabinet.test_vend(code, column, at)
    return column.label, column.put_back(as_it_was)


def _cash(cabinet: Cabinet) -> tuple[int, int]:
    cash = cabinet.cash
    if cash is None:
        return 0, 0
    if cabinet.random.random() < _LETS_COINS_OUT_SHARE:
        cash.pay_out_by_hand(25, 2)
    collected_minor = cash.collect()
    filled_minor = cash.fill_tubes() if cash.tubes_minor < TOP_UP_BELOW_MINOR else 0
    return collected_minor, filled_minor
