"""Device tokens: given once, kept only as a digest, taken away at any time."""

import hashlib
import secrets
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from people import audit, rows
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import DeviceToken, Person
from people.roles import Role

MOST_DAYS = 730
USUAL_DAYS = 180
SECRET_BYTES = 32
USE_NOTED_EVERY = timedelta(minutes=1)


def issue(
    *, person: Person, name: str, actor: Person, now: datetime, days: int = USUAL_DAYS
) -> tuple[DeviceToken, str]:
    """Make a token for one device of `person`. The secret in the answer is kept nowhere.

    People make tokens for themselves, owners for anybody who works here. Raises Unacceptable or
    NotAllowed.
    """
    if actor != person and not actor.has_role(Role.OWNER):
        raise NotAllowed("only an owner makes a token for somebody else")
    if not person.is_active:
        raise Unable(f"{person} no longer works here and can carry no token", code="not_active")
    if not 1 <= days <= MOST_DAYS:
        message = f"{days} days cannot be used; a token lives from 1 to {MOST_DAYS} days"
        raise Unacceptable(message, fields={"days": message})
    secret = secrets.token_urlsafe(SECRET_BYTES)
    token = rows.put(
        DeviceToken(person=person, created_by=actor),
        {
            "name": name.strip(),
            "prefix": secret[:6],
            "digest": _digest(secret),
            "created_at": now,
            "expires_at": now + timedelta(days=days),
        },
        actor=actor,
        verb="issue device token",
        now=now,
    )
    return token, secret


@transaction.atomic
def revoke(*, token: DeviceToken, actor: Person, now: datetime, reason: str = "") -> DeviceToken:
    """Take a token away, at once and for good. Its holder may, and an owner. Twice changes nothing.

    Raises NotAllowed.
    """
    if actor.pk != token.person_id and not actor.has_role(Role.OWNER):
        raise NotAllowed("only its holder or an owner takes a device token away")
    return _take_away(token.pk, actor=actor, now=now, reason=reason)


@transaction.atomic
def revoke_all(*, person: Person, actor: Person, now: datetime, reason: str) -> None:
    """Take away every token of a person that still opens something. Raises NotAllowed."""
    if actor.pk != person.pk and not actor.has_role(Role.OWNER):
        raise NotAllowed("only its holder or an owner takes a device token away")
    for token in person.device_tokens.filter(revoked_at__isnull=True).order_by("pk"):
        _take_away(token.pk, actor=actor, now=now, reason=reason)


def _take_away(pk: int, *, actor: Person, now: datetime, reason: str) -> DeviceToken:
    locked = DeviceToken.objects.select_for_update(of=("self",)).get(pk=pk)
    if locked.revoked_at is not None:
        return locked
    before = audit.values(locked)
    locked.revoked_at, locked.revoked_by = now, actor
    locked.save(update_fields=["revoked_at", "revoked_by"])
    audit.record(
        actor=actor,
        verb="revoke device token",
        row=locked,
        now=now,
        before=before,
        after=audit.values(locked),
        reason=reason,
    )
    return locked


def holder(*, secret: str, now: datetime) -> DeviceToken | None:
    """The token that a secret opens, with its person, or None when it opens nothing (any more).

    Notes the use at most once a minute, so that a busy device does not write on every request.
    """
    token = (
        DeviceToken.objects.select_related("person")
        .filter(
            digest=_digest(secret),
            revoked_at__isnull=True,
            expires_at__gt=now,
            person__is_active=True,
        )
        .first()
    )
    if token is None:
        return None
    stale = now - USE_NOTED_EVERY
    if token.last_used_at is None or token.last_used_at <= stale:
        DeviceToken.objects.filter(
            Q(last_used_at__isnull=True) | Q(last_used_at__lte=stale), pk=token.pk
        ).update(last_used_at=now)
        token.last_used_at = now
    return token


def _digest(secret: str) -> str:
    # A plain hash is enough for 256 random bits; a slow one would tax every request.
    return hashlib.sha256(secret.encode()).hexdigest()
