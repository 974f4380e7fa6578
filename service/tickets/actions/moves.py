"""Who goes, who is there, what it waits for, and how it ends without work."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from people import audit
from people.actions import notices
from people.errors import Unacceptable
from people.models import Person
from people.roles import Role

from .. import outgoing, promises, writing
from ..models import ServiceSettings, Ticket
from ..states import Verb
from .errors import GivenToAnother, IllegalMove, OpenedAgain, TooLongAgo, moment
from .reporting import came_back, first_of

State = Ticket.State
GOES = (Role.DRIVER, Role.DISPATCHER, Role.OWNER)
NOBODY: Mapping[str, Any] = {"given_to": None, "taken_at": None, "on_site_at": None}


@transaction.atomic
def give(
    *, ticket: Ticket, to: Person, actor: Person, now: datetime, seen_version: int | None = None
) -> Ticket:
    """Give the ticket to somebody who goes there, or to another than before, and tell them.

    Raises IllegalMove, ChangedMeanwhile, Unacceptable.
    """
    if not to.has_role(*GOES):
        message = f"{to} goes to no machines; give it to a driver"
        raise Unacceptable(message, fields={"to": message})
    row = writing.held(ticket, Verb.GIVE, seen_version=seen_version)
    if row.given_to_id == to.pk:
        return row
    changes: dict[str, Any] = {**NOBODY, "given_to": to}
    if row.state != State.WAITING:
        changes["state"] = State.GIVEN
    _written(
        row, Verb.GIVE, changes, actor=actor, now=now, said=f"to {to}", data={"given_to": to.pk}
    )
    if to.pk != actor.pk:
        _tell_given(row, to, actor=actor, now=now)
    return row


@transaction.atomic
def take(
    *,
    ticket: Ticket,
    actor: Person,
    now: datetime,
    at: datetime | None = None,
    seen_version: int | None = None,
) -> Ticket:
    """Whoever goes says so: takes what is given to nobody, or accepts what was given.

    Raises GivenToAnother, IllegalMove, ChangedMeanwhile, Unacceptable.
    """
    row = writing.held(ticket, Verb.TAKE, seen_version=seen_version)
    taken = writing.when(row, at, now=now)
    if row.given_to_id not in (None, actor.pk):
        raise GivenToAnother(row)
    if row.given_to_id == actor.pk and row.taken_at is not None:
        return row
    changes = {"state": State.GIVEN, "given_to": actor, "taken_at": taken}
    data = {"given_to": actor.pk}
    return _written(row, Verb.TAKE, changes, actor=actor, now=now, at=taken, data=data)


@transaction.atomic
def hand_back(
    *,
    ticket: Ticket,
    reason: str,
    actor: Person,
    now: datetime,
    at: datetime | None = None,
    seen_version: int | None = None,
) -> Ticket:
    """Whoever was to go does not: the ticket is nobody's again. Raises NotYours, IllegalMove,
    ChangedMeanwhile, Unacceptable."""
    why = writing.require_said(reason)
    row = writing.held(ticket, Verb.HAND_BACK, seen_version=seen_version)
    writing.require_holder(row, actor)
    if row.given_to_id is None:
        raise IllegalMove(row, Verb.HAND_BACK)
    when = writing.when(row, at, now=now)
    changes = dict(NOBODY)
    if row.state != State.WAITING:
        changes["state"] = State.NEW
    return _written(
        row,
        Verb.HAND_BACK,
        changes,
        actor=actor,
        now=now,
        at=when,
        reason=why,
        data={"given_to": None},
    )


@transaction.atomic
def on_site(
    *,
    ticket: Ticket,
    actor: Person,
    now: datetime,
    at: datetime | None = None,
    seen_version: int | None = None,
) -> Ticket:
    """Somebody is at the machine and begins; what was nobody's at that moment is then theirs.

    Told after the ticket was closed it only fills in when the work began. Raises GivenToAnother,
    IllegalMove, ChangedMeanwhile, Unacceptable.
    """
    row = writing.held(ticket, Verb.ON_SITE, seen_version=seen_version)
    began = writing.when(row, at, now=now)
    if row.state == State.CLOSED:
        return _began_before(row, began, actor=actor, now=now)
    if row.given_to_id not in (None, actor.pk) and not writing.was_free_for(row, actor, began):
        raise GivenToAnother(row)
    changes = {
        **writing.end_wait(row, began),
        "state": State.ON_SITE,
        "given_to": actor,
        "taken_at": row.taken_at or began,
        "on_site_at": began,
    }
    return _written(
        row, Verb.ON_SITE, changes, actor=actor, now=now, at=began, data={"given_to": actor.pk}
    )


@transaction.atomic
def wait(
    *,
    ticket: Ticket,
    reason: str,
    actor: Person,
    now: datetime,
    at: datetime | None = None,
    seen_version: int | None = None,
) -> Ticket:
    """Nothing can be done until something comes: the clock of the promise stands.

    Raises NotYours, IllegalMove, ChangedMeanwhile, Unacceptable.
    """
    why = writing.require_said(reason)
    row = writing.held(ticket, Verb.WAIT, seen_version=seen_version)
    writing.require_holder(row, actor)
    since = writing.when(row, at, now=now)
    changes = {"state": State.WAITING, "paused_at": since, "waiting_for": why}
    return _written(row, Verb.WAIT, changes, actor=actor, now=now, at=since, reason=why)


@transaction.atomic
def resume(
    *,
    ticket: Ticket,
    actor: Person,
    now: datetime,
    at: datetime | None = None,
    seen_version: int | None = None,
) -> Ticket:
    """What it waited for is there; the clock runs again. Raises NotYours, IllegalMove,
    ChangedMeanwhile, Unacceptable."""
    row = writing.held(ticket, Verb.RESUME, seen_version=seen_version)
    writing.require_holder(row, actor)
    when = writing.when(row, at, now=now)
    state = State.NEW if row.given_to_id is None else State.GIVEN
    changes = {**writing.end_wait(row, when), "state": state, "on_site_at": None}
    return _written(row, Verb.RESUME, changes, actor=actor, now=now, at=when)


@transaction.atomic
def drop(
    *,
    ticket: Ticket,
    reason: str,
    actor: Person,
    now: datetime,
    seen_version: int | None = None,
) -> Ticket:
    """Nobody needs to go after all: it ends without work. Raises IllegalMove, ChangedMeanwhile,
    Unacceptable."""
    why = writing.require_said(reason)
    row = writing.held(ticket, Verb.DROP, seen_version=seen_version)
    changes = {**writing.end_wait(row, now), "state": State.DROPPED, "closed_at": now}
    return _written(row, Verb.DROP, changes, actor=actor, now=now, reason=why)


@transaction.atomic
def reopen(
    *,
    ticket: Ticket,
    reason: str,
    actor: Person,
    now: datetime,
    seen_version: int | None = None,
) -> Ticket:
    """Take up again what had ended. Gives the ticket that is then open.

    A dropped or joined one is new again. A closed one stays closed, marked as not mended the first
    time, and a new one goes on from the first of them; but only within the set time, later it is
    another fault. Raises TooLongAgo, IllegalMove, ChangedMeanwhile, Unacceptable.
    """
    why = writing.require_said(reason)
    row = writing.held(ticket, Verb.REOPEN, seen_version=seen_version)
    if row.state != State.CLOSED:
        changes = {**NOBODY, "state": State.NEW, "closed_at": None, "joined_to": None}
        return _written(
            row,
            Verb.REOPEN,
            changes,
            actor=actor,
            now=now,
            reason=why,
            data={"given_to": None},
        )
    _require_lately_closed(row, now)
    _require_not_open_again(row)
    again = Ticket(
        machine=row.machine,
        column=row.column,
        site=row.site,
        symptom=row.symptom,
        urgency=row.urgency,
        priority=row.priority,
        source=Ticket.Source.DRIVER if actor.has_role(Role.DRIVER) else Ticket.Source.DESK,
        paid_how=row.paid_how,
        said=why,
        contact_name=row.contact_name,
        contact_reach=row.contact_reach,
        reported_at=now,
        recorded_at=now,
        owner=row.owner,
        reopens=first_of(row),
        version=1,
    )
    for name, value in promises.changes(again, now=now).items():
        setattr(again, name, value)
    again.save(force_insert=True)
    audit.record(
        actor=actor,
        verb="ticket: reopen",
        row=again,
        now=now,
        after=writing.values(again),
        reason=why,
    )
    writing.event(
        again,
        Verb.REOPEN,
        actor=actor,
        now=now,
        said=f"from {row.reference}: {why}",
        data={"from": row.pk},
    )
    came_back(row, again, actor=actor, now=now)
    outgoing.tell(again, outgoing.Event.NEW, now=now)
    return again


def _began_before(row: Ticket, began: datetime, *, actor: Person, now: datetime) -> Ticket:
    work = row.work
    if work.done_by_id != actor.pk or row.closed_at is None or began > row.closed_at:
        raise IllegalMove(row, Verb.ON_SITE)
    if row.on_site_at is not None and row.on_site_at <= began:
        return row
    return _written(row, Verb.ON_SITE, {"on_site_at": began}, actor=actor, now=now, at=began)


def _tell_given(row: Ticket, to: Person, *, actor: Person, now: datetime) -> None:
    """Say to whoever goes that it is theirs. Who takes a ticket oneself knows."""
    where = f", {row.site}" if row.site else ""
    promised = ""
    if row.promised_at is not None:
        promised = f" Promised for {moment(row.promised_at, row)}, {row.promised_by}."
    notices.tell(
        people=[to],
        # Given again after it was somebody else's, it is told of again.
        key=f"ticket {row.pk} given {row.version}",
        subject=f"For you: {row.symptom}, {row.machine}{where}",
        text=f"{actor} gave you {row.reference}: {row.symptom}, {row.machine}{where}.{promised}",
        address=outgoing.page_on_the_road(row),
        now=now,
    )


def _require_lately_closed(row: Ticket, now: datetime) -> None:
    days = ServiceSettings.the().reopen_days
    if row.closed_at is not None and row.closed_at < now - timedelta(days=days):
        raise TooLongAgo(
            f"{row} was closed on {moment(row.closed_at, row)}, more than {days} days ago; report "
            "it anew, it counts as another fault"
        )


def _require_not_open_again(row: Ticket) -> None:
    other = Ticket.objects.filter(reopens=first_of(row), state__in=Ticket.OPEN).first()
    if other is not None:
        raise OpenedAgain(f"{row} was opened again already, as {other.reference}")


def _written(
    row: Ticket,
    verb: Verb,
    changes: Mapping[str, Any],
    *,
    actor: Person,
    now: datetime,
    at: datetime | None = None,
    said: str = "",
    reason: str = "",
    data: Mapping[str, Any] | None = None,
) -> Ticket:
    writing.write(
        row,
        verb,
        changes,
        actor=actor,
        now=now,
        at=at,
        said=said or reason,
        data=data,
        reason=reason,
    )
    return row
