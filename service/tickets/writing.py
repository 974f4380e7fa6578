"""How an act on a ticket is written: the ticket locked and judged, then its change, the line of its
timeline, and the audit entry. One version more with each act.
"""

from collections.abc import Mapping
from copy import copy
from datetime import datetime, timedelta
from typing import Any

from people import audit
from people.errors import Unacceptable
from people.models import Person
from people.roles import Role

from . import promises
from .actions.errors import ChangedMeanwhile, IllegalMove, NotYours
from .models import Ticket, TicketEvent
from .states import MOVES, Verb, may

DESK = (Role.OWNER, Role.DISPATCHER)
CLOCKS_DIFFER = timedelta(minutes=10)
"""How far a sender's clock may run ahead of ours. From experience; no published source."""


def held(ticket: Ticket, verb: Verb, *, seen_version: int | None = None) -> Ticket:
    """The ticket as it stands, locked, when the verb is possible. In a transaction.

    Raises ChangedMeanwhile when it is not as it was seen, IllegalMove when its state forbids.
    """
    row = locked(ticket)
    if seen_version is not None and seen_version != row.version:
        later = row.events.select_related("actor").filter(data__version__gt=seen_version)
        raise ChangedMeanwhile(row, list(later.order_by("pk")[:20]))
    if not may(verb, row.state):
        last = row.events.select_related("actor").filter(verb__in=ENDING).order_by("-pk").first()
        raise IllegalMove(row, verb, last)
    return row


def locked(ticket: Ticket) -> Ticket:
    """The ticket as it stands, locked until the transaction ends."""
    return (
        Ticket.objects.select_for_update(no_key=True, of=("self",))
        .select_related("machine", "column__position", "site", "symptom", "owner", "given_to")
        .get(pk=ticket.pk)
    )


ENDING = tuple(str(verb) for verb in MOVES if verb not in {Verb.NOTE, Verb.ATTACH, Verb.REFUND})


def write(
    row: Ticket,
    verb: Verb,
    changes: Mapping[str, Any],
    *,
    actor: Person | None,
    now: datetime,
    at: datetime | None = None,
    said: str = "",
    data: Mapping[str, Any] | None = None,
    reason: str = "",
) -> TicketEvent:
    """Write what an act changed on a locked ticket, with its event and its audit entry.

    Whoever writes a move that its table does not know has made a mistake (AssertionError).
    """
    if verb is not Verb.REPORT:
        wanted = changes.get("state", row.state)
        if wanted not in MOVES[verb].get(row.state, ()):
            raise AssertionError(f"{verb} takes no ticket from {row.state} to {wanted}")
    before = values(row)
    for name, value in changes.items():
        setattr(row, name, value)
    row.version += 1
    row.save(update_fields=[*changes, "version", "updated_at"])
    audit.record(
        actor=actor,
        verb=f"ticket: {str(verb).replace('_', ' ')}",
        row=row,
        now=now,
        before=before,
        after=values(row),
        reason=reason,
    )
    data = {"version": row.version, **(data or {})}
    return event(row, verb, actor=actor, now=now, at=at, said=said, data=data)


def values(row: Ticket) -> dict[str, Any]:
    """The columns for the audit trail, without the words of the report: they may tell who it was,
    and the trail forgets nothing."""
    return {name: value for name, value in audit.values(row).items() if name != "said"}


def event(
    row: Ticket,
    verb: Verb,
    *,
    actor: Person | None,
    now: datetime,
    at: datetime | None = None,
    said: str = "",
    data: Mapping[str, Any] | None = None,
) -> TicketEvent:
    """One line of the timeline."""
    return TicketEvent.objects.create(
        ticket=row,
        at=at or now,
        recorded_at=now,
        actor=actor,
        verb=str(verb),
        said=said,
        data=dict(data or {}),
    )


def end_wait(row: Ticket, at: datetime) -> dict[str, Any]:
    """What a ticket's columns become when its clock runs again; nothing when it was not waiting."""
    if row.paused_at is None:
        return {}
    stood = row.paused_minutes + promises.paused_for(row, until=max(at, row.paused_at))
    then = with_changes(row, {"paused_minutes": stood})
    return {
        "paused_at": None,
        "waiting_for": "",
        "paused_minutes": stood,
        **promises.changes(then, now=at),
    }


def with_changes(row: Ticket, changes: Mapping[str, Any]) -> Ticket:
    """The ticket as it would be; the row itself stays as it is."""
    then = copy(row)
    for name, value in changes.items():
        setattr(then, name, value)
    return then


def require_said(text: str, name: str = "reason", *, most: int = 300) -> str:
    """What somebody must give in words. Raises Unacceptable."""
    clean = text.strip()
    if not clean:
        raise Unacceptable(f"{name}: say why", fields={name: "say why"})
    if len(clean) > most:
        message = f"at most {most} characters; these are {len(clean)}"
        raise Unacceptable(f"{name}: {message}", fields={name: message})
    return clean


def when(row: Ticket, at: datetime | None, *, now: datetime) -> datetime:
    """When an act happened that may be told late. Raises Unacceptable.

    A moment a little ahead is another clock's and counts as now.
    """
    if at is None:
        return now
    if at > now + CLOCKS_DIFFER:
        message = f"{at.isoformat()} is still to come"
        raise Unacceptable(message, fields={"at": message})
    if at < row.reported_at:
        message = (
            f"{at.isoformat()} is before it was reported, which was {row.reported_at.isoformat()}"
        )
        raise Unacceptable(message, fields={"at": message})
    return min(at, now)


def require_holder(row: Ticket, actor: Person, *, at: datetime | None = None) -> None:
    """The desk, or the driver to whom it is given; with `at`, who could have been at it then.

    Raises NotYours.
    """
    if actor.has_role(*DESK) or row.given_to_id == actor.pk:
        return
    if at is not None and was_free_for(row, actor, at):
        return
    raise NotYours(row)


def require_part(row: Ticket, actor: Person | None) -> None:
    """The desk, a driver who has or had to do with it, or anybody while it is nobody's; no person
    stands for a customer or the service. Raises NotYours."""
    if actor is None or actor.has_role(*DESK) or row.given_to_id in (None, actor.pk):
        return
    if not row.events.filter(data__given_to=actor.pk).exists():
        raise NotYours(row)


def was_free_for(row: Ticket, actor: Person, at: datetime) -> bool:
    """Whether the ticket was this driver's or nobody's at a moment, by its timeline.

    What was done then in a basement was done, though the desk gave it to another meanwhile.
    """
    last = row.events.filter(at__lte=at, data__has_key="given_to").order_by("-at", "-pk").first()
    holder = None if last is None else last.data["given_to"]
    return actor.has_role(Role.DRIVER) and holder in (None, actor.pk)
