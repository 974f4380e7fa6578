"""What was wrong with machines before, and what came back."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import QuerySet

from fleet.machines.models import Machine

from ..models import ServiceSettings, Ticket

Place = tuple[int, int, int | None]
"""Machine, symptom, column."""
REPORTED = (*Ticket.OPEN, Ticket.State.CLOSED)
"""A joined ticket is the same fault told twice, a dropped one was none."""


@dataclass(frozen=True)
class Past:
    """A ticket in the history of a machine, and the one that it repeats, if any."""

    ticket: Ticket
    repeat_of: Ticket | None


def machine_history(
    machine: Machine, *, since: datetime | None = None, limit: int | None = None
) -> list[Past]:
    """A machine's tickets, the latest first, with repeats marked. Two queries."""
    tickets = (
        _with_work(Ticket.objects.filter(machine=machine))
        .select_related("machine", "column__position", "symptom", "given_to", "site")
        .order_by("-reported_at", "-pk")
    )
    # Repeats are looked for among all of them: the first may lie before what is shown.
    every = list(tickets)
    before = repeats(every)
    shown = [one for one in every if since is None or one.reported_at >= since][:limit]
    return [Past(one, before.get(one.pk)) for one in shown]


def repeats(tickets: Iterable[Ticket], *, within_days: int | None = None) -> dict[int, Ticket]:
    """By key of the ticket: the earlier one among `tickets` that it repeats.

    The same symptom at the same column (or of the machine as a whole), reported again within the
    set days after the earlier one ended, or while it was still open.
    """
    days = ServiceSettings.the().repeat_days if within_days is None else within_days
    latest: dict[Place, Ticket] = {}
    found: dict[int, Ticket] = {}
    counted = (one for one in tickets if one.state in REPORTED)
    for one in sorted(counted, key=lambda one: (one.reported_at, one.pk)):
        place = (one.machine_id, one.symptom_id, one.column_id)
        earlier = latest.get(place)
        if earlier is not None and (
            earlier.closed_at is None or one.reported_at - earlier.closed_at <= timedelta(days=days)
        ):
            found[one.pk] = earlier
        latest[place] = one
    return found


def repeats_of(tickets: Sequence[Ticket]) -> dict[int, Ticket]:
    """As `repeats`, for a page of tickets whose earlier ones are read here. Two queries."""
    if not tickets:
        return {}
    days = ServiceSettings.the().repeat_days
    earliest = min(one.reported_at for one in tickets)
    earlier = Ticket.objects.filter(
        machine__in={one.machine_id for one in tickets},
        symptom__in={one.symptom_id for one in tickets},
        state__in=REPORTED,
    ).exclude(closed_at__lt=earliest - timedelta(days=days))
    every = {one.pk: one for one in earlier.order_by()} | {one.pk: one for one in tickets}
    asked = {one.pk for one in tickets}
    found = repeats(every.values(), within_days=days)
    return {pk: one for pk, one in found.items() if pk in asked}


def _with_work(tickets: "QuerySet[Ticket]") -> "QuerySet[Ticket]":
    return tickets.select_related("work__cause", "work__done_by").prefetch_related(
        "work__parts__product"
    )
