"""Warehouses and trucks as people open and close them; what needs a place else makes it itself."""

from datetime import datetime

from django.db import transaction

from fleet.machines.models import Site
from people import audit, rows
from people.errors import Unable, Unacceptable
from people.models import Person

from ..book import lock_places
from ..models import StockPlace
from . import places


@transaction.atomic
def open_store(
    *,
    kind: str,
    actor: Person,
    now: datetime,
    site: Site | None = None,
    name: str | None = None,
) -> StockPlace:
    """Open a warehouse at a site of ours, or a truck by its name; one that is closed opens again.

    Raises Unacceptable when what names it is missing.
    """
    if kind == StockPlace.Kind.WAREHOUSE:
        if site is None:
            raise Unacceptable("say at which site it is", fields={"site": "say at which site"})
        place = places.warehouse(site)
    elif kind == StockPlace.Kind.TRUCK:
        if not (name or "").strip():
            raise Unacceptable("give the truck a name", fields={"name": "give the truck a name"})
        place = places.truck((name or "").strip())
    else:
        message = f"{kind}: only a warehouse or a truck is opened by hand"
        raise Unacceptable(message, fields={"kind": message})
    if not place.active:
        return rows.put(place, {"active": True}, actor=actor, verb="open stock place", now=now)
    audit.record(actor=actor, verb="open stock place", row=place, now=now)
    return place


@transaction.atomic
def close_store(*, place: StockPlace, actor: Person, now: datetime) -> StockPlace:
    """Nothing goes in or out of it any more. Raises Unable while it holds something."""
    if place.kind not in {StockPlace.Kind.WAREHOUSE, StockPlace.Kind.TRUCK}:
        raise Unable(f"{place} is no warehouse and no truck", code="not_a_store")
    lock_places([place.pk])  # what is on its way in comes first, and is then seen
    held = place.levels.exclude(quantity=0).count()
    if held:
        raise Unable(
            f"{place} still holds {held} lots of products; move them, or count it empty first",
            code="not_empty",
        )
    return rows.put(place, {"active": False}, actor=actor, verb="close stock place", now=now)
