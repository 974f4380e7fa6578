"""Which parts a fault is likely to want, and on which trucks and in which stores they are."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db.models import Count, Sum

from fleet.inventory.models import StockLevel, StockPlace
from fleet.machines.models import Product, SetUp
from service.tickets.models import PartUsed, Ticket, WorkDone

MOST = 4
LEAST_SHARE = 0.1
"""A part that fewer of the closed tickets took is not asked for. Assumed."""


@dataclass(frozen=True)
class Likely:
    """A part, or the column's own product, and why it may be wanted: taken by `used_in` of
    `of` closed tickets of this symptom; None for the product."""

    product: Product
    used_in: int | None = None
    of: int | None = None

    @property
    def because(self) -> str:
        if self.used_in is None:
            return "for test vends"
        return f"taken {self.used_in} of {self.of} times"


@dataclass(frozen=True)
class Aboard:
    """So many of a likely part are on the truck; where else there are some, when there are none."""

    likely: Likely
    units: int
    elsewhere: str = ""

    @property
    def said(self) -> str:
        if self.units:
            return f"{self.units} × {self.likely.product} aboard"
        where = f"; {self.elsewhere} has some" if self.elsewhere else ""
        return f"no {self.likely.product} aboard{where}"


def likely_parts(ticket: Ticket) -> tuple[Likely, ...]:
    """Parts that closed tickets of the same symptom took, the most often taken first, then the
    product of the column that is to be test vended."""
    closed = WorkDone.objects.filter(ticket__symptom=ticket.symptom_id).count()
    used = (
        PartUsed.objects.filter(work__ticket__symptom=ticket.symptom_id)
        .order_by()
        .values("product")
        .annotate(times=Count("work", distinct=True))
        .order_by("-times", "product")[:MOST]
    )
    times = {one["product"]: one["times"] for one in used}
    products = Product.objects.in_bulk(times)
    found = [
        Likely(products[key], number, closed)
        for key, number in times.items()
        if number >= LEAST_SHARE * closed
    ]
    if ticket.column_id is not None:
        now = SetUp.objects.filter(column=ticket.column_id, ends_at__isnull=True)
        set_up = now.select_related("product").first()
        if set_up is not None:
            found.append(Likely(set_up.product))
    return tuple(found)


def aboard(likely: Iterable[Likely], trucks: Iterable[int]) -> Mapping[int, tuple[Aboard, ...]]:
    """For each truck (a stock place, by key) how many of each likely part it carries. One query."""
    wanted, places = tuple(likely), tuple(trucks)
    if not wanted:
        return dict.fromkeys(places, ())
    units: dict[tuple[int, int], int] = defaultdict(int)
    stores: dict[int, str] = {}
    rows = (
        StockLevel.objects.filter(
            product__in=[one.product.pk for one in wanted],
            quantity__gt=0,
            place__kind__in=[StockPlace.Kind.TRUCK, StockPlace.Kind.WAREHOUSE],
        )
        .order_by()
        .values_list("place", "place__kind", "place__name", "product")
        .annotate(held=Sum("quantity"))
        .order_by("-held", "place")
    )
    for place, kind, name, product, held in rows:
        units[place, product] = held
        if kind == StockPlace.Kind.WAREHOUSE:
            stores.setdefault(product, name)
    return {
        place: tuple(
            Aboard(one, units[place, one.product.pk], stores.get(one.product.pk, ""))
            for one in wanted
        )
        for place in places
    }
