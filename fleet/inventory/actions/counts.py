"""Counting: what somebody found puts the ledger right from that moment on.

Counts may be told late and out of order. What the ledger said is taken as of the moment of the
count, the difference goes to what nobody can explain at that moment, and counts that were made
later still stand.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from fleet.compute.lots import Held, take
from fleet.machines.models import Column, Product
from people import audit
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Person

from ..book import Book, open_book
from ..models import CountLine, Lot, Movement, StockCount, StockPlace
from ..posting import Entry, Line, Posting, enter, fingerprint_of, lock_keys, write
from . import places
from .errors import KeyReused, NotEnough
from .ledger import MOST, moment_problem
from .moves import set_ups_at

Found = Mapping[tuple[Product, Lot | None], int]


@dataclass(frozen=True, slots=True)
class ColumnCount:
    """What was found in one column: so many of what it was set for, or so many of each product."""

    column: Column
    counted: int | Mapping[Product, int]


@dataclass(frozen=True, slots=True)
class CountedAt:
    """What somebody found in columns at one moment."""

    counted_at: datetime
    counts: Sequence[ColumnCount]


@dataclass(frozen=True, slots=True)
class _Asked:
    """One place, what was found there and when, and whether nothing else was."""

    place: StockPlace
    found: Found
    counted_at: datetime
    is_whole: bool

    def fingerprint(self) -> str:
        lines = sorted(
            [product.pk, 0 if lot is None else lot.pk, n]
            for (product, lot), n in self.found.items()
        )
        return fingerprint_of(self.place.pk, self.counted_at.timestamp(), self.is_whole, lines)


def count_column(
    *,
    column: Column,
    counted: int | Mapping[Product, int],
    actor: Person | None,
    counted_at: datetime,
    now: datetime,
    key: str | None = None,
    note: str = "",
) -> StockCount:
    """Record what was found in a column. Raises as `count_columns` does."""
    (found,) = count_columns(
        counts=[ColumnCount(column, counted)],
        actor=actor,
        counted_at=counted_at,
        now=now,
        key=key,
        note=note,
    )
    return found


@transaction.atomic
def count_columns(
    *,
    counts: Sequence[ColumnCount],
    actor: Person | None,
    counted_at: datetime,
    now: datetime,
    key: str | None = None,
    note: str = "",
) -> list[StockCount]:
    """Record what was found in columns of a machine at one moment, with one movement for all.

    A product that is not told was not there. The same key again gives the same counts. Raises
    Unable "no_set_up" when a bare number is told of a column that was set for nothing then,
    KeyReused, Unacceptable.
    """
    asked = _asked_of([CountedAt(counted_at, counts)])
    return _count(asked, actor=actor, now=now, key=key, note=note)


@transaction.atomic
def count_round(
    *, rounds: Sequence[CountedAt], actor: Person | None, now: datetime, note: str = ""
) -> list[StockCount]:
    """Record what somebody found at several machines, each at its moment, no column twice.

    All or none; a movement for each moment. The statements sent to the database do not grow with
    the number of machines where the products are told. Raises as `count_columns` does.
    """
    return _count(_asked_of(rounds), actor=actor, now=now, key=None, note=note)


def _asked_of(rounds: Sequence[CountedAt]) -> list[_Asked]:
    at = places.column_places(one.column for told in rounds for one in told.counts)
    asked = []
    for told in rounds:
        bare = [one.column for one in told.counts if not isinstance(one.counted, Mapping)]
        set_ups = set_ups_at(bare, told.counted_at) if bare else {}
        for one in told.counts:
            if isinstance(one.counted, Mapping):
                found: Found = {(product, None): n for product, n in one.counted.items()}
            else:
                set_up = set_ups.get(one.column.pk)
                if set_up is None:
                    raise Unable(
                        f"{one.column} was not set for any product at "
                        f"{told.counted_at.isoformat()}; say which products were counted",
                        code="no_set_up",
                    )
                found = {(set_up.product, None): one.counted}
            asked.append(_Asked(at[one.column.pk], found, told.counted_at, is_whole=True))
    return asked


@transaction.atomic
def count_place(
    *,
    place: StockPlace,
    counted: Found,
    actor: Person | None,
    counted_at: datetime,
    now: datetime,
    key: str | None = None,
    whole: bool = False,
    note: str = "",
) -> StockCount:
    """Record what was found in a warehouse, truck or column, by product and lot.

    A product whose only entry has no lot was counted without telling lots apart; of one whose lots
    are told, other lots were not there. With `whole`, products that are not told were not there;
    otherwise nobody looked for them. Raises as `count_columns` does, and NotEnough when what was
    taken out later contradicts the count.
    """
    if not place.is_held:
        message = f"{place} is no place of ours and cannot be counted"
        raise Unacceptable(message, fields={"place": message})
    asked = _Asked(place, counted, counted_at, is_whole=whole)
    (found,) = _count([asked], actor=actor, now=now, key=key, note=note)
    return found


def _count(
    asked: Sequence[_Asked],
    *,
    actor: Person | None,
    now: datetime,
    key: str | None,
    note: str,
) -> list[StockCount]:
    _require(asked, now, key)
    if key is not None:
        known = _known(asked, actor, key)
        if known:
            return known
    told = {product.pk: product for one in asked for product, _ in one.found}
    since = min(one.counted_at for one in asked)
    book = open_book([one.place for one in asked], None, since=since)
    book.expect_drops(book.levels)
    unheard = {product for _, product in book.levels} - told.keys()
    told |= Product.objects.in_bulk(unheard) if unheard else {}
    unexplained = places.the("unexplained")
    # A place that the ledger knows nothing of yet is not short of anything: it is opened.
    lines: dict[tuple[datetime, str], list[Line]] = defaultdict(list)
    counts: list[StockCount] = []
    counted: list[CountLine] = []
    for one in asked:
        count = StockCount(
            place=one.place,
            counted_at=one.counted_at,
            recorded_at=now,
            actor=actor,
            is_whole=one.is_whole,
            key=key,
            fingerprint="" if key is None else one.fingerprint(),
            note=note,
        )
        counts.append(count)
        for line, moved in _differences(book, one, told, unexplained):
            line.count = count
            counted.append(line)
            is_new = not book.products_in(one.place.pk)
            reason = Movement.Reason.OPENING if is_new else Movement.Reason.COUNT
            lines[one.counted_at, reason.value] += moved
    entries: list[Entry] = []
    for (moment, why), moved in sorted(lines.items(), key=lambda group: group[0]):
        if moved:
            posting = Posting(reason=why, lines=moved, happened_at=moment, note=note)
            entries += enter(book, posting, unexplained=unexplained, actor=actor, now=now)
    write(book, entries, actor=actor, now=now)
    _write_counts(counts, counted, entries, actor=actor, now=now)
    return counts


def _write_counts(
    counts: Sequence[StockCount],
    lines: Sequence[CountLine],
    entries: Sequence[Entry],
    *,
    actor: Person | None,
    now: datetime,
) -> None:
    moved = {
        line.from_place_id if line.from_place.is_held else line.to_place_id: entry.movement
        for entry in entries
        if entry.movement.because_of is None
        for line in entry.lines
    }
    for count in counts:
        count.movement = moved.get(count.place_id)
    StockCount.objects.bulk_create(counts)
    for line in lines:
        line.count = line.count  # takes up the key that its count has only just got
    CountLine.objects.bulk_create(lines)
    AuditEntry.objects.bulk_create(
        AuditEntry(
            **audit.entry_values(
                actor=actor,
                verb="count",
                row=count,
                now=now,
                after=audit.values(count),
                reason=count.note,
            )
        )
        for count in counts
    )


def _differences(
    book: Book,
    asked: _Asked,
    products: Mapping[int, Product],
    unexplained: StockPlace,
) -> list[tuple[CountLine, list[Line]]]:
    """A line for each thing counted, with what has to move so that the ledger says the same."""
    lots: dict[int, dict[Lot | None, int]] = {}
    for (product, lot), n in asked.found.items():
        lots.setdefault(product.pk, {})[lot] = n
    place, counted_at = asked.place, asked.counted_at
    if asked.is_whole:
        for product_id in book.products_in(place.pk):
            if product_id not in lots and any(book.at(place.pk, product_id, counted_at).values()):
                lots[product_id] = {None: 0}
    found: list[tuple[CountLine, list[Line]]] = []
    for product_id, counted in lots.items():
        product = products[product_id]
        held = book.at(place.pk, product_id, counted_at)
        if set(counted) == {None}:
            n = counted[None]
            changes = _of_total(book, place, product, held, n, counted_at)
            found.append(
                (
                    _line(product, None, n, sum(held.values()), by_lot=False),
                    _moved(book, place, product, changes, unexplained),
                )
            )
            continue
        keys = {lot: (None if lot is None else lot.pk) for lot in counted}
        missed = {pk for pk, n in held.items() if n} - set(keys.values())
        unseen = Lot.objects.in_bulk([pk for pk in missed if pk is not None])
        absent = {unseen[pk] if pk is not None else None: 0 for pk in missed}
        for lot, n in (counted | absent).items():
            pk = None if lot is None else lot.pk
            there = held.get(pk, 0)
            found.append(
                (
                    _line(product, lot, n, there, by_lot=True),
                    _moved(book, place, product, {pk: n - there}, unexplained),
                )
            )
    return found


def _of_total(
    book: Book,
    place: StockPlace,
    product: Product,
    held: Mapping[int | None, int],
    counted: int,
    counted_at: datetime,
) -> dict[int | None, int]:
    """Changes by lot after which the place holds `counted`, none of them below zero.

    What is missing left as things leave there; what is too many bears no known lot.
    """
    changes = {lot: -n for lot, n in held.items() if n < 0}
    missing = sum(n for n in held.values() if n > 0) - counted
    if missing < 0:
        changes[None] = changes.get(None, 0) - missing
        return changes
    order = book.order(place.pk, product.pk, held, at=counted_at)
    if place.kind != StockPlace.Kind.COLUMN and not book.counts_after(
        place.pk, product.pk, counted_at
    ):
        # What was taken since was there: a lot cannot have been missing that was picked later.
        now = book.now(place.pk, product.pk)
        order = [
            Held(one.lot, min(one.quantity, max(now.get(one.lot, 0), 0)), one.best_before)
            for one in order
        ]
    taken, contradicted = take(order, missing)
    if contradicted:
        raise NotEnough(
            place=place,
            product=product,
            asked=sum(held.values()) - sum(book.now(place.pk, product.pk).values()),
            held=counted,
        )
    for lot, n in taken:
        changes[lot] = changes.get(lot, 0) - n
    return changes


def _line(product: Product, lot: Lot | None, counted: int, book: int, *, by_lot: bool) -> CountLine:
    return CountLine(
        product=product,
        lot=lot,
        by_lot=by_lot,
        counted=counted,
        book=book,
        difference=counted - book,
    )


def _moved(
    book: Book,
    place: StockPlace,
    product: Product,
    changes: Mapping[int | None, int],
    unexplained: StockPlace,
) -> list[Line]:
    lines = []
    for lot_id, n in changes.items():
        if not n:
            continue
        lot = None
        if lot_id is not None:
            lot = Lot(pk=lot_id, product=product, best_before=book.dates.get(lot_id))
        source, target = (place, unexplained) if n < 0 else (unexplained, place)
        lines.append(Line(product, abs(n), source, target, lot))
    return lines


def _require(asked: Sequence[_Asked], now: datetime, key: str | None) -> None:
    wrong: dict[str, str] = {}
    for moment in dict.fromkeys(one.counted_at for one in asked):
        wrong |= moment_problem("counted_at", moment, now)
    if not asked or not all(one.found or one.is_whole for one in asked):
        wrong["counted"] = "nothing is said to have been counted"
    if key is not None and not 1 <= len(key) <= 200:
        wrong["key"] = "a key has 1 to 200 characters"
    if len({one.place.pk for one in asked}) < len(asked):
        wrong["counts"] = "a column is told twice; tell it once, with all its products"
    for one in asked:
        for (product, lot), n in one.found.items():
            if isinstance(n, bool) or not isinstance(n, int) or not 0 <= n <= MOST:
                wrong["counted"] = f"{one.place}: {n!r} {product} is no count from 0 to {MOST}"
            elif lot is not None and lot.product_id != product.pk:
                wrong["counted"] = f"{one.place}: lot {lot} is not of {product}"
    if wrong:
        raise Unacceptable("; ".join(f"{k}: {v}" for k, v in wrong.items()), fields=wrong)


def _known(asked: Sequence[_Asked], actor: Person | None, key: str) -> list[StockCount]:
    lock_keys(actor, [key])
    rows = {
        row.place_id: row
        for row in StockCount.objects.filter(actor=actor, key=key).select_related("place")
    }
    if not rows:
        return []
    same = set(rows) == {one.place.pk for one in asked} and all(
        rows[one.place.pk].fingerprint == one.fingerprint() for one in asked
    )
    if not same:
        raise KeyReused(key)
    return [rows[one.place.pk] for one in asked]
