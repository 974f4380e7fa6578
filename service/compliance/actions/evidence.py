"""Papers and pictures kept as evidence."""

import hashlib
from dataclasses import dataclass
from datetime import datetime

from people import audit
from people.models import Person
from service.tickets.pictures import cleaned

from ..models import Evidence


@dataclass(frozen=True)
class GivenFile:
    """A file as it came: its name and its bytes."""

    name: str
    raw: bytes


def keep(given: GivenFile | None, *, actor: Person, now: datetime) -> Evidence | None:
    """Keep a file, in the caller's transaction; None for none.

    A picture is written anew without what cameras hide in it. Raises Unacceptable for what is no
    picture and no PDF, or too large.
    """
    if given is None:
        return None
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
