"""What the books should say: kept from what people noted alone, apart from the service's ledger."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import NamedTuple

from demo.business.shapes import Business
from demo.simulator.goods import Lines
from demo.simulator.happenings import (
    COLUMN,
    TRUCK,
    WAREHOUSE,
    Counted,
    Happening,
    Loaded,
    Opened,
    Place,
    Received,
    Unloaded,
    Wasted,
)
from demo.simulator.truth import Truth, Visit

Books = dict[Place, Counter[str]]


class _Note(NamedTuple):
    """Something noted at a place: so many more of each product, or what was counted of it."""

    at: datetime
    place: Place
    more: Counter[str]
    counted: dict[str, int] | None = None


def noted_books(business: Business, truth: Truth) -> Books:
    """Units by product in every warehouse, truck and column, when all notes have been taken."""
    books: Books = defaultdict(Counter)
    for note in sorted(_notes(business, truth), key=lambda note: note.at):
        book = books[note.place]
        if note.counted is not None:
            book.update({code: units - book[code] for code, units in note.counted.items()})
        for code, units in note.more.items():
            book[code] += units
    return {place: +book for place, book in books.items()}


def _notes(business: Business, truth: Truth) -> Iterator[_Note]:
    home = {one.name: Place(WAREHOUSE, one.warehouse_code) for one in business.vehicles}
    for one in truth.happenings:
        yield from _outside(one, home)
    for machine in business.machines:
        for label, lines in truth[machine.asset_tag].opened.items():
            place = Place(COLUMN, machine.asset_tag, label)
            starts = min(one.at for one in truth.happenings if isinstance(one, Opened))
            yield _Note(starts, place, _units(lines))
        for visit in truth[machine.asset_tag].visits:
            yield from _at_machine(machine.asset_tag, visit)


def _outside(one: Happening, home: dict[str, Place]) -> Iterator[_Note]:
    match one:
        case Opened():
            yield _Note(one.at, one.place, _units(one.lines))
        case Received():
            came = _units(tuple((line.lot, line.received) for line in one.lines))
            yield _Note(one.at, Place(WAREHOUSE, one.order.warehouse_code), came)
        case Loaded() | Unloaded():
            moved = _units(one.lines)
            here, there = home[one.truck], Place(TRUCK, one.truck)
            if isinstance(one, Unloaded):
                here, there = there, here
            yield _Note(one.at, here, _less(moved))
            yield _Note(one.at, there, moved)
        case Wasted():
            yield _Note(one.at, one.place, _less(_units(one.lines)))
        case Counted():
            counted: Counter[str] = Counter()
            for line in one.lines:
                counted[line.product_code] += line.noted
            yield _Note(one.at, one.place, Counter(), dict(counted))


def _at_machine(tag: str, visit: Visit) -> Iterator[_Note]:
    filled = visit.at + timedelta(minutes=1)
    truck: Counter[str] = Counter()
    for fill in visit.fills:
        place = Place(COLUMN, tag, fill.column)
        out = fill.pulled + fill.out_of_date
        yield _Note(
            visit.at,
            place,
            Counter({fill.was: -out} if out else {}),
            {fill.was: fill.noted_counted},
        )
        if fill.pulled:
            yield _Note(visit.at, Place(TRUCK, visit.truck), Counter({fill.was: fill.pulled}))
        yield _Note(filled, place, Counter({fill.product_code: fill.noted_filled}))
        truck[fill.product_code] += fill.noted_filled
    yield _Note(filled, Place(TRUCK, visit.truck), _less(truck))


def _units(lines: Lines) -> Counter[str]:
    sums: Counter[str] = Counter()
    for lot, count in lines:
        sums[lot.product_code] += count
    return sums


def _less(counts: Counter[str]) -> Counter[str]:
    return Counter({code: -count for code, count in counts.items()})
