"""How something that happened becomes movements: lots are picked, and later counts still stand.

Whatever is entered at a moment before a count that was recorded already would shift what the count
found. So the opposite is entered at the moment of that count, against what nobody can explain: what
was counted last is what the place held, in whatever order people's records arrive.
"""

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import Enum
from typing import Final

from django.db import connection

from fleet.compute.lots import Arrival, left_after, take
from fleet.machines.models import Product
from people import audit, bulk
from people.models import AuditEntry, Business, Person

from .actions.errors import NotEnough
from .book import Book, Counted
from .models import Lot, Movement, MovementLine, StockPlace

Reason = Movement.Reason
TO_BE_SOLD = (Reason.LOAD, Reason.FILL)
"""Reasons for which nobody means to pick what is out of date."""


class AnyLot(Enum):
    """Stands for a lot that the person did not name."""

    ANY = "any"


ANY: Final = AnyLot.ANY


@dataclass(frozen=True, slots=True)
class Line:
    """So many of a product from one place to another.

    `lot` ANY: out of a place of ours the lots leave as they would, first expired first out of a
    warehouse or a truck, first in first out of a column. None: units that bear no known lot.
    """

    product: Product
    quantity: int
    from_place: StockPlace
    to_place: StockPlace
    lot: Lot | AnyLot | None = ANY
    unit_cost: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Posting:
    """One happening, as somebody tells it."""

    reason: str
    lines: Sequence[Line]
    happened_at: datetime
    key: str | None = None
    corrects: Movement | None = None
    waste_reason: str = ""
    note: str = ""

    def fingerprint(self) -> str:
        """SHA-256 of what is asked, hex; the same for the same happening sent again."""
        return fingerprint_of(
            self.reason,
            self.waste_reason,
            self.happened_at.timestamp(),
            None if self.corrects is None else self.corrects.pk,
            [
                [
                    line.product.pk,
                    line.quantity,
                    line.from_place.pk,
                    line.to_place.pk,
                    "any" if isinstance(line.lot, AnyLot) else line.lot and line.lot.pk,
                    None if line.unit_cost is None else str(line.unit_cost.normalize()),
                ]
                for line in self.lines
            ],
        )


@dataclass(slots=True)
class Entry:
    """A movement about to be written, with its lines."""

    movement: Movement
    lines: list[MovementLine] = field(default_factory=list)


def fingerprint_of(*asked: object) -> str:
    """SHA-256 of plain values, hex."""
    return hashlib.sha256(json.dumps(asked, separators=(",", ":")).encode()).hexdigest()


def lock_keys(actor: Person | None, keys: Iterable[str]) -> None:
    """Hold each of a person's keys until the transaction ends, so that a twin waits and then finds
    what the first one wrote."""
    owner = "" if actor is None else actor.pk
    numbers = sorted(
        int.from_bytes(
            hashlib.sha256(f"stock {owner} {key}".encode()).digest()[:8], "big", signed=True
        )
        for key in set(keys)
    )
    if numbers:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT pg_advisory_xact_lock(n) FROM unnest(%s::bigint[]) AS n", [numbers]
            )


def enter(
    book: Book, posting: Posting, *, unexplained: StockPlace, actor: Person | None, now: datetime
) -> list[Entry]:
    """Enter one happening in the book: its movement first, then what later counts make of it.

    Raises NotEnough.
    """
    entry = Entry(
        Movement(
            reason=posting.reason,
            waste_reason=posting.waste_reason,
            actor=actor,
            happened_at=posting.happened_at,
            recorded_at=now,
            key=posting.key,
            fingerprint="" if posting.key is None else posting.fingerprint(),
            corrects=posting.corrects,
            note=posting.note,
        )
    )
    for line in posting.lines:
        for lot, quantity in _picked(book, line, posting):
            if isinstance(line.lot, Lot):
                book.dates.setdefault(line.lot.pk, line.lot.best_before)
            _move(book, entry, line, lot, quantity)
    return [entry, *_counts_stand(book, entry, unexplained, actor=actor, now=now)]


def write(book: Book, entries: Sequence[Entry], *, actor: Person | None, now: datetime) -> None:
    """Write movements, their lines, the levels and the audit entries: few statements for many."""
    told = [one.movement for one in entries if one.movement.because_of is None]
    following = [one.movement for one in entries if one.movement.because_of is not None]
    bulk.write(told)
    for movement in following:
        # Takes up the key that its cause has only just got.
        movement.because_of = movement.because_of
    bulk.write(following)
    for entry in entries:
        for line in entry.lines:
            line.movement = entry.movement
    bulk.write([line for entry in entries for line in entry.lines])
    book.write()
    entries_left = [
        AuditEntry(
            **audit.entry_values(
                actor=actor,
                verb=f"post {movement.get_reason_display()}",
                row=movement,
                now=now,
                after=audit.values(movement),
                reason=movement.note,
            )
        )
        for movement in [*told, *following]
    ]
    bulk.write(entries_left)


