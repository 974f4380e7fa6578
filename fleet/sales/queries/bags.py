"""Bags of cash: where each one is, and what was in those that are counted."""

from typing import Any

from django.db.models import (
    CharField,
    DecimalField,
    Exists,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
    Sum,
    Value,
)
from django.db.models.expressions import Case, When
from django.db.models.functions import Coalesce

from fleet.machines.models import Placement
from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import (
    Bag,
    BagCount,
    BagCountLine,
    BagStep,
    BankedBag,
    HostFloatLine,
    TubeFill,
)

COUNTERS = (Role.OWNER, Role.DISPATCHER, Role.ACCOUNTANT)
SEALED, RECEIVED, OPENED, COUNTED, BANKED, MISSING = STATES = (
    *("sealed", "received", "opened", "counted", "banked", "missing"),
)
_WHAT = BagStep.What
_NOTHING = Value(0, output_field=DecimalField(max_digits=12, decimal_places=4))


def _state() -> Case:
    """Where a bag is, by the rows about it; a bag that was found again is where it was before."""
    steps = BagStep.objects.filter(bag=OuterRef("pk"))
    banked = BankedBag.objects.filter(bag=OuterRef("pk"), taken_back_at__isnull=True)
    return Case(
        When(Exists(banked), then=Value(BANKED)),
        When(lost=_WHAT.MISSING, then=Value(MISSING)),
        When(Exists(BagCount.objects.filter(bag=OuterRef("pk"))), then=Value(COUNTED)),
        When(Exists(steps.filter(what=_WHAT.OPENED)), then=Value(OPENED)),
        When(Exists(steps.filter(what=_WHAT.RECEIVED)), then=Value(RECEIVED)),
        default=Value(SEALED),
        output_field=CharField(),
    )


def bags_placed() -> "QuerySet[Any]":
    """Bags with their state, the amount that holds, and what was taken out of them for change."""
    last = BagCount.objects.filter(bag=OuterRef("pk")).order_by("-pk")
    taken = [
        rows.filter(from_bag=OuterRef("pk"))
        .order_by()
        .values("from_bag")
        .annotate(total=Sum("amount"))
        .values("total")
        for rows in (TubeFill.objects.all(), HostFloatLine.objects.all())
    ]
    lost = BagStep.objects.filter(bag=OuterRef("pk"), what__in=[_WHAT.MISSING, _WHAT.FOUND])
    return Bag.objects.annotate(  # type: ignore[no-redef]
        lost=Subquery(lost.order_by("-pk").values("what")[:1]),
        amount=Subquery(last.values("amount")[:1]),
        taken=Coalesce(Subquery(taken[0]), _NOTHING) + Coalesce(Subquery(taken[1]), _NOTHING),
    ).annotate(state=_state())


def bags_whole() -> "QuerySet[Any]":
    """Bags as `bags_placed` gives them, with every count, the last recorded first, and the site."""
    placed = Placement.objects.filter(machine=OuterRef("machine"), ends_at__isnull=True)
    counts = (
        BagCount.objects.select_related("counted_by", "second")
        .prefetch_related(Prefetch("lines", queryset=BagCountLine.objects.all()))
        .order_by("-pk")
    )
    steps = BagStep.objects.select_related("by", "second").order_by("at", "pk")
    return (
        bags_placed()
        .select_related("machine", "sealed_by")
        .annotate(site_name=Subquery(placed.values("site__name")[:1]))
        .prefetch_related(Prefetch("counts", queryset=counts), Prefetch("steps", queryset=steps))
    )


def bags_listed(
    *, waiting: bool | None = None, search: str = "", state: str = ""
) -> "QuerySet[Any]":
    """Bags, the latest sealed first; those that wait to be counted, those counted, or all.

    `search` is part of a seal's number or of an asset tag; `state` one of STATES.
    """
    rows = bags_whole()
    counted = BagCount.objects.values("bag")
    if waiting is not None:
        rows = rows.exclude(pk__in=counted) if waiting else rows.filter(pk__in=counted)
    if state:
        rows = rows.filter(state=state)
    if search:
        rows = rows.filter(
            Q(seal_number__icontains=search) | Q(machine__asset_tag__icontains=search)
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
