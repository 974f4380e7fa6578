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

from fleet.machines.models import Column, Product
from people import audit, bulk
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Person

from ..book import open_book
from ..discrepancies import Asked, Found, differences
from ..models import CountLine, Movement, StockCount, StockPlace
from ..posting import Entry, Line, Posting, enter, lock_keys, write
from . import places
from .errors import KeyReused
from .ledger import MOST, moment_problem
from .moves import set_ups_at


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


def _asked_of(rounds: Sequence[CountedAt]) -> list[Asked]:
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
            asked.append(Asked(at[one.column.pk], found, told.counted_at, is_whole=True))
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
    asked = Asked(place, counted, counted_at, is_whole=whole)
    (found,) = _count([asked], actor=actor, now=now, key=key, note=note)
    return found


def _count(
    asked: Sequence[Asked],
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
        for line, moved in differences(book, one, told, unexplained):
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
    bulk.write(counts)
    for line in lines:
        line.count = line.count  # takes up the key that its count has only just got
    bulk.write(lines)
    left = [
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
    ]
    bulk.write(left)


def _require(asked: Sequence[Asked], now: datetime, key: str | None) -> None:
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


def _known(asked: Sequence[Asked], actor: Person | None, key: str) -> list[StockCount]:
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
