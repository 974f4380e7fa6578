"""What places held at any moment, while a transaction adds to the ledger.

The one rule of locking: the places of ours that a posting touches are locked together, in the
order of their keys, before what they hold is read; so nobody decides on what another is taking.
The outside is not locked and has no levels: it never runs out.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Final

from django.db import connection

from fleet.compute.lots import Arrival, Held, first_expired, first_in

from .models import MovementLine, StockPlace

Key = tuple[int, int, int | None]
"""Place, product, lot."""


@dataclass(frozen=True, slots=True)
class Later:
    """A change of what a place holds, at its moment."""

    at: datetime
    lot: int | None
    quantity: int


@dataclass(frozen=True, slots=True)
class Counted:
    """A count that stands: what was found then is what the place held."""

    at: datetime
    count_id: int
    by_lot: bool


@dataclass(slots=True)
class Book:
    """Levels of the places held, and what happened there after `since`, with what is being added.

    Made by `open_book`, which locks; `write` puts the changed levels down.
    """

    places: Mapping[int, StockPlace]
    since: datetime
    levels: dict[tuple[int, int], dict[int | None, int]] = field(default_factory=dict)
    dates: dict[int, date | None] = field(default_factory=dict)
    later: dict[tuple[int, int], list[Later]] = field(default_factory=lambda: defaultdict(list))
    counts: dict[tuple[int, int], list[Counted]] = field(default_factory=lambda: defaultdict(list))
    whole_counts: dict[int, list[Counted]] = field(default_factory=lambda: defaultdict(list))
    changed: set[Key] = field(default_factory=set)
    _arrived: dict[tuple[int, int], list[tuple[datetime, Arrival]]] = field(default_factory=dict)

    def products_in(self, place: int) -> list[int]:
        """Products of which the place has or had a level."""
        return sorted(product for at, product in self.levels if at == place)

    def now(self, place: int, product: int) -> dict[int | None, int]:
        """Units by lot as the ledger leaves them after all that it knows."""
        return dict(self.levels.get((place, product), {}))

    def at(self, place: int, product: int, moment: datetime) -> dict[int | None, int]:
        """Units by lot when everything up to and at `moment` had happened."""
        held = self.now(place, product)
        for one in self.later.get((place, product), ()):
            if one.at > moment:
                held[one.lot] = held.get(one.lot, 0) - one.quantity
        return held

    def counts_after(self, place: int, product: int, moment: datetime) -> list[Counted]:
        """Later counts that say how much of the product there was, in order of time."""
        found = {one.count_id: one for one in self.whole_counts.get(place, ()) if one.at > moment}
        found |= {
            one.count_id: one for one in self.counts.get((place, product), ()) if one.at > moment
        }
        return sorted(found.values(), key=lambda one: (one.at, one.count_id))

    def add(self, place: int, product: int, lot: int | None, quantity: int, at: datetime) -> None:
        """Note what a line puts into the place, or takes out when below zero."""
        lots = self.levels.setdefault((place, product), {})
        lots[lot] = lots.get(lot, 0) + quantity
        self.changed.add((place, product, lot))
        if at > self.since:
            self.later[(place, product)].append(Later(at, lot, quantity))

    def order(
        self,
        place: int,
        product: int,
        held: Mapping[int | None, int],
        *,
        at: datetime,
        to_sell_on: date | None = None,
    ) -> list[Held]:
        """What is there in the order in which it leaves: a column drops, elsewhere people pick."""
        lots = [
            Held(lot, n, None if lot is None else self.dates.get(lot)) for lot, n in held.items()
        ]
        if self.places[place].kind != StockPlace.Kind.COLUMN:
            return first_expired(lots, to_sell_on=to_sell_on)
        if sum(one.quantity > 0 for one in lots) < 2:
            return [one for one in lots if one.quantity > 0]
        return first_in(lots, self.arrivals(place, product, until=at))

    def expect_drops(self, keys: Iterable[tuple[int, int]]) -> None:
        """Read in one query the order in which these columns drop, where they hold several lots."""
        wanted = [
            key
            for key in dict.fromkeys(keys)
            if key not in self._arrived
            and self.places[key[0]].kind == StockPlace.Kind.COLUMN
            and sum(quantity > 0 for quantity in self.levels.get(key, {}).values()) > 1
        ]
        if wanted:
            self._arrived |= load_arrivals(wanted)

    def arrivals(self, place: int, product: int, *, until: datetime) -> list[Arrival]:
        """What was put into a column up to a moment, the latest first."""
        if (place, product) not in self._arrived:
            self._arrived |= load_arrivals([(place, product)])
        return [one for at, one in self._arrived[(place, product)] if at <= until]

    def arrived(self, place: int, product: int, arrival: Arrival, at: datetime) -> None:
        """Note a fill of this transaction, if the column's arrivals were read already."""
        known = self._arrived.get((place, product))
        if known is not None:
            known.append((at, arrival))
            known.sort(key=lambda one: one[0], reverse=True)

    def write(self) -> None:
        """Put down the levels that changed, in one statement. The database judges them."""
        if not self.changed:
            return
        keys = sorted(self.changed, key=lambda key: (key[0], key[1], key[2] or 0))
        columns: list[Any] = [
            [place for place, _, _ in keys],
            [product for _, product, _ in keys],
            [lot for _, _, lot in keys],
            [self.levels[(place, product)][lot] for place, product, lot in keys],
            [self.places[place].kind == StockPlace.Kind.COLUMN for place, _, _ in keys],
        ]
        with connection.cursor() as cursor:
            cursor.execute(
                "INSERT INTO inventory_stocklevel"
                " (place_id, product_id, lot_id, quantity, is_estimate)"
                " SELECT * FROM"
                " unnest(%s::bigint[], %s::bigint[], %s::bigint[], %s::int[], %s::bool[])"
                " ON CONFLICT ON CONSTRAINT stock_level_once"
                " DO UPDATE SET quantity = EXCLUDED.quantity",
                columns,
            )
        self.changed.clear()


