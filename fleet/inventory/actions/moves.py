"""The verbs of a driver's and a warehouse's day: load, unload, transfer, fill, remove, waste.

Thin: each says from where to where and why, and the ledger does the rest. `key` is the sender's
own; the same key again changes nothing and gives the same movement.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from fleet.machines.models import Column, Product, SetUp
from people.errors import Unable, Unacceptable
from people.models import Person

from ..models import Lot, Movement, StockPlace
from ..posting import ANY, AnyLot
from . import places
from .ledger import Line, Posting, post, post_all

Reason = Movement.Reason


@dataclass(frozen=True, slots=True)
class Item:
    """So many of a product; of one lot, of no known lot (None), or of whichever is next (ANY)."""

    product: Product
    quantity: int
    lot: Lot | AnyLot | None = ANY


@dataclass(frozen=True, slots=True)
class InColumn:
    """So many of a product put into a column, or taken out of it."""

    column: Column
    product: Product
    quantity: int
    lot: Lot | AnyLot | None = ANY


def load(
    *,
    warehouse: StockPlace,
    truck: StockPlace,
    items: Sequence[Item],
    actor: Person | None,
    happened_at: datetime,
    now: datetime,
    key: str | None = None,
    note: str = "",
) -> Movement:
    """Put products from a warehouse on a truck, first expired first, out-of-date ones last.

    Raises NotEnough, Unacceptable, KeyReused.
    """
    _require_kind(warehouse, StockPlace.Kind.WAREHOUSE, "warehouse")
    _require_kind(truck, StockPlace.Kind.TRUCK, "truck")
    lines = _lines(items, warehouse, truck)
    return post(
        reason=Reason.LOAD,
        lines=lines,
        actor=actor,
        happened_at=happened_at,
        now=now,
        key=key,
        note=note,
    )


def unload(
    *,
    truck: StockPlace,
    warehouse: StockPlace,
    items: Sequence[Item],
    actor: Person | None,
    happened_at: datetime,
    now: datetime,
    key: str | None = None,
    note: str = "",
) -> Movement:
    """Bring products from a truck back into a warehouse. Raises as `load` does."""
    _require_kind(warehouse, StockPlace.Kind.WAREHOUSE, "warehouse")
    _require_kind(truck, StockPlace.Kind.TRUCK, "truck")
    return post(
        reason=Reason.UNLOAD,
        lines=_lines(items, truck, warehouse),
        actor=actor,
        happened_at=happened_at,
        now=now,
        key=key,
        note=note,
    )


def transfer(
    *,
    from_place: StockPlace,
    to_place: StockPlace,
    items: Sequence[Item],
    actor: Person | None,
    happened_at: datetime,
    now: datetime,
    key: str | None = None,
    note: str = "",
) -> Movement:
    """Move products between two warehouses or trucks. Raises as `load` does."""
    for field, place in (("from_place", from_place), ("to_place", to_place)):
        _require_kind(place, StockPlace.Kind.WAREHOUSE, field, or_kind=StockPlace.Kind.TRUCK)
    return post(
        reason=Reason.TRANSFER,
        lines=_lines(items, from_place, to_place),
        actor=actor,
        happened_at=happened_at,
        now=now,
        key=key,
        note=note,
    )


def fill_columns(
    *,
    fills: Sequence[InColumn],
    truck: StockPlace,
    actor: Person | None,
    happened_at: datetime,
    now: datetime,
    key: str | None = None,
    note: str = "",
) -> Movement:
    """Put products from a truck (or a warehouse) into columns of a machine: one movement.

    Raises Unacceptable "over_capacity" for more than a column holds as it was set at that moment,
    Unable "no_set_up" or "other_product" where it was not set for the product, NotEnough.
    """
    if truck.kind not in (StockPlace.Kind.TRUCK, StockPlace.Kind.WAREHOUSE):
        raise _not_a(truck, "truck", StockPlace.Kind.TRUCK)
    require_room(fills, happened_at)
    at = places.column_places(fill.column for fill in fills)
    return post(
        reason=Reason.FILL,
        lines=[Line(one.product, one.quantity, truck, at[one.column.pk], one.lot) for one in fills],
        actor=actor,
        happened_at=happened_at,
        now=now,
        key=key,
        note=note,
    )


def remove_from_columns(
    *,
    removals: Sequence[InColumn],
    actor: Person | None,
    happened_at: datetime,
    now: datetime,
    to_place: StockPlace | None = None,
    waste_reason: str = "",
    key: str | None = None,
    note: str = "",
) -> Movement:
    """Take products out of columns: onto a truck (`to_place`), or to waste with its reason.

    More than the records say may be taken out: a column is an estimate, and the hand is right.
    Raises Unacceptable unless exactly one of the two is given.
    """
    if (to_place is None) == (not waste_reason):
        message = "say either the place that what is removed goes to, or why it is wasted"
        raise Unacceptable(message, fields={"to_place": message})
    if to_place is not None and to_place.kind not in (
        StockPlace.Kind.TRUCK,
        StockPlace.Kind.WAREHOUSE,
    ):
        raise _not_a(to_place, "to_place", StockPlace.Kind.TRUCK)
    target = places.the("waste") if to_place is None else to_place
    at = places.column_places(one.column for one in removals)
    return post(
        reason=Reason.WASTE if to_place is None else Reason.REMOVAL,
        lines=[
            Line(one.product, one.quantity, at[one.column.pk], target, one.lot) for one in removals
        ],
        actor=actor,
        happened_at=happened_at,
        now=now,
        key=key,
        waste_reason=waste_reason,
        note=note,
    )


def waste(
    *,
    place: StockPlace,
    items: Sequence[Item],
    waste_reason: str,
    actor: Person | None,
    happened_at: datetime,
    now: datetime,
    key: str | None = None,
    note: str = "",
) -> Movement:
    """Throw products of a warehouse, truck or column away, with the reason. Raises as `load`."""
    if not place.is_held:
        message = f"{place} is no place of ours; nothing there is ours to throw away"
        raise Unacceptable(message, fields={"place": message})
    return post(
        reason=Reason.WASTE,
        lines=_lines(items, place, places.the("waste")),
        actor=actor,
        happened_at=happened_at,
        now=now,
        key=key,
        waste_reason=waste_reason,
        note=note,
    )


def fit_parts(
    *,
    place: StockPlace,
    items: Sequence[Item],
    actor: Person | None,
    happened_at: datetime,
    now: datetime,
    key: str | None = None,
    note: str = "",
) -> Movement:
    """Spare parts out of a truck or a warehouse stayed in a machine, at what they cost.

    Raises Unacceptable "not_a_part" for what is sold, and as `load` does.
    """
    posting = parts_fitted(place=place, items=items, happened_at=happened_at, key=key, note=note)
    return post_all(postings=[posting], actor=actor, now=now)[0]


def parts_fitted(
    *,
    place: StockPlace,
    items: Sequence[Item],
    happened_at: datetime,
    key: str | None = None,
    note: str = "",
) -> Posting:
    """The same, for those who tell the ledger of many at once. Raises Unacceptable."""
    _require_kind(place, StockPlace.Kind.TRUCK, "place", or_kind=StockPlace.Kind.WAREHOUSE)
    for index, item in enumerate(items):
        if item.product.form != Product.Form.PART:
            message = f"{item.product} is no spare part"
            raise Unacceptable(message, code="not_a_part", fields={f"parts.{index}": message})
    fitted = places.the("fitted")
    return Posting(
        reason=Reason.PART,
        lines=[
            Line(one.product, one.quantity, place, fitted, one.lot, one.product.cost)
            for one in items
        ],
        happened_at=happened_at,
        key=key,
        note=note,
    )


def set_ups_at(columns: Iterable[Column], moment: datetime) -> Mapping[int, SetUp]:
    """How each column was set at a moment, by the column's key. One query."""
    running = Q(ends_at__isnull=True) | Q(ends_at__gt=moment)
    rows = SetUp.objects.filter(
        running, column__in={column.pk for column in columns}, starts_at__lte=moment
    ).select_related("product")
    rows = rows.only("column", "capacity", "product").order_by()
    return {set_up.column_id: set_up for set_up in rows}


