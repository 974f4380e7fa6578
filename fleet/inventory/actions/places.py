"""The places of the ledger. Each is made with the first thing that needs it.

A place only mirrors a column, a site or a vehicle, whose own entries in the audit trail tell how it
came about.
"""

from collections.abc import Iterable, Mapping
from typing import Literal

from fleet.machines.models import Column, Site
from people.errors import Unacceptable

from ..models import StockPlace

Kind = StockPlace.Kind
Outside = Literal["customer", "waste", "unexplained", "fitted"]


def the(kind: Outside) -> StockPlace:
    """Customers, waste, parts fitted, or what nobody can explain; of each there is one."""
    return outside(kind)[kind]


def outside(*kinds: Outside) -> Mapping[str, StockPlace]:
    """Those of the outside places that are asked for, by kind; all of them when none is named."""
    wanted = kinds or StockPlace.ONLY_ONE
    found = {place.kind: place for place in StockPlace.objects.filter(kind__in=wanted)}
    for kind in wanted:
        if kind not in found:
            found[kind], _ = StockPlace.objects.get_or_create(
                kind=kind, defaults={"name": Kind(kind).label}
            )
    return found


def column_place(column: Column) -> StockPlace:
    """The place of one column."""
    return column_places([column])[column.pk]


def column_places(columns: Iterable[Column]) -> dict[int, StockPlace]:
    """The places of columns, by the columns' keys; few queries however many there are.

    Follows a machine that got another asset tag.
    """
    wanted = {column.pk: column for column in columns}
    found = _of_columns(wanted)
    missing = [pk for pk in wanted if pk not in found]
    if missing:
        rows = [
            StockPlace(kind=Kind.COLUMN, name=str(column), column=column)
            for column in Column.objects.select_related("machine", "position").filter(
                pk__in=missing
            )
        ]
        # Another may make the same places at this moment; theirs are as good.
        StockPlace.objects.bulk_create(rows, ignore_conflicts=True)
        found |= _of_columns(missing)
    for pk, place in found.items():
        named = str(wanted[pk]) if _is_whole(wanted[pk]) else place.name
        if place.name != named:
            place.name = named
            place.save(update_fields=["name"])
    return found


def truck(name: str) -> StockPlace:
    """The truck of this name."""
    return StockPlace.objects.get_or_create(kind=Kind.TRUCK, name=name)[0]


def warehouse(site: Site) -> StockPlace:
    """The warehouse at a site. Raises Unacceptable for a host's premises."""
    if site.purpose != Site.Purpose.WAREHOUSE:
        message = f"{site} is a host's premises, not a warehouse of ours"
        raise Unacceptable(message, code="not_a_warehouse", fields={"site": message})
    place, _ = StockPlace.objects.get_or_create(
        kind=Kind.WAREHOUSE, site=site, defaults={"name": site.name}
    )
    return place


def _of_columns(keys: Iterable[int]) -> dict[int, StockPlace]:
    rows = StockPlace.objects.filter(kind=Kind.COLUMN, column__in=list(keys))
    return {place.column_id: place for place in rows if place.column_id is not None}


def _is_whole(column: Column) -> bool:
    # Naming a column whose machine is not at hand would be a query for each.
    return Column.machine.is_cached(column) and Column.position.is_cached(column)
