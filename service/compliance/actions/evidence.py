"""Papers and pictures kept as evidence."""

import hashlib
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from people import audit
from people.errors import NotAllowed
from people.models import Person
from people.roles import Role
from service.tickets.pictures import cleaned

from ..models import Evidence


@dataclass(frozen=True)
class GivenFile:
    """A file as it came: its name and its bytes."""

    name: str
    raw: bytes


def keep(given: GivenFile | Evidence | None, *, actor: Person, now: datetime) -> Evidence | None:
    """The evidence that a file becomes, or that was kept before; None for none. In the caller's
    transaction. Raises as `add` does."""
    return add(given, actor=actor, now=now) if isinstance(given, GivenFile) else given


@transaction.atomic
def add(given: GivenFile, *, actor: Person, now: datetime) -> Evidence:
    """Keep a file as evidence; the same file again is the same evidence.

    A picture is written anew without what cameras hide in it. Raises Unacceptable for what is no
    picture and no PDF, or too large, and NotAllowed for somebody without a role.
    """
    if not actor.has_role(*Role):
        raise NotAllowed("only who works here in a role adds evidence")
    clean = cleaned(given.name, given.raw, pdf=True)
    facts = {
        "name": clean.name,
        "media_type": clean.media_type,
        "size": len(clean.raw),
        "raw": clean.raw,
        "added_by": actor,
        "at": now,
    }
    digest = hashlib.sha256(clean.raw).hexdigest()
    row, is_new = Evidence.objects.get_or_create(sha256=digest, defaults=facts)
    if is_new:
        audit.record(actor=actor, verb="add evidence", row=row, now=now, after=audit.values(row))
    return row