def open_book(
    places: Iterable[StockPlace], products: Collection[int] | None, *, since: datetime
) -> Book:
    """Lock the places of ours among `places` and read what they hold, and what came after `since`.

    `products` None reads all of them. In a transaction. Queries do not grow with what is there.
    """
    keys = sorted({place.pk for place in places if place.is_held})
    book = Book(places=lock_places(keys), since=since)
    if not keys:
        return book
    # Said in SQL: this is asked at every fill and every count, and takes the database less time
    # than putting the questions together.
    given = {"places": keys, "since": since, "all": products is None, "of": list(products or ())}
    for place, product, lot, quantity, best_before in _rows(LEVELS, given):
        book.levels.setdefault((place, product), {})[lot] = quantity
        if lot is not None:
            book.dates[lot] = best_before
    for place, product, lot, quantity, at in _rows(LATER, given):
        book.later[(place, product)].append(Later(at, lot, quantity))
    for place, count, at, is_whole, product, by_lot in _rows(COUNTS, given):
        if is_whole:
            book.whole_counts[place].append(Counted(at, count, by_lot=False))
        if product is not None:
            book.counts[(place, product)].append(Counted(at, count, by_lot))
    return book


def lock_places(keys: Sequence[int]) -> dict[int, StockPlace]:
    """Lock these places until the transaction ends; rows that name them may still be written."""
    rows = StockPlace.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=keys)
    return {place.pk: place for place in rows.order_by("pk")}


def load_arrivals(
    columns: Collection[tuple[int, int]],
) -> dict[tuple[int, int], list[tuple[datetime, Arrival]]]:
    """What was put into columns, by place and product, the latest first. One query.

    Only what a person put in: what a count found or what was settled afterwards says nothing of
    the order.
    """
    found: dict[tuple[int, int], list[tuple[datetime, Arrival]]] = {key: [] for key in columns}
    rows = (
        MovementLine.objects.filter(
            to_place__in={place for place, _ in columns},
            product__in={product for _, product in columns},
            from_place__kind__in=StockPlace.HELD,
        )
        .order_by("-happened_at", "-pk")
        .values_list("to_place", "product", "lot", "quantity", "happened_at")
    )
    for place, product, lot, quantity, at in rows:
        if (place, product) in found:
            found[(place, product)].append((at, Arrival(lot, quantity)))
    return found


def _rows(statement: str, given: Mapping[str, Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, given)
        return list(cursor.fetchall())


LEVELS: Final = """
SELECT v.place_id, v.product_id, v.lot_id, v.quantity, t.best_before
FROM inventory_stocklevel v LEFT JOIN inventory_lot t ON t.id = v.lot_id
WHERE v.place_id = ANY(%(places)s) AND (%(all)s OR v.product_id = ANY(%(of)s::bigint[]))
ORDER BY v.id
"""
LATER: Final = """
SELECT l.to_place_id, l.product_id, l.lot_id, l.quantity, l.happened_at
FROM inventory_movementline l
WHERE l.to_place_id = ANY(%(places)s) AND l.happened_at > %(since)s
  AND (%(all)s OR l.product_id = ANY(%(of)s::bigint[]))
UNION ALL
SELECT l.from_place_id, l.product_id, l.lot_id, -l.quantity, l.happened_at
FROM inventory_movementline l
WHERE l.from_place_id = ANY(%(places)s) AND l.happened_at > %(since)s
  AND (%(all)s OR l.product_id = ANY(%(of)s::bigint[]))
"""
COUNTS: Final = """
SELECT DISTINCT c.place_id, c.id, c.counted_at, c.is_whole, n.product_id, n.by_lot
FROM inventory_stockcount c LEFT JOIN inventory_countline n ON n.count_id = c.id
WHERE c.place_id = ANY(%(places)s) AND c.counted_at > %(since)s
ORDER BY c.id, n.product_id
"""
