"""What was missing at a count is settled: what reads say was sold between two counts was sold.

The count posted it to what nobody can explain. Here the sold part goes to customers, as lines of
the column at the moment of the count: back into the column from what nobody can explain, and out of
it to customers, so that the column's level stays. When intervals are cut again, what differs is
posted; nothing is changed. Whatever is left with what nobody can explain is shrinkage, a second
product that dropped for one payment, or a slip in a count.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import Min, Q

from fleet.inventory.actions import places
from fleet.inventory.actions.ledger import Line, Posting, post_all
from fleet.inventory.models import CountLine, Lot, Movement, MovementLine, StockCount, StockPlace
from fleet.machines.models import Column, Machine, Product, SetUp
from people.models import Person

from ..locks import lock_machines
from ..models import MachineInterval, SaleInterval

FRESH: Final = timedelta(hours=2)
"""A read so close to a count is of the same visit: nothing was sold between them that matters."""
WAITS: Final = timedelta(days=45)
"""So long a read may still come that tells what was missing; after it the missing was sold."""
SETTLED_AGAIN: Final = timedelta(days=91)
"""So far back counts are settled anew: a read that comes later than this changes them no more."""


@dataclass(frozen=True, slots=True)
class Piece:
    """What reads say one column sold in `[starts, ends)`; units None while that waits for a
    person's decision."""

    starts: datetime
    ends: datetime
    units: int | None


@dataclass(frozen=True, slots=True)
class Settled:
    """What was posted for one machine: units newly sold, and units that were not sold after all."""

    sold: int
    taken_back: int
    movements: tuple[int, ...] = ()


@dataclass(slots=True)
class _Told:
    """What is known of one column: its counts, its ledger, and its reads."""

    place: StockPlace
    counts: list[datetime] = field(default_factory=list)
    products: dict[datetime, set[int]] = field(default_factory=lambda: defaultdict(set))
    missing: dict[tuple[datetime, int], dict[int | None, int]] = field(
        default_factory=lambda: defaultdict(lambda: defaultdict(int))
    )
    posted: dict[tuple[datetime, int], dict[int | None, int]] = field(
        default_factory=lambda: defaultdict(lambda: defaultdict(int))
    )
    first: dict[int, datetime] = field(default_factory=dict)
    pieces: list[Piece] = field(default_factory=list)
    set_ups: list[SetUp] = field(default_factory=list)


@transaction.atomic
def settle_counts(
    machine: Machine,
    now: datetime,
    *,
    since: datetime | None = None,
    actor: Person | None = None,
) -> Settled:
    """Settle the counts of a machine's columns from `since` on (a quarter year when left out).

    Safe to run at any time and again: it posts only what differs from what it posted before. A
    machine of which no reads come is taken to have sold what was missing.
    """
    # Cutting intervals and settling what they say follow each other.
    machine = lock_machines([machine])[machine.pk]
    begins = since or now - SETTLED_AGAIN
    told = _load(machine, begins)
    reads = sorted(
        {
            moment
            for pair in MachineInterval.objects.filter(machine=machine).values_list(
                "starts_at", "ends_at"
            )
            for moment in pair
        }
    )
    lines: dict[datetime, list[Line]] = defaultdict(list)
    products = Product.objects.in_bulk(
        {product for one in told for known in one.products.values() for product in known}
    )
    lots = Lot.objects.in_bulk(
        {
            lot
            for one in told
            for by_lot in (*one.missing.values(), *one.posted.values())
            for lot in by_lot
            if lot is not None
        }
    )
    outside = places.outside("unexplained", "customer")
    sold = back = 0
    for one in told:
        for index, moment in enumerate(one.counts):
            if moment < begins:
                continue
            for product in sorted(one.products[moment]):
                wanted = _sold(one, index, product, reads, now)
                if wanted is None:
                    continue
                change = wanted - sum(one.posted[(moment, product)].values())
                sold, back = sold + max(change, 0), back + max(-change, 0)
                lines[moment] += _lines(one, moment, products[product], change, lots, outside)
    movements = post_all(
        postings=[
            Posting(reason=Movement.Reason.SALE, lines=those, happened_at=moment)
            for moment, those in sorted(lines.items())
            if those
        ],
        actor=actor,
        now=now,
    )
    return Settled(sold, back, tuple(movement.pk for movement in movements))


