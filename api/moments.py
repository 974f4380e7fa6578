"""Moments as the query of an address says them: with their offset, or a date alone."""

import re
from datetime import UTC, date, datetime, time
from typing import Any

from django.utils.dateparse import parse_datetime
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from people.models import Business

FIRST_YEAR, BEYOND_YEAR = 1990, 2200
OFFSET = re.compile(r"(Z|[+-]\d{2}:?\d{2})$", re.IGNORECASE)
DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
# A form's encoding, which queries follow, reads an unescaped + as a space.
PLUS_LOST = re.compile(r"(?<=\d) (?=\d{2}:?\d{2}$)", re.ASCII)
WANTED = (
    "give a moment with its offset, as in 2026-03-02T09:00:00-05:00, or a date alone, "
    "as in 2026-03-02"
)
OUTSIDE = f"give a moment between {FIRST_YEAR} and {BEYOND_YEAR}"
DESCRIBED = {
    "oneOf": [{"type": "string", "format": "date-time"}, {"type": "string", "format": "date"}]
}


def asked_for(text: str) -> datetime:
    """The moment; a date alone is its first moment where the business is.

    Raises ValueError with what would be right.
    """
    text = PLUS_LOST.sub("+", text)
    try:
        if DATE.fullmatch(text):
            day = date.fromisoformat(text)
            found = _in_range(datetime.combine(day, time(), Business.the().time_zone))
            return found.astimezone(UTC)
        given = parse_datetime(text) if text.isascii() and OFFSET.search(text) else None
    except ValueError as error:
        raise ValueError(OUTSIDE if str(error) == OUTSIDE else WANTED) from error
    if given is None:
        raise ValueError(WANTED)
    return _in_range(given)


def _in_range(given: datetime) -> datetime:
    if not FIRST_YEAR <= given.year < BEYOND_YEAR:
        raise ValueError(OUTSIDE)
    return given


@extend_schema_field(DESCRIBED)
class MomentAsked(serializers.Field):
    """A moment out of a query."""

    def to_internal_value(self, data: Any) -> datetime:
        try:
            return asked_for(str(data))
        except ValueError as error:
            raise serializers.ValidationError(str(error)) from error
