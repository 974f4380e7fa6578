"""Calendar addresses: given once, kept only as a digest, taken away at any time."""

import hashlib
import secrets
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import Q

from people import rows
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import Person
from people.roles import Role

from ..models import CalendarAddress

SECRET_BYTES: Final = 32
MOST: Final = 10
"""Addresses of one person that are open at a time."""
USE_NOTED_EVERY: Final = timedelta(minutes=10)


@transaction.atomic
def make(
    *, person: Person, name: str, shows: str, actor: Person, now: datetime
) -> tuple[CalendarAddress, str]:
    """Make an address for one calendar of `person`. The secret in the answer is kept nowhere.

    People make their own. Raises NotAllowed, Unacceptable, Unable where there are too many.
    """
    if actor.pk != person.pk:
        raise NotAllowed("everybody makes calendar addresses for themselves only")
    if not person.has_role(*Role):
        raise NotAllowed("what is due is for those who hold a role here")
    name = name.strip()
    if not name:
        message = "say which calendar has it"
        raise Unacceptable(message, fields={"name": message})
    if CalendarAddress.objects.filter(person=person, revoked_at__isnull=True).count() >= MOST:
        raise Unable(f"{person} has {MOST} addresses; take one away first", code="too_many")
    secret = secrets.token_urlsafe(SECRET_BYTES)
    row = rows.put(
        CalendarAddress(person=person),
        {"name": name, "shows": shows, "digest": _digest(secret), "made_at": now},
        actor=actor,
        verb="make calendar address",
        now=now,
    )
    return row, secret


@transaction.atomic
def revoke(*, address: CalendarAddress, actor: Person, now: datetime) -> CalendarAddress:
    """Take an address away, for good; twice changes nothing. Its person may, and an owner.

    Raises NotAllowed.
    """
    if actor.pk != address.person_id and not actor.has_role(Role.OWNER):
        raise NotAllowed("only its person or an owner takes a calendar address away")
    row = CalendarAddress.objects.select_for_update(of=("self",)).get(pk=address.pk)
    if row.revoked_at is not None:
        return row
    changes = {"revoked_at": now, "revoked_by": actor}
    return rows.put(row, changes, actor=actor, verb="revoke calendar address", now=now)


def opened_by(*, secret: str, now: datetime) -> CalendarAddress | None:
    """The address that a secret opens, with its person; None when it opens nothing (any more).

    Notes the use now and then, so that a calendar that asks often does not write each time.
    """
    row = (
        CalendarAddress.objects.select_related("person")
        .filter(digest=_digest(secret), revoked_at__isnull=True, person__is_active=True)
        .first()
    )
    if row is None or not row.person.has_role(*Role):
        return None
    stale = now - USE_NOTED_EVERY
    if row.last_used_at is None or row.last_used_at <= stale:
        CalendarAddress.objects.filter(
            Q(last_used_at__isnull=True) | Q(last_used_at__lte=stale), pk=row.pk
        ).update(last_used_at=now)
    return row


def _digest(secret: str) -> str:
    # A plain hash is enough for 256 random bits.
    return hashlib.sha256(secret.encode()).hexdigest()
