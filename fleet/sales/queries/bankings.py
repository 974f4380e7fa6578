"""Bags on their way to the bank, and what the bank said of them."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum

from fleet.machines.models import Placement
from people.errors import NotAllowed, NotFound
from people.models import Business, Person
from people.roles import Role

from ..models import BagCount, BankedBag, Banking, BankingConfirmed
from .bags import COUNTED, COUNTERS, bags_placed

KEEPERS = (Role.OWNER, Role.ACCOUNTANT)
MOST_TO_BANK = 100
NOTHING = Decimal(0)


def bankings_whole() -> "QuerySet[Any]":
    """Bankings, the latest first, with their bags, what the bank confirmed last, and how far off.

    `confirmed` and `off` (confirmed less the slip) are None until the bank has confirmed.
    """
    last = BankingConfirmed.objects.filter(banking=OuterRef("pk")).order_by("-pk")
    banked = BankedBag.objects.select_related("bag__machine").order_by("pk")
    said = BankingConfirmed.objects.select_related("by").order_by("-pk")
    return (
        Banking.objects.select_related("by", "taken_back_by")  # type: ignore[no-redef]
        .annotate(
            confirmed=Subquery(last.values("amount")[:1]),
            confirmed_on=Subquery(last.values("confirmed_on")[:1]),
        )
        .annotate(off=F("confirmed") - F("amount"))
        .prefetch_related(
            Prefetch("banked", queryset=banked), Prefetch("confirmations", queryset=said)
        )
        .order_by("-banked_at", "-pk")
    )


def banking_for(person: Person, pk: int, *, write: bool = False) -> Banking:
    """A banking, for those who see takings; the money's keepers write. Raises NotFound."""
    row = bankings_whole().filter(pk=pk).first() if person.has_role(*COUNTERS) else None
    if row is None:
        raise NotFound(f"there is no banking {pk}")
    if write and not person.has_role(*KEEPERS):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row


@dataclass(frozen=True)
class Looked:
    """Which counted bags are looked for.

    `search` is part of a seal's number, an asset tag, a site's name or that of who sealed it; the
    days are the business's own, both of them included, of the seal or of the count that holds.
    """

    search: str = ""
    counted: bool = False
    since: date | None = None
    until: date | None = None


@dataclass(frozen=True)
class ToBank:
    """Counted bags that are not banked yet.

    `rows` are those looked for, the longest sealed first and MOST_TO_BANK at most, each with
    `left`, what is in it yet, and `counted_at`; `found` and `found_left` are all of those,
    `number` and `held` all that are here.
    """

    rows: list[Any]
    found: int
    found_left: Decimal
    number: int
    held: Decimal

    @property
    def left_out(self) -> int:
        return self.found - len(self.rows)


def to_bank(looked: Looked | None = None) -> ToBank:
    """Counted bags that are not banked, as far as they are looked for."""
    here = _to_bank()
    wanted = here if looked is None else here.filter(_is_looked_for(looked))
    every, some = (
        rows.order_by().aggregate(number=Count("pk"), held=Sum("left")) for rows in (here, wanted)
    )
    return ToBank(
        rows=list(wanted[:MOST_TO_BANK]),
        found=some["number"],
        found_left=some["held"] or NOTHING,
        number=every["number"],
        held=every["held"] or NOTHING,
    )


def still_to_bank(keys: Collection[int]) -> list[Any]:
    """Those bags of them that are counted and not banked, as `to_bank` gives its rows."""
    return list(_to_bank().filter(pk__in=keys)) if keys else []


def _to_bank() -> "QuerySet[Any]":
    last = BagCount.objects.filter(bag=OuterRef("pk")).order_by("-pk")
    banked = BankedBag.objects.filter(bag=OuterRef("pk"), taken_back_at__isnull=True)
    placed = Placement.objects.filter(machine=OuterRef("machine"), ends_at__isnull=True)
    return (
        bags_placed()
        # Bags of years are banked: they are passed over before anything of them is looked up.
        .filter(~Exists(banked), Exists(last), state=COUNTED, amount__gt=F("taken"))
        .annotate(
            left=F("amount") - F("taken"),
            counted_at=Subquery(last.values("counted_at")[:1]),
            site_name=Subquery(placed.values("site__name")[:1]),
        )
        .select_related("machine", "sealed_by")
        .order_by("sealed_at", "pk")
    )


def _is_looked_for(looked: Looked) -> Q:
    moment = "counted_at" if looked.counted else "sealed_at"
    asked = Q()
    if looked.since is not None:
        asked &= Q(**{f"{moment}__gte": _midnight(looked.since)})
    if looked.until is not None:
        asked &= Q(**{f"{moment}__lt": _midnight(looked.until + timedelta(days=1))})
    if looked.search:
        asked &= (
            Q(seal_number__icontains=looked.search)
            | Q(machine__asset_tag__icontains=looked.search)
            | Q(site_name__icontains=looked.search)
            | Q(sealed_by__name__icontains=looked.search)
        )
    return asked


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(0), tzinfo=Business.the().time_zone)
