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
    """Set `changes` on a new or stored row, save it, and leave an audit entry.

    Raises Unacceptable with a message a field when a rule of the row refuses, and Unable when
    somebody else was first; the row then stands as before, in memory too. A stored row that
    `changes` leaves as it was is not written again. Only what differs from the row as it was given
    is written, so that what somebody else changed meanwhile stays theirs.
    """
    is_new = row._state.adding
    seen = {} if is_new else _columns(row)
    was = None if is_new else audit.values(row)
    stood = {} if is_new else {name: getattr(row, name, None) for name in changes}
    try:
        for name, value in changes.items():
            setattr(row, name, value)
        check(row)
        if was is not None and was == audit.values(row):
            return row
        with transaction.atomic():
            before = None if is_new else _take_up(row, seen)
            if before is not None and before == audit.values(row):
                return row
            _save(row, None if is_new else [*_changed(row, seen), *_stamps(row)])
            # Read after saving, which fills the key and the stamps.
            audit.record(
                actor=actor,
                verb=verb,
                row=row,
                now=now,
                before=before,
                after=audit.values(row),
                reason=reason,
            )
    except Unable:
        for name, value in stood.items():
            setattr(row, name, value)
        raise
    return row


def check(row: models.Model) -> None:
    """Check what each field can hold. Uniqueness and constraints are the database's to judge.

    Raises Unacceptable.
    """
    try:
        row.full_clean(validate_unique=False, validate_constraints=False)
    except ValidationError as error:
        raise _unacceptable(row, error) from error


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
            before=audit.values(_locked(row)),
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


def _take_up(row: models.Model, seen: Mapping[str, Any]) -> dict[str, Any]:
    """Lock the stored row, put into `row` what others changed of it, and give it as it stands.

    Raises Unable when another changed the very columns that `row` changes from `seen`.
    """
    stored = _locked(row)
    now, wanted = _columns(stored), _columns(row)
    for name, value in now.items():
        if wanted[name] == seen[name]:
            setattr(row, name, value)
        elif value not in (seen[name], wanted[name]):
            raise _meanwhile(row)
    return audit.values(stored)


def _locked(row: models.Model) -> models.Model:
    # As an update locks, so that rows that name this one can still be written. Of this row alone:
    # the order of its model may join another table, whose missing row could not be locked.
    rows = type(row)._base_manager.select_for_update(no_key=True, of=("self",))
    stored = rows.filter(pk=row.pk).first()
    if stored is None:
        raise _meanwhile(row)
    return stored


def _columns(row: models.Model) -> dict[str, Any]:
    return {field.attname: field.value_from_object(row) for field in row._meta.concrete_fields}


def _changed(row: models.Model, seen: Mapping[str, Any]) -> list[str]:
    return [
        field.name
        for field in row._meta.concrete_fields
        if field.value_from_object(row) != seen[field.attname]
    ]


def _meanwhile(row: models.Model) -> Unable:
    return Unable(
        f"{row._meta.verbose_name}: somebody else changed this at the same moment; look again",
        code="changed_meanwhile",
    )


def _save(row: models.Model, update_fields: list[str] | None) -> None:
    try:
        with transaction.atomic():
            row.save(update_fields=update_fields)
    except IntegrityError as refused:
        # The database refuses first and the words are looked for after: asking every constraint
        # before each write would be a query for each.
        try:
            # Days that end before they begin would make an exclusion ask the database for a range
            # that there is not; so what a row must be by itself is asked for first.
            row.full_clean(validate_constraints=False)
            for constraint in row._meta.constraints:
                if isinstance(constraint, models.CheckConstraint):
                    constraint.validate(type(row), row)
            row.validate_constraints()
        except ValidationError as error:
            raise _unacceptable(row, error) from refused
        raise _meanwhile(row) from refused


def _unacceptable(row: models.Model, error: ValidationError) -> Unacceptable:
    told = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
    fields = {
        ("" if name == NON_FIELD_ERRORS else name): " ".join(messages)
        for name, messages in told.items()
    }
    said = "; ".join(f"{name}: {text}" if name else text for name, text in fields.items())
    return Unacceptable(f"{row._meta.verbose_name}: {said}", fields=fields)


def _stamps(row: models.Model) -> list[str]:
    return [f.name for f in row._meta.concrete_fields if getattr(f, "auto_now", False)]
