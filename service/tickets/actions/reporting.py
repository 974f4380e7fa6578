"""Something is wrong: the report, and whether it is the same as one that is open."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction

from fleet.machines.models import Column, Machine, Placement, Site
from people import audit, rows
from people.errors import Unacceptable
from people.models import Person
from people.roles import Role

from .. import outgoing, promises, writing
from ..models import Refund, ServiceSettings, Symptom, Ticket, WorkDone
from ..models.tickets import new_reference
from ..queries.duplicates import same
from ..states import Verb
from . import refunds

DESK = (Role.OWNER, Role.DISPATCHER)
LONGEST = 2000
"""Characters of a report."""


@dataclass(frozen=True)
class Wanted:
    """A refund asked for with a report."""

    amount: Decimal
    method: str


@dataclass(frozen=True)
class Reported:
    """What became of a report: its ticket, and those open on the same fault before it."""

    ticket: Ticket
    refund: Refund | None
    open_ones: tuple[Ticket, ...]
    joined: bool


@transaction.atomic
def report(
    *,
    machine: Machine,
    symptom: Symptom,
    source: str,
    actor: Person | None,
    now: datetime,
    column: Column | None = None,
    urgency: str | None = None,
    priority: int = Ticket.Priority.USUAL,
    paid_how: str = "",
    said: str = "",
    contact_name: str = "",
    contact_reach: str = "",
    because: Mapping[str, Any] | None = None,
    reported_at: datetime | None = None,
    owner: Person | None = None,
    refund: Wanted | None = None,
    join: Ticket | None = None,
) -> Reported:
    """Make a ticket of a report. `actor` None: a customer, or the service by itself.

    With `join` the ticket is kept for its reporter and joined at once to that open one. The same
    fault within the set time after it was closed goes on from that ticket. Raises Unacceptable;
    what `join` raises.
    """
    seen_at = _seen_at(reported_at, now)
    _require_symptom(symptom)
    _require_column(machine, column)
    _require_owner(owner)
    words = _words(said)
    open_ones = tuple(same(machine, symptom, column))
    last = None if open_ones else _closed_lately(machine, symptom, column, seen_at)
    row = Ticket(
        machine=machine,
        column=column,
        site=_site(machine, seen_at),
        symptom=symptom,
        urgency=urgency or symptom.urgency,
        priority=priority,
        source=source,
        paid_how=paid_how,
        said=words,
        contact_name=contact_name.strip(),
        contact_reach=contact_reach.strip(),
        because=dict(because or {}),
        reported_at=seen_at,
        recorded_at=now,
        owner=owner,
        reopens=None if last is None else first_of(last),
        version=1,
    )
    for name, value in promises.changes(row, now=now).items():
        setattr(row, name, value)
    rows.check(row)
    _insert(row)
    audit.record(
        actor=actor,
        verb="ticket: report",
        row=row,
        now=now,
        after=writing.values(row),
    )
    writing.event(row, Verb.REPORT, actor=actor, at=seen_at, now=now)
    if last is not None:
        came_back(last, row, actor=actor, now=now)
    asked = None
    if refund is not None:
        asked = refunds.ask(
            ticket=row, amount=refund.amount, method=refund.method, actor=actor, now=now
        )
        row = writing.locked(row)
    if join is not None:
        row = _join(row, join, actor=actor, now=now)
    else:
        outgoing.tell(row, outgoing.Event.NEW, now=now)
    return Reported(row, asked, open_ones, joined=join is not None)


@transaction.atomic
def join(
    *, ticket: Ticket, into: Ticket, actor: Person, now: datetime, seen_version: int | None = None
) -> Ticket:
    """Two tickets are one fault: this one ends, the other goes on.

    Those that were joined to this one go along. Raises IllegalMove, ChangedMeanwhile, Unacceptable.
    """
    return _join(ticket, into, actor=actor, now=now, seen_version=seen_version)


def came_back(closed: Ticket, again: Ticket, *, actor: Person | None, now: datetime) -> None:
    """Note on a closed ticket that its fault came back: it was not mended the first time."""
    row = writing.locked(closed)
    WorkDone.objects.filter(ticket=row).update(first_time=False)
    writing.write(
        row,
        Verb.CAME_BACK,
        {},
        actor=actor,
        now=now,
        said=f"as {again.reference}",
        data={"ticket": again.pk},
    )


def first_of(ticket: Ticket) -> Ticket:
    """The ticket with which a fault began that was closed and came back."""
    return ticket if ticket.reopens is None else ticket.reopens


def _join(
    ticket: Ticket,
    into: Ticket,
    *,
    actor: Person | None,
    now: datetime,
    seen_version: int | None = None,
) -> Ticket:
    if ticket.pk == into.pk:
        message = f"{ticket} cannot be joined to itself"
        raise Unacceptable(message, fields={"into": message})
    if ticket.machine_id != into.machine_id:
        message = f"{into} is of another machine than {ticket}"
        raise Unacceptable(message, fields={"into": message})
    # In the order of their keys, so that two who join each to the other do not deadlock.
    keys = sorted((ticket.pk, into.pk))
    list(
        Ticket.objects.select_for_update(no_key=True, of=("self",))
        .filter(pk__in=keys)
        .order_by("pk")
    )
    row = writing.held(ticket, Verb.JOIN, seen_version=seen_version)
    other = writing.locked(into)
    if not other.is_open:
        message = f"{other} is {other.get_state_display()}; join to one that is open"
        raise Unacceptable(message, fields={"into": message})
    Ticket.objects.filter(joined_to=row).update(joined_to=other)
    writing.write(
        row,
        Verb.JOIN,
        {
            **writing.end_wait(row, now),
            "state": Ticket.State.JOINED,
            "joined_to": other,
            "closed_at": now,
        },
        actor=actor,
        now=now,
        said=f"to {other.reference}",
        data={"into": other.pk},
    )
    writing.write(
        other,
        Verb.NOTE,
        {},
        actor=actor,
        now=now,
        said=f"{row.reference} is the same fault",
        data={"joined": row.pk},
    )
    return row


def _insert(row: Ticket) -> None:
    for attempt in range(5):
        try:
            with transaction.atomic():
                row.save(force_insert=True)
                return
        except IntegrityError:
            # One reference in 2^40 is another's; anything else is refused again and told.
            if attempt == 4 or not Ticket.objects.filter(reference=row.reference).exists():
                raise
            row.reference = new_reference()


def _words(said: str) -> str:
    clean = said.strip()
    if len(clean) > LONGEST:
        message = f"at most {LONGEST} characters; these are {len(clean)}"
        raise Unacceptable(message, fields={"said": message})
    return clean


def _seen_at(reported_at: datetime | None, now: datetime) -> datetime:
    if reported_at is None:
        return now
    if reported_at > now + writing.CLOCKS_DIFFER:
        message = f"{reported_at.isoformat()} is still to come"
        raise Unacceptable(message, fields={"reported_at": message})
    return min(reported_at, now)


def _require_symptom(symptom: Symptom) -> None:
    if not symptom.active:
        message = f"{symptom} is not in use any more; choose another symptom"
        raise Unacceptable(message, fields={"symptom": message})


def _require_column(machine: Machine, column: Column | None) -> None:
    if column is not None and column.machine_id != machine.pk:
        message = f"{column} is not a column of {machine}"
        raise Unacceptable(message, fields={"column": message})


def _require_owner(owner: Person | None) -> None:
    if owner is not None and not owner.has_role(*DESK):
        message = f"{owner} is not at the desk; an owner or a dispatcher looks after tickets"
        raise Unacceptable(message, fields={"owner": message})


def _site(machine: Machine, at: datetime) -> Site | None:
    """Where the machine stood then; nowhere while it was in the shop or in store."""
    placed = (
        Placement.objects.filter(machine=machine, starts_at__lte=at)
        .select_related("site")
        .order_by("-starts_at")
        .first()
    )
    if placed is not None and (placed.ends_at is None or placed.ends_at > at):
        return placed.site
    return None


def _closed_lately(
    machine: Machine, symptom: Symptom, column: Column | None, at: datetime
) -> Ticket | None:
    """The last ticket of the same fault that was closed within the set time."""
    days = ServiceSettings.the().reopen_days
    return (
        Ticket.objects.filter(
            machine=machine,
            symptom=symptom,
            column=column,
            state=Ticket.State.CLOSED,
            closed_at__gte=at - timedelta(days=days),
            closed_at__lte=at,
        )
        .exclude(work__cause__nothing_wrong=True)
        .select_related("reopens")
        .order_by("-closed_at", "-pk")
        .first()
    )