def machines_to_settle(*, since: datetime) -> list[int]:
    """Keys of the machines of which a column was counted since a moment, in order."""
    counted = StockCount.objects.filter(counted_at__gte=since, place__column__isnull=False)
    keys = counted.order_by().values_list("place__column__machine", flat=True).distinct()
    return sorted(key for key in keys if key is not None)


def machine_to_settle(key: int) -> Machine | None:
    """The machine, unless it went away since it was handed out."""
    return Machine.objects.filter(pk=key).first()


def _sold(
    one: _Told, index: int, product: int, reads: Sequence[datetime], now: datetime
) -> int | None:
    """Units of a product that left one column as sold between a count and the one before.

    None leaves what was posted as it is: nothing more is known yet.
    """
    ends = one.counts[index]
    starts = one.counts[index - 1] if index else one.first.get(product)
    if starts is None or starts >= ends:
        return None if starts is None else 0
    missing = max(
        sum(one.missing[(ends, product)].values()) + sum(one.posted[(ends, product)].values()), 0
    )
    within = [piece for piece in one.pieces if piece.starts < ends and piece.ends > starts]
    if not within:
        last = bisect_left(reads, starts) - 1
        is_read = bool(one.pieces) and last >= 0 and reads[last] > starts - WAITS
        return None if is_read and ends > now - WAITS else missing
    if any(piece.units is None for piece in within):
        return None
    sold = sum(
        _until(one.pieces, _at_read(until, reads)) - _until(one.pieces, _at_read(since, reads))
        for since, until in _held(one, product, starts, ends)
    )
    covered = within[0].starts <= starts + FRESH and within[-1].ends >= ends - FRESH
    # What no read told of by now no read will tell any more.
    return sold if covered or ends > now - WAITS else max(sold, missing)


def _held(
    one: _Told, product: int, starts: datetime, ends: datetime
) -> list[tuple[datetime, datetime]]:
    """The parts of a time in which the column was set for a product; all of it when never said."""
    if not any(row.starts_at < ends and (row.ends_at or ends) > starts for row in one.set_ups):
        return [(starts, ends)]
    return [
        (max(row.starts_at, starts), min(row.ends_at or ends, ends))
        for row in one.set_ups
        if row.product_id == product
        and row.starts_at < ends
        and (row.ends_at is None or row.ends_at > starts)
    ]


def _at_read(moment: datetime, reads: Sequence[datetime]) -> datetime:
    """The moment, or that of the read made at the same visit."""
    at = bisect_left(reads, moment)
    near = [read for read in reads[max(at - 1, 0) : at + 1] if abs(read - moment) <= FRESH]
    return min(near, key=lambda read: abs(read - moment), default=moment)


def _until(pieces: Iterable[Piece], moment: datetime) -> int:
    """Units sold up to a moment, whole: parts of a piece by time, so that parts add up to it."""
    units, part = 0, 0.0
    for piece in pieces:
        if piece.ends <= moment:
            units += piece.units or 0
        elif piece.starts < moment:
            part += (piece.units or 0) * ((moment - piece.starts) / (piece.ends - piece.starts))
    return units + round(part)


def _lines(
    one: _Told,
    moment: datetime,
    product: Product,
    change: int,
    lots: Mapping[int, Lot],
    outside: Mapping[str, StockPlace],
) -> list[Line]:
    """The lines that settle a change in what was sold: by the lots that the count missed, or by
    those that were posted as sold before."""
    left, lines = abs(change), []
    by_lot = (one.missing if change > 0 else one.posted)[(moment, product.pk)]
    for lot_id in sorted(by_lot, key=lambda lot: (lot is None, lot or 0)):
        units = min(left, max(by_lot[lot_id], 0))
        if units:
            left -= units
            lines += _pair(one, product, units, change, _lot(lots, lot_id), outside)
    if left:
        lines += _pair(one, product, left, change, None, outside)
    return lines


def _lot(lots: Mapping[int, Lot], key: int | None) -> Lot | None:
    return None if key is None else lots[key]


