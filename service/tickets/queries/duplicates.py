"""Open tickets that a new report may be about."""

from django.db.models import Q

from fleet.machines.models import Column, Machine

from ..models import Symptom, Ticket


def same(machine: Machine, symptom: Symptom, column: Column | None = None) -> list[Ticket]:
    """Open tickets on the same machine and symptom, the oldest first.

    One that names another column is about something else; one that names none may be the same.
    """
    found = Ticket.objects.filter(machine=machine, symptom=symptom, state__in=Ticket.OPEN)
    if column is not None:
        found = found.filter(Q(column=column) | Q(column__isnull=True))
    return list(
        found.select_related("machine", "column__position", "site", "symptom", "given_to").order_by(
            "reported_at", "pk"
        )
    )
