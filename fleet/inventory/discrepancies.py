"""What somebody found in a place, and what has to move so that the ledger says the same."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from fleet.compute.lots import Held, take
from fleet.machines.models import Product

from .actions.errors import NotEnough
from .book import Book
from .models import CountLine, Lot, StockPlace
from .posting import Line, fingerprint_of

Found = Mapping[tuple[Product, Lot | None], int]
"""Units by product and lot. Lot None: of no known lot, or of lots that nobody told apart."""


@dataclass(frozen=True, slots=True)
class Asked:
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


def differences(
    book: Book,
    asked: Asked,
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
