"""Places, levels, lots and movements as lists and pages show them, in a fixed number of queries."""

from datetime import datetime

from django.db.models import Count, F, Max, Min, Prefetch, Q, QuerySet, Sum

from ..models import Movement, MovementLine, StockLevel, StockPlace, Supplier

KEPT_BY_HAND = (StockPlace.Kind.WAREHOUSE, StockPlace.Kind.TRUCK)
"""Places that somebody loads, unloads and counts; a column is kept by visits."""


def places_listed() -> "QuerySet[StockPlace]":
    """Places with how much they hold, of how many products, and when they were counted last.

    A column below zero is told as it is: an estimate that its next count puts right.
    """
    return (
        StockPlace.objects.select_related("site")
        .annotate(
            units=Sum("levels__quantity", default=0),
            products=Count("levels__product", distinct=True, filter=~Q(levels__quantity=0)),
            first_best_before=Min("levels__lot__best_before", filter=Q(levels__quantity__gt=0)),
        )
        .order_by("kind", "name", "pk")
    )


def last_counted(places: "QuerySet[StockPlace]") -> dict[int, datetime]:
    """When each of the places was counted last. One query."""
    rows = places.model.objects.filter(pk__in=places.values("pk"), counts__isnull=False)
    return dict(rows.order_by().values_list("pk").annotate(latest=Max("counts__counted_at")))


def levels_listed() -> "QuerySet[StockLevel]":
    """What is held where: a row a place, product and lot that is not zero."""
    return (
        StockLevel.objects.exclude(quantity=0)
        .select_related("place", "product", "lot")
        .order_by("place__kind", "place__name", "product__name", "pk")
    )


def levels_of(place: StockPlace) -> "QuerySet[StockLevel]":
    """What one place holds: by product, its lots first expired first."""
    return (
        StockLevel.objects.filter(place=place)
        .exclude(quantity=0)
        .select_related("product", "lot")
        .order_by("product__name", "product", F("lot__best_before").asc(nulls_last=True), "pk")
    )


def dated() -> "QuerySet[StockLevel]":
    """What is held and bears a best-before date, the earliest first."""
    return (
        StockLevel.objects.filter(quantity__gt=0, lot__best_before__isnull=False)
        .select_related("place", "product", "lot")
        .order_by("lot__best_before", "place__name", "pk")
    )


def movements_listed() -> "QuerySet[Movement]":
    """Movements with their lines, latest first."""
    return movements_whole().order_by("-happened_at", "-pk")


def movements_whole() -> "QuerySet[Movement]":
    lines = MovementLine.objects.select_related(
        "product", "lot", "from_place", "to_place"
    ).order_by("pk")
    return Movement.objects.select_related("actor", "corrects", "corrected_by").prefetch_related(
        Prefetch("lines", queryset=lines)
    )


def lines_listed() -> "QuerySet[MovementLine]":
    """Lines of movements with what a list tells of each, latest first."""
    return MovementLine.objects.select_related(
        "movement__actor", "product", "lot", "from_place", "to_place"
    ).order_by("-happened_at", "-pk")


def touching(place: StockPlace) -> Q:
    """Movements that brought something to a place or took it away."""
    return Q(lines__from_place=place) | Q(lines__to_place=place)


def suppliers_listed() -> "QuerySet[Supplier]":
    """Suppliers with how many products they sell and how many orders to them are open."""
    open_ones = Q(orders__state__in=["draft", "placed"])
    return Supplier.objects.annotate(
        sells=Count("items", distinct=True),
        open_orders=Count("orders", distinct=True, filter=open_ones),
    ).order_by("-active", "name", "pk")
