"""Columns that recur: a machine's own time, units, money as read."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models


class MachineTimeField(models.Field):
    """A moment by a machine's own clock, without offset: kept as told, never shifted.

    A DateTimeField would take it for a time of some zone and turn it into another.
    """

    description = "A moment by a machine's own clock"

    def db_type(self, connection: Any) -> str:  # noqa: ARG002
        return "timestamp without time zone"

    def to_python(self, value: Any) -> datetime | None:
        if value is None or isinstance(value, datetime):
            return value
        try:
            told = datetime.fromisoformat(value)
        except (TypeError, ValueError) as error:
            raise ValidationError(f"{value!r} is not a time like 2026-03-14T17:05:12") from error
        if told.tzinfo is not None:
            raise ValidationError("a machine's own time carries no offset")
        return told

    def value_to_string(self, obj: models.Model) -> str:
        value: datetime | None = getattr(obj, self.attname)
        return "" if value is None else value.isoformat()


def count(**kwargs: Any) -> models.BigIntegerField:
    """Vends; empty is not known, which is not none."""
    return models.BigIntegerField(null=True, blank=True, **kwargs)


def minor(**kwargs: Any) -> models.BigIntegerField:
    """Money in minor units of the row's currency, as read; empty is not known."""
    return models.BigIntegerField(null=True, blank=True, **kwargs)


def not_negative(names: Iterable[str], name: str) -> models.CheckConstraint:
    """No figure among `names` is below zero; an empty one is not known."""
    condition = models.Q()
    for each in names:
        condition &= models.Q(**{f"{each}__isnull": True}) | models.Q(**{f"{each}__gte": 0})
    return models.CheckConstraint(condition=condition, name=name)
