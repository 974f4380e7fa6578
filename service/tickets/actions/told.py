"""What a driver tells of tickets from the road: late, twice or out of order, as the signal lets it.

Each act counts once for its key, for ever, and from the moment it happened by the sender's clock;
the same key again is answered alike. What the act does is the business of the action it names.
"""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from fleet.inventory.models import StockPlace
from fleet.machines.models import Column, Machine
from people import told
from people.models import Person
from people.told import KeyReused, Sent

from .. import writing
from ..models import Cause, Symptom, Ticket, TicketAct
from . import attachments, changes, closing, moves, reporting

Verb = TicketAct.Verb
CLOCK_OFF = timedelta(minutes=10)
"""A clock that differs by more is told, not set right. From experience; no published source."""


@dataclass(frozen=True)
class Photo:
    """A picture as it came, before it is checked."""

    name: str
    raw: bytes


@dataclass(frozen=True)
class Answer:
    """What an act did; `replayed` when it had been done before."""

    act: TicketAct
    result: Mapping[str, Any]
    replayed: bool = False


def report(
    *,
    machine: Machine,
    symptom: Symptom,
    sent: Sent,
    actor: Person,
    now: datetime,
    column: Column | None = None,
    said: str = "",
    photos: Sequence[Photo] = (),
) -> Answer:
    """Something is wrong with a machine that the driver stands before. What `reporting.report`
    raises."""

    def do(at: datetime) -> Ticket:
        made = reporting.report(
            machine=machine,
            symptom=symptom,
            column=column,
            said=said,
            source=Ticket.Source.DRIVER,
            reported_at=at,
            actor=actor,
            now=now,
        )
        return _with_photos(made.ticket, photos, actor, now)

    given = {"symptom": symptom.pk, "column": _key(column), "said": said, "photos": _named(photos)}
    return _once(Verb.REPORT, machine, given, sent=sent, actor=actor, now=now, do=do)


def take(*, ticket: Ticket, sent: Sent, actor: Person, now: datetime) -> Answer:
    """Whoever goes says so. What `moves.take` raises."""

    def do(_at: datetime) -> Ticket:
        return moves.take(ticket=ticket, actor=actor, now=now)

    return _once(Verb.TAKE, ticket, {}, sent=sent, actor=actor, now=now, do=do)


def hand_back(*, ticket: Ticket, reason: str, sent: Sent, actor: Person, now: datetime) -> Answer:
    """Whoever was to go does not. What `moves.hand_back` raises."""

    def do(_at: datetime) -> Ticket:
        return moves.hand_back(ticket=ticket, reason=reason, actor=actor, now=now)

    return _once(Verb.HAND_BACK, ticket, {"reason": reason}, sent=sent, actor=actor, now=now, do=do)


def on_site(*, ticket: Ticket, sent: Sent, actor: Person, now: datetime) -> Answer:
    """Somebody is at the machine and begins. What `moves.on_site` raises."""

    def do(at: datetime) -> Ticket:
        return moves.on_site(ticket=ticket, at=at, actor=actor, now=now)

    return _once(Verb.ON_SITE, ticket, {}, sent=sent, actor=actor, now=now, do=do)


def wait(*, ticket: Ticket, reason: str, sent: Sent, actor: Person, now: datetime) -> Answer:
    """Nothing can be done until something comes. What `moves.wait` raises."""

    def do(_at: datetime) -> Ticket:
        return moves.wait(ticket=ticket, reason=reason, actor=actor, now=now)

    return _once(Verb.WAIT, ticket, {"reason": reason}, sent=sent, actor=actor, now=now, do=do)


def resume(*, ticket: Ticket, sent: Sent, actor: Person, now: datetime) -> Answer:
    """What it waited for is there. What `moves.resume` raises."""

    def do(_at: datetime) -> Ticket:
        return moves.resume(ticket=ticket, actor=actor, now=now)

    return _once(Verb.RESUME, ticket, {}, sent=sent, actor=actor, now=now, do=do)


def note(*, ticket: Ticket, said: str, sent: Sent, actor: Person, now: datetime) -> Answer:
    """A line for the timeline. What `changes.note` raises."""

    def do(at: datetime) -> Ticket:
        return changes.note(ticket=ticket, said=said, at=at, actor=actor, now=now)

    return _once(Verb.NOTE, ticket, {"said": said}, sent=sent, actor=actor, now=now, do=do)


def photo(
    *, ticket: Ticket, photos: Sequence[Photo], sent: Sent, actor: Person, now: datetime
) -> Answer:
    """Pictures for the ticket, of whoever is or was at it. What `attachments.add` raises."""

    def do(at: datetime) -> Ticket:
        writing.require_holder(ticket, actor, at=at)
        return _with_photos(ticket, photos, actor, now)

    given = {"photos": _named(photos)}
    return _once(Verb.PHOTO, ticket, given, sent=sent, actor=actor, now=now, do=do)


