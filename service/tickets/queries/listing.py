"""Tickets as they are looked for: by words, by who goes, by how late they are."""

from datetime import datetime

from django.db.models import Q, QuerySet

from people.models import Person

from ..models import Refund, Ticket
from .gates import tickets_seen_by


def matching(rows: "QuerySet[Ticket]", text: str) -> "QuerySet[Ticket]":
    """Those in whose reference, machine, site, symptom or words the text stands."""
    words = text.strip()
    if not words:
        return rows
    return rows.filter(
        # A reference is read out in two halves.
        Q(reference__icontains="".join(words.split()).replace("-", ""))
        | Q(machine__asset_tag__icontains=words)
        | Q(site__name__icontains=words)
        | Q(symptom__words__icontains=words)
        | Q(said__icontains=words)
    )


def open_ones(rows: "QuerySet[Ticket]") -> "QuerySet[Ticket]":
    return rows.filter(state__in=Ticket.OPEN)


def to_see_to(person: Person) -> "QuerySet[Ticket]":
    """What one has to see to, and what nobody has taken yet: the most pressing first."""
    rows = open_ones(tickets_seen_by(person))
    return rows.filter(Q(given_to=person) | Q(given_to__isnull=True)).order_by(
        "-priority", "promised_at", "pk"
    )


def late(rows: "QuerySet[Ticket]", now: datetime) -> "QuerySet[Ticket]":
    """Open ones whose promise has run out; the clock of one that waits stands."""
    running = (Ticket.State.NEW, Ticket.State.GIVEN, Ticket.State.ON_SITE)
    return rows.filter(state__in=running, promised_at__lt=now)


def unpaid(rows: "QuerySet[Refund]") -> "QuerySet[Refund]":
    """Refunds that somebody still waits for, the longest wait first."""
    return rows.filter(state=Refund.State.ASKED).order_by("wanted_at", "pk")
