"""The audit trail: every action leaves one entry for each row it changed."""

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import Any

import structlog
from django.db import models

from .models import AuditEntry, Person

PERSONAL = frozenset({"contact_name", "contact_reach", "contact_digest"})
"""Columns that tell who a customer is."""


def values(row: models.Model, fields: Iterable[str] | None = None) -> dict[str, Any]:
    """A row's own columns as they stand, for `before` and `after`.

    Secrets and raw bytes are left out, and what must be forgotten later: the trail forgets nothing.
    """
    hidden = {"password", "digest", "raw", "secret", "old_secret", *PERSONAL}
    return {
        field.attname: _plain(field, field.value_from_object(row))
        for field in row._meta.concrete_fields
        if field.name not in hidden and (fields is None or field.name in fields)
    }


def record(
    *,
    actor: Person | None,
    verb: str,
    row: models.Model,
    now: datetime,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
    reason: str = "",
) -> AuditEntry:
    """Write the entry, in the caller's transaction.

    Only what differs is kept when both sides are given.
    """
    return AuditEntry.objects.create(
        **entry_values(
            actor=actor, verb=verb, row=row, now=now, before=before, after=after, reason=reason
        )
    )


def entry_values(
    *,
    actor: Person | None,
    verb: str,
    row: models.Model,
    now: datetime,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
    reason: str = "",
) -> dict[str, Any]:
    """The columns of an entry, for actions that write many at once."""
    if before is not None and after is not None:
        changed = {k for k in before.keys() | after.keys() if before.get(k) != after.get(k)}
        before = {k: v for k, v in before.items() if k in changed}
        after = {k: v for k, v in after.items() if k in changed}
    return {
        "at": now,
        "actor": actor,
        "verb": verb,
        "object_type": row._meta.label,
        "object_id": row.pk,
        "object_said": str(row)[:200],
        "before": before,
        "after": after,
        "reason": reason,
        "request_id": structlog.contextvars.get_contextvars().get("request_id", ""),
    }


def entries_of(row: models.Model) -> "models.QuerySet[AuditEntry]":
    """What was done to one row, latest first."""
    return AuditEntry.objects.filter(object_type=row._meta.label, object_id=row.pk).select_related(
        "actor"
    )


def _plain(field: Any, value: Any) -> Any:
    if isinstance(value, Decimal):
        # As the column keeps it, or 84 would differ from a stored 84.000.
        return f"{value:.{field.decimal_places}f}"
    return value if isinstance(value, str | int | float | bool | list | dict | None) else str(value)