def close(
    *,
    ticket: Ticket,
    cause: Cause,
    work: str,
    minutes: int,
    sent: Sent,
    actor: Person,
    now: datetime,
    parts: Sequence[closing.Part] = (),
    place: StockPlace | None = None,
    test_vends_made: int = 0,
    test_vends_passed: int = 0,
    left: closing.ColumnLeft | None = None,
    photos: Sequence[Photo] = (),
) -> Answer:
    """Close a ticket with the work that was done, its pictures with it. What `closing.close` and
    `attachments.add` raise."""

    def do(at: datetime) -> Ticket:
        closing.close(
            ticket=ticket,
            cause=cause,
            work=work,
            minutes=minutes,
            parts=parts,
            place=place,
            test_vends_made=test_vends_made,
            test_vends_passed=test_vends_passed,
            left=left,
            at=at,
            actor=actor,
            now=now,
        )
        return _with_photos(ticket, photos, actor, now)

    given = {
        "cause": cause.pk,
        "work": work,
        "minutes": minutes,
        "parts": [[one.product.pk, one.quantity] for one in parts],
        "place": _key(place),
        "test_vends": [test_vends_made, test_vends_passed],
        "left": None if left is None else _left_said(left),
        "photos": _named(photos),
    }
    return _once(Verb.CLOSE, ticket, given, sent=sent, actor=actor, now=now, do=do)


@transaction.atomic
def _once(
    verb: TicketAct.Verb,
    about: Ticket | Machine,
    said: Mapping[str, Any],
    *,
    sent: Sent,
    actor: Person,
    now: datetime,
    do: Callable[[datetime], Ticket],
) -> Answer:
    """Do an act unless its key was done already; then give its answer again. Raises KeyReused."""
    told.require_key(sent.key)
    # When it was sent is left out: a device that tries again says another time.
    whose = (type(about).__name__, about.pk)
    digest = told.digest(str(verb), *whose, sent.at.timestamp(), told.plain(said))
    told.alone(actor, sent, what="ticket")
    earlier = TicketAct.objects.order_by().filter(actor=actor, key=sent.key).first()
    if earlier is not None:
        if earlier.digest != digest:
            raise KeyReused(sent.key)
        return Answer(earlier, earlier.result, replayed=True)
    off = _clock_off(sent, now)
    flags = []
    if off is not None and abs(off) > CLOCK_OFF:
        ahead = "ahead of" if off > timedelta(0) else "behind"
        minutes = abs(off) // timedelta(minutes=1)
        flags.append(
            {"code": "clock_off", "said": f"the sender's clock is {minutes} minutes {ahead} ours"}
        )
    at = min(sent.at, now)
    if isinstance(about, Ticket) and at < about.reported_at:
        # What is done to a ticket came after its report, whatever a slow clock says.
        at = min(about.reported_at, now)
    row = do(at)
    row = Ticket.objects.select_related("machine", "symptom").get(pk=row.pk)
    act = TicketAct(
        ticket=row,
        verb=verb,
        actor=actor,
        key=sent.key,
        digest=digest,
        client_at=sent.at,
        server_at=now,
        sent_at=sent.sent_at,
        clock_off_s=None if off is None else _bounded(off),
    )
    act.result = told.plain(
        {
            "verb": str(verb),
            "at": sent.at,
            "recorded_at": now,
            "clock_off_s": act.clock_off_s,
            "flags": flags,
            "ticket": _about(row),
        }
    )
    act.save(force_insert=True)
    return Answer(act, act.result)


def _about(row: Ticket) -> dict[str, Any]:
    return {
        "id": row.pk,
        "reference": row.reference,
        "machine": row.machine_id,
        "asset_tag": row.machine.asset_tag,
        "symptom": row.symptom_id,
        "symptom_words": row.symptom.words,
        "state": row.state,
        "given_to": row.given_to_id,
        "promised_at": row.promised_at,
        "version": row.version,
    }


def _with_photos(row: Ticket, photos: Sequence[Photo], actor: Person, now: datetime) -> Ticket:
    for one in photos:
        attachments.add(ticket=row, name=one.name, raw=one.raw, actor=actor, now=now)
    return row


def _named(photos: Sequence[Photo]) -> list[str]:
    return [hashlib.sha256(one.raw).hexdigest() for one in photos]


def _left_said(left: closing.ColumnLeft) -> dict[str, Any]:
    said = {name: value for name, value in vars(left).items() if name not in {"column", "program"}}
    return said | {"column": left.column.pk, "program": _key(left.program)}


def _key(row: Any) -> int | None:
    return None if row is None else row.pk


def _clock_off(sent: Sent, now: datetime) -> timedelta | None:
    """The sender's clock ahead of ours; None when nothing tells."""
    if sent.sent_at is not None:
        return sent.sent_at - now
    return sent.at - now if sent.at > now else None


def _bounded(off: timedelta) -> int:
    return max(-2_000_000_000, min(2_000_000_000, round(off.total_seconds())))