def _picked(book: Book, line: Line, posting: Posting) -> list[tuple[int | None, int]]:
    """The lots that a line moves, with the units of each. Raises NotEnough."""
    named = None if isinstance(line.lot, AnyLot) or line.lot is None else line.lot.pk
    place, product, moment = line.from_place, line.product, posting.happened_at
    if not place.is_held:
        return [(named, line.quantity)]
    # Where somebody counted later the count stands, and what matters is what was there before it.
    counted = book.counts_after(place.pk, product.pk, moment)
    held = book.at(place.pk, product.pk, moment) if counted else book.now(place.pk, product.pk)
    is_column = place.kind == StockPlace.Kind.COLUMN
    if not isinstance(line.lot, AnyLot):
        if not is_column and held.get(named, 0) < line.quantity:
            raise NotEnough(
                place=place,
                product=product,
                asked=line.quantity,
                held=max(held.get(named, 0), 0),
                lot=str(line.lot or "unknown"),
            )
        return [(named, line.quantity)]
    order = book.order(
        place.pk, product.pk, held, at=moment, to_sell_on=_to_sell_on(book, posting, held)
    )
    owed = -sum(quantity for quantity in held.values() if quantity < 0)
    taken, missing = take(left_after(order, owed) if owed else order, line.quantity)
    if missing and not is_column:
        raise NotEnough(
            place=place,
            product=product,
            asked=line.quantity,
            held=sum(max(quantity, 0) for quantity in held.values()),
        )
    units: dict[int | None, int] = defaultdict(int)
    for lot, quantity in [*taken, *([(None, missing)] if missing else [])]:
        units[lot] += quantity
    return list(units.items())


def _to_sell_on(book: Book, posting: Posting, held: Mapping[int | None, int]) -> date | None:
    """The day on which what is picked is to be sold, where a lot may be out of date by then."""
    if posting.reason not in TO_BE_SOLD:
        return None
    dates = [book.dates.get(lot) for lot, n in held.items() if lot is not None and n > 0]
    utc = posting.happened_at.astimezone(UTC).date()
    if not any(one is not None and one <= utc for one in dates):
        return None
    return posting.happened_at.astimezone(Business.the().time_zone).date()


def _move(book: Book, entry: Entry, line: Line, lot: int | None, quantity: int) -> None:
    at = entry.movement.happened_at
    entry.lines.append(
        MovementLine(
            product=line.product,
            lot_id=lot,
            from_place=line.from_place,
            to_place=line.to_place,
            quantity=quantity,
            unit_cost=line.unit_cost,
            happened_at=at,
        )
    )
    if line.from_place.is_held:
        book.add(line.from_place.pk, line.product.pk, lot, -quantity, at)
    if line.to_place.is_held:
        book.add(line.to_place.pk, line.product.pk, lot, quantity, at)
        if line.from_place.is_held:
            book.arrived(line.to_place.pk, line.product.pk, Arrival(lot, quantity), at)


def _counts_stand(
    book: Book,
    entry: Entry,
    unexplained: StockPlace,
    *,
    actor: Person | None,
    now: datetime,
) -> list[Entry]:
    """What has to be entered at later counts, so that each still finds what it found."""
    changes: dict[tuple[int, int], dict[int | None, int]] = defaultdict(lambda: defaultdict(int))
    products: dict[int, Product] = {}
    for line in entry.lines:
        products[line.product_id] = line.product
        for place, sign in ((line.from_place, -1), (line.to_place, 1)):
            if place.is_held:
                changes[(place.pk, line.product_id)][line.lot_id] += sign * line.quantity
    moment = entry.movement.happened_at
    by_moment: dict[datetime, Entry] = {}
    for (place_id, product_id), change in changes.items():
        place, product = book.places[place_id], products[product_id]
        left = dict(change)
        for count in book.counts_after(place_id, product_id, moment):
            back = _put_right(book, place_id, product_id, left, count)
            if not back:
                continue
            entered = by_moment.setdefault(
                count.at,
                Entry(
                    Movement(
                        reason=Reason.COUNT,
                        actor=actor,
                        happened_at=count.at,
                        recorded_at=now,
                        because_of=entry.movement,
                    )
                ),
            )
            for lot, quantity in back.items():
                left[lot] = left.get(lot, 0) + quantity
                source, target = (place, unexplained) if quantity < 0 else (unexplained, place)
                _move(
                    book, entered, Line(product, abs(quantity), source, target), lot, abs(quantity)
                )
            if not any(left.values()):
                break
        _require_none_below_zero(book, place, product)
    return list(by_moment.values())


def _put_right(
    book: Book, place: int, product: int, left: Mapping[int | None, int], count: Counted
) -> dict[int | None, int]:
    """Units by lot to enter at a count so that it finds again what it found.

    A count that told lots apart wants each lot back. Any other wants the sum back; units that it
    found without a lot are then the first to go, since what came late tells which they were.
    """
    if count.by_lot:
        return {lot: -quantity for lot, quantity in left.items() if quantity}
    total, back = sum(left.values()), defaultdict[int | None, int](int)
    if total > 0:
        found = min(
            book.at(place, product, count.at).get(None, 0),
            book.now(place, product).get(None, 0),
            total,
        )
        if found > 0:
            back[None] -= found
            total -= found
    for lot, quantity in left.items():
        if quantity * total > 0:
            part = min(abs(quantity), abs(total)) * (1 if total > 0 else -1)
            back[lot] -= part
            total -= part
    return {lot: quantity for lot, quantity in back.items() if quantity}


def _require_none_below_zero(book: Book, place: StockPlace, product: Product) -> None:
    if place.kind == StockPlace.Kind.COLUMN:
        return
    held = book.now(place.pk, product.pk)
    short = min(held.values(), default=0)
    if short < 0:
        raise NotEnough(place=place, product=product, asked=-short, held=0)
