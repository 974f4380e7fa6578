"""The kinds of filter that lists declare. What one cannot read is refused, never passed over."""

from typing import Any

import django_filters
from django import forms
from django.db import models
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field

MOST = 2**63 - 1


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
            coerce=lambda text: text == "true",
            empty_value=None,
        )


class Word(django_filters.ChoiceFilter):
    """A word out of a closed list."""

    def __init__(
        self, field_name: str | None = None, *, of: type[models.TextChoices], **kwargs: Any
    ) -> None:
        super().__init__(field_name, **kwargs, choices=of.choices)


class _MomentField(django_filters.fields.IsoDateTimeField):
    def to_python(self, value: Any) -> Any:
        found = super().to_python(value)
        if found is not None and not 1990 <= found.year < 2200:
            raise forms.ValidationError("give a moment between 1990 and 2200")
        return found


@extend_schema_field(OpenApiTypes.DATETIME)
class Moment(django_filters.IsoDateTimeFilter):
    """A moment (RFC 3339)."""

    field_class = _MomentField


class Text(django_filters.CharFilter):
    """A piece of text to look for."""

    def __init__(self, field_name: str | None = None, **kwargs: Any) -> None:
        super().__init__(field_name, **{"max_length": 100, **kwargs})
