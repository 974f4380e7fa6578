"""Bags of cash: which wait to be counted, and what was in the others."""

from django.db.models import OuterRef, Prefetch, QuerySet, Subquery

from fleet.machines.models import Placement
from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import Bag, BagCount

COUNTERS = (Role.OWNER, Role.DISPATCHER, Role.ACCOUNTANT)


def bags_whole() -> "QuerySet[Bag]":
    """Bags with every count, the last recorded first, the amount that holds, and the site."""
    last = BagCount.objects.filter(bag=OuterRef("pk")).order_by("-pk")
    placed = Placement.objects.filter(machine=OuterRef("machine"), ends_at__isnull=True)
    counts = BagCount.objects.select_related("counted_by", "second").order_by("-pk")
    return (
        Bag.objects.select_related("machine", "sealed_by")
        .annotate(
            amount=Subquery(last.values("amount")[:1]),
            site_name=Subquery(placed.values("site__name")[:1]),
        )
        .prefetch_related(Prefetch("counts", queryset=counts))
    )


def bags_listed(*, waiting: bool | None = None, search: str = "") -> "QuerySet[Bag]":
    """Bags, the latest sealed first; those that wait to be counted, those counted, or all.

    `search` is part of a seal's number or of an asset tag.
    """
    rows = bags_whole()
    counted = BagCount.objects.values("bag")
    if waiting is not None:
        rows = rows.exclude(pk__in=counted) if waiting else rows.filter(pk__in=counted)
    if search:
        rows = rows.filter(seal_number__icontains=search) | rows.filter(
            machine__asset_tag__icontains=search
        )
    return rows.order_by("-sealed_at", "-pk")


def bag_for(person: Person, pk: int, *, write: bool = False) -> Bag:
    """A bag, for those who count or check money. Raises NotFound, NotAllowed."""
    row = bags_whole().filter(pk=pk).first() if person.has_role(*COUNTERS) else None
    if row is None:
        raise NotFound(f"there is no bag {pk}")
    if write and not person.has_role(*COUNTERS):
        raise NotAllowed(f"{row}: you may see this and not count it")
    return row
