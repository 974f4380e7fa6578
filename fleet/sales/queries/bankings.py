"""Bags on their way to the bank, and what the bank said of them."""

from decimal import Decimal
from typing import Any

from django.db.models import F, OuterRef, Prefetch, QuerySet, Subquery

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import BankedBag, Banking, BankingConfirmed
from .bags import COUNTED, COUNTERS, bags_whole

KEEPERS = (Role.OWNER, Role.ACCOUNTANT)


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


def to_bank() -> list[tuple[int, str, str, Decimal]]:
    """Counted bags that are not banked: key, seal, machine, and what is in them yet."""
    rows = bags_whole().filter(state=COUNTED, amount__gt=F("taken")).order_by("sealed_at", "pk")
    return [
        (row.pk, row.seal_number, row.machine.asset_tag, row.amount - row.taken)
        for row in rows.prefetch_related(None)
    ]
