"""Writing one row with its rules checked, its refusal in words, and its audit entry."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import IntegrityError, models, transaction

from . import audit
from .errors import Unable, Unacceptable
from .models import Person

Row = TypeVar("Row", bound=models.Model)


def put(
    row: Row,
    changes: Mapping[str, Any],
    *,
    actor: Person | None,
    verb: str,
    now: datetime,
    reason: str = "",
) -> Row:
    """Set `changes` on a new or stored row, check every rule of it, save it, and leave an audit
    entry.

    Raises Unacceptable with a message a field; nothing is changed then. A stored row that `changes`
    leaves as it was is not written again.
    """
    is_new = row._state.adding
    before = None if is_new else audit.values(row)
    for name, value in changes.items():
        setattr(row, name, value)
    check(row)
    after = audit.values(row)
    if before == after:
        return row
    with transaction.atomic():
        _save(row, None if is_new else [*changes, *_stamps(row)])
        # Read again, since saving fills the key and the stamps.
        audit.record(
            actor=actor,
            verb=verb,
            row=row,
            now=now,
            before=before,
            after=audit.values(row),
            reason=reason,
        )
    return row


def check(row: models.Model) -> None:
    """Check fields, uniqueness and the constraints of the database before it does.

    Raises Unacceptable.
    """
    try:
        row.full_clean()
    except ValidationError as error:
        fields = {
            ("" if name == NON_FIELD_ERRORS else name): " ".join(messages)
            for name, messages in error.message_dict.items()
        }
        said = "; ".join(f"{name}: {text}" if name else text for name, text in fields.items())
        raise Unacceptable(f"{row._meta.verbose_name}: {said}", fields=fields) from error


def delete(
    row: models.Model, *, actor: Person | None, verb: str, now: datetime, reason: str = ""
) -> None:
    """Delete a row that nothing else names, leaving its values in the audit trail.

    Raises Unable.
    """
    with transaction.atomic():
        audit.record(
            actor=actor,
            verb=verb,
            row=row,
            now=now,
            before=audit.values(row),
            after=None,
            reason=reason,
        )
        try:
            row.delete()
        except models.ProtectedError as error:
            users = sorted({str(o._meta.verbose_name) for o in error.protected_objects})
            raise Unable(
                f"{row} is used by {', '.join(users)} and cannot be deleted", code="in_use"
            ) from error


def _save(row: models.Model, update_fields: list[str] | None) -> None:
    try:
        with transaction.atomic():
            row.save(update_fields=update_fields)
    except IntegrityError as error:
        # Two at once: the checks above passed for both, and the database let only one through.
        raise Unable(
            f"{row._meta.verbose_name}: somebody else changed this at the same moment; look again",
            code="changed_meanwhile",
        ) from error


def _stamps(row: models.Model) -> list[str]:
    return [f.name for f in row._meta.concrete_fields if getattr(f, "auto_now", False)]