def require_room(fills: Sequence[InColumn], moment: datetime) -> None:
    """Refuse what a column could not take at that moment. Raises Unacceptable, Unable."""
    set_ups = set_ups_at((one.column for one in fills), moment)
    asked: dict[int, int] = {}
    for one in fills:
        set_up = set_ups.get(one.column.pk)
        if set_up is None:
            raise Unable(
                f"{one.column} was not set for any product at {moment.isoformat()}; "
                "record how it is set first",
                code="no_set_up",
            )
        if set_up.product_id != one.product.pk:
            raise Unable(
                f"{one.column} was set for {set_up.product}, not for {one.product}; "
                "record the changeover first",
                code="other_product",
            )
        asked[one.column.pk] = asked.get(one.column.pk, 0) + one.quantity
        # A capacity of 0 is one that nobody could compute, for want of a size.
        if 0 < set_up.capacity < asked[one.column.pk]:
            message = (
                f"{one.column} holds {set_up.capacity} {one.product} as it is set; "
                f"{asked[one.column.pk]} cannot have gone in"
            )
            raise Unacceptable(message, code="over_capacity", fields={"quantity": message})


def _lines(items: Sequence[Item], source: StockPlace, target: StockPlace) -> list[Line]:
    return [Line(item.product, item.quantity, source, target, item.lot) for item in items]


def _require_kind(
    place: StockPlace, kind: StockPlace.Kind, field: str, *, or_kind: StockPlace.Kind | None = None
) -> None:
    if place.kind not in (kind, or_kind):
        raise _not_a(place, field, kind)


def _not_a(place: StockPlace, field: str, kind: StockPlace.Kind) -> Unacceptable:
    message = f"{place} is a {place.get_kind_display()}; this takes a {kind.label}"
    return Unacceptable(message, code="other_place", fields={field: message})