def _pair(
    one: _Told,
    product: Product,
    units: int,
    change: int,
    lot: Lot | None,
    outside: Mapping[str, StockPlace],
) -> list[Line]:
    unexplained, customer = outside["unexplained"], outside["customer"]
    if change > 0:
        return [
            Line(product, units, unexplained, one.place, lot),
            Line(product, units, one.place, customer, lot),
        ]
    return [
        Line(product, units, customer, one.place, lot),
        Line(product, units, one.place, unexplained, lot),
    ]


def _load(machine: Machine, begins: datetime) -> list[_Told]:
    columns = {column.pk: column for column in machine.columns.all()}
    found = {
        place.pk: _Told(place)
        for place in StockPlace.objects.filter(column__in=columns).order_by("pk")
    }
    _load_counts(found, begins)
    found = {pk: one for pk, one in found.items() if one.counts}
    if not found:
        return []
    since = min(min(one.counts) for one in found.values())
    _load_ledger(found, since)
    _load_first(found)
    earliest = min([since, *(moment for one in found.values() for moment in one.first.values())])
    _load_reads(found, columns, earliest)
    return list(found.values())


def _load_counts(found: Mapping[int, _Told], begins: datetime) -> None:
    """The counts from `begins` on of each place, and the one before them."""
    before = (
        StockCount.objects.filter(place__in=found, counted_at__lt=begins)
        .order_by("place_id", "-counted_at", "-pk")
        .distinct("place_id")
    )
    counts = StockCount.objects.filter(
        Q(counted_at__gte=begins) | Q(pk__in=[count.pk for count in before]), place__in=found
    )
    moments: dict[int, set[datetime]] = defaultdict(set)
    for place, moment in counts.order_by().values_list("place", "counted_at"):
        moments[place].add(moment)
    for place, known in moments.items():
        found[place].counts = sorted(known)
    lines = CountLine.objects.filter(count__in=counts.order_by().values("pk")).values_list(
        "count__place", "count__counted_at", "product"
    )
    lines = lines.order_by()
    for place, moment, product in lines:
        found[place].products[moment].add(product)


def _load_ledger(found: Mapping[int, _Told], since: datetime) -> None:
    """What left each column at its counts, to nobody knows where and to customers."""
    outside = places.outside("unexplained", "customer")
    unexplained, customer = outside["unexplained"].pk, outside["customer"].pk
    rows: Any = MovementLine.objects.filter(
        Q(from_place__in=found, to_place__in=[unexplained, customer])
        | Q(to_place__in=found, from_place__in=[unexplained, customer]),
        happened_at__gte=since,
    )
    rows = rows.order_by().values_list(
        "from_place", "to_place", "product", "lot", "quantity", "happened_at"
    )
    for source, target, product, lot, quantity, moment in rows:
        place, other, sign = (source, target, 1) if source in found else (target, source, -1)
        one = found[place]
        if moment in one.products:
            book = one.posted if other == customer else one.missing
            book[(moment, product)][lot] += sign * quantity
            one.products[moment].add(product)


def _load_first(found: Mapping[int, _Told]) -> None:
    rows = (
        MovementLine.objects.filter(to_place__in=found)
        .values_list("to_place", "product")
        .annotate(first=Min("happened_at"))
        .order_by()
    )
    for place, product, first in rows:
        found[place].first[product] = first


def _load_reads(
    found: Mapping[int, _Told], columns: Mapping[int, Column], earliest: datetime
) -> None:
    by_column: dict[int | None, _Told] = {one.place.column_id: one for one in found.values()}
    rows: Iterable[Any] = (
        SaleInterval.objects.filter(column__in=columns, interval__ends_at__gt=earliest - WAITS)
        .order_by("interval__ends_at", "pk")
        .values_list(
            "column", "interval__starts_at", "interval__ends_at", "paid_units", "free_units"
        )
    )
    for column, starts, ends, paid, free in rows:
        one = by_column.get(column)
        if one is not None:
            units = None if paid is None else paid + (free or 0)
            one.pieces.append(Piece(starts, ends, units))
    for set_up in SetUp.objects.filter(column__in=columns).order_by("column_id", "starts_at"):
        one = by_column.get(set_up.column_id)
        if one is not None:
            one.set_ups.append(set_up)
