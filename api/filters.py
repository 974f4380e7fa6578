"""The kinds of filter that lists declare. What one cannot read is refused, never passed over."""

from typing import Any

import django_filters
from django import forms
from django.db import models
from drf_spectacular.drainage import set_override
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field

from . import moments

MOST = 2**63 - 1
BOUNDS = {
    "gte": "What is of this moment or later.",
    "gt": "What ends after this moment.",
    "lt": "What is, or begins, before this moment.",
}


def _unknown(known: list[str]) -> dict[str, str]:
    return {"invalid_choice": f"%(value)s: unknown; known here: {', '.join(known)}"}


class _IdField(forms.IntegerField):
    def __init__(self, **kwargs: Any) -> None:
        # The limits keep a number that no row can have away from the database.
        super().__init__(**{**kwargs, "min_value": 1, "max_value": MOST})


@extend_schema_field(OpenApiTypes.INT)
class Id(django_filters.Filter):
    """The id of a row."""

    field_class = _IdField


@extend_schema_field(OpenApiTypes.BOOL)
class Flag(django_filters.TypedChoiceFilter):
    """`true` or `false`."""

    def __init__(self, field_name: str | None = None, **kwargs: Any) -> None:
        super().__init__(
            field_name,
            **kwargs,
            choices=[("true", "true"), ("false", "false")],
            error_messages=_unknown(["true", "false"]),
            coerce=lambda text: text == "true",
            empty_value=None,
        )


class Word(django_filters.ChoiceFilter):
    """A word out of a closed list."""

    def __init__(
        self, field_name: str | None = None, *, of: type[models.TextChoices], **kwargs: Any
    ) -> None:
        super().__init__(
            field_name, **kwargs, choices=of.choices, error_messages=_unknown(of.values)
        )


class _MomentField(forms.CharField):
    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        try:
            return moments.asked_for(text) if text else None
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error


class Moment(django_filters.Filter):
    """A moment with its offset (RFC 3339), or a date alone."""

    field_class = _MomentField

    def __init__(self, field_name: str | None = None, lookup_expr: str = "gte") -> None:
        super().__init__(field_name, lookup_expr)
        set_override(self, "field", {**moments.DESCRIBED, "description": BOUNDS[lookup_expr]})


class Text(django_filters.CharFilter):
    """A piece of text to look for."""

    def __init__(self, field_name: str | None = None, **kwargs: Any) -> None:
        super().__init__(field_name, **{"max_length": 100, **kwargs})
