"""Pictures and papers put to a ticket, or taken away again."""

import hashlib
from datetime import datetime

from django.db import transaction

from people import audit, rows
from people.errors import NotAllowed, Unable
from people.models import Person
from people.roles import Role

from .. import writing
from ..models import Attachment, Ticket
from ..pictures import cleaned
from ..states import Verb

MOST = 10
"""Attachments of one ticket."""


@transaction.atomic
def add(
    *, ticket: Ticket, name: str, raw: bytes, actor: Person | None, now: datetime
) -> Attachment:
    """Put a picture to a ticket, or a PDF by somebody who works here.

    The same file again is the same attachment. `actor` None: it came with a report. Raises
    Unacceptable for what is no such file or too large, Unable "too_many", NotYours.
    """
    clean = cleaned(name, raw, pdf=actor is not None)
    row = writing.held(ticket, Verb.ATTACH)
    writing.require_part(row, actor)
    digest = hashlib.sha256(clean.raw).hexdigest()
    same = row.attachments.filter(sha256=digest).defer("raw").first()
    if same is not None:
        return same
    if row.attachments.count() >= MOST:
        raise Unable(f"{row} has {MOST} attachments already; remove one first", code="too_many")
    attachment = Attachment.objects.create(
        ticket=row,
        name=clean.name,
        media_type=clean.media_type,
        size=len(clean.raw),
        sha256=digest,
        raw=clean.raw,
        added_by=actor,
        at=now,
    )
    audit.record(
        actor=actor,
        verb="add attachment",
        row=attachment,
        now=now,
        after=audit.values(attachment),
    )
    data = {"attachment": attachment.pk}
    writing.write(row, Verb.ATTACH, {}, actor=actor, now=now, said=attachment.name, data=data)
    return attachment


@transaction.atomic
def remove(*, attachment: Attachment, reason: str, actor: Person, now: datetime) -> None:
    """Take an attachment away for good: the desk, or whoever added it. Raises NotAllowed,
    Unacceptable."""
    why = writing.require_said(reason)
    if not actor.has_role(Role.OWNER, Role.DISPATCHER) and attachment.added_by_id != actor.pk:
        raise NotAllowed(f"{attachment} was not added by you; ask the dispatcher")
    row = writing.held(attachment.ticket, Verb.ATTACH)
    pk, name = attachment.pk, attachment.name
    rows.delete(attachment, actor=actor, verb="remove attachment", now=now, reason=why)
    writing.write(
        row,
        Verb.ATTACH,
        {},
        actor=actor,
        now=now,
        said=f"{name} removed: {why}",
        data={"attachment": pk},
        reason=why,
    )
