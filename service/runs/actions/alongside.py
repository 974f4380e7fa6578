"""Tickets go along with the stops at which they are seen to: moved, taken off, or planned anew."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db.models import Q

from people.models import Person
from service.tickets.actions import moves
from service.tickets.models import Ticket

from ..models import Run, Stop, TicketStop

State = Ticket.State
TO_COME = (Stop.State.PLANNED, Stop.State.ARRIVED)


def hold_tickets(runs: Sequence[int], *more: int) -> None:
    """Lock the tickets on runs, and others by key, in the order of their keys.

    Whoever changes runs and tickets holds the tickets first: closing a ticket takes its stop off.
    """
    wanted = Q(ticket_stop__stop__run__in=runs) | Q(pk__in=more)
    keys = Ticket.objects.filter(wanted).order_by().values("pk")
    rows = Ticket.objects.select_for_update(no_key=True, of=("self",)).filter(pk__in=keys)
    list(rows.order_by("pk").values_list("pk", flat=True))


def leave_behind(stops: Iterable[Stop], *, actor: Person, now: datetime, reason: str = "") -> None:
    """Stops are taken off their runs: what was to be done there is nobody's again."""
    rows = list(
        TicketStop.objects.filter(stop__in=[stop.pk for stop in stops])
        .select_related("ticket", "stop__machine")
        .order_by("ticket")
    )
    for row in rows:
        row.delete()
        if row.ticket.state in (State.GIVEN, State.WAITING) and row.ticket.given_to_id:
            why = reason or f"{row.stop.machine} is no longer on the run"
            moves.hand_back(ticket=row.ticket, reason=why, actor=actor, now=now)


def go_along(runs: Iterable[Run], *, actor: Person, now: datetime) -> None:
    """Give the tickets on agreed runs to whoever drives them now."""
    rows = list(
        TicketStop.objects.filter(
            stop__run__in=[run.pk for run in runs if run.agreed],
            stop__state__in=TO_COME,
            ticket__state__in=(State.NEW, State.GIVEN, State.WAITING),
        )
        .select_related("ticket", "stop__run__driver")
        .order_by("ticket")
    )
    for row in rows:
        driver = row.stop.run.driver
        if row.ticket.given_to_id != driver.pk:
            moves.give(ticket=row.ticket, to=driver, actor=actor, now=now)


def take_up(
    runs: Sequence[Run], *, actor: Person, now: datetime, before: Sequence[Run] = ()
) -> None:
    """Put the tickets for which stops of agreed runs were planned on them.

    `before` are runs that gave way to these. A ticket on them that found no new stop is nobody's
    again; one that is given to somebody else by hand stays theirs.
    """
    agreed = [run for run in runs if run.agreed]
    stops = Stop.objects.filter(run__in=agreed, state__in=TO_COME).select_related("run__driver")
    planned = {key: stop for stop in stops for key in tickets_of(stop)}
    hold_tickets([run.pk for run in (*before, *agreed)], *planned)
    tickets = {
        one.pk: one
        for one in Ticket.objects.filter(pk__in=planned, state__in=Ticket.OPEN)
        .select_related("symptom", "ticket_stop__stop__run")
        .order_by("pk")
    }
    for key in sorted(tickets):
        ticket, stop = tickets[key], planned[key]
        on = getattr(ticket, "ticket_stop", None)
        if ticket.state == State.ON_SITE or (on is not None and on.stop.run_id == stop.run_id):
            continue
        if on is not None and on.stop.run.agreed:
            continue
        if on is None and ticket.given_to_id not in (None, stop.run.driver_id):
            continue
        put_on(ticket, stop, actor=actor, now=now)
    left = Stop.objects.filter(run__in=before, ticket_stops__isnull=False).select_related("machine")
    why = "the day was planned anew, without a stop for it"
    leave_behind(list(left.distinct().order_by("pk")), actor=actor, now=now, reason=why)
    go_along(agreed, actor=actor, now=now)


def put_on(ticket: Ticket, stop: Stop, *, actor: Person | None, now: datetime) -> TicketStop:
    """Write down that a ticket is seen to at a stop, and nowhere else."""
    values = {
        "stop": stop,
        "minutes": ticket.symptom.work_minutes,
        "put_at": now,
        "put_by": actor,
    }
    return TicketStop.objects.update_or_create(ticket=ticket, defaults=values)[0]


def tickets_of(stop: Stop) -> tuple[int, ...]:
    """The keys of the tickets that a stop was planned for, as its reasons tell."""
    return tuple(key for one in stop.reasons for key in one.get("tickets", ()))
