"""Frozen dataclasses of the computations as JSON, and their part of the API's description."""

from functools import cache
from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from pydantic import TypeAdapter
from rest_framework import serializers

PARTS: dict[str, Any] = {}
"""Schemas that others refer to, by name. What is asked and what is answered are named apart."""


@cache
def adapter(of: Any) -> TypeAdapter[Any]:
    return TypeAdapter(of)


def described(of: Any, *, asked: bool = False) -> dict[str, Any]:
    """The schema of a type, its parts added to PARTS. `asked` for what a client sends."""
    ending = "Asked" if asked else "Answered"
    schema = adapter(of).json_schema(
        mode="validation" if asked else "serialization",
        ref_template=f"#/components/schemas/{{model}}{ending}",
    )
    schema = _without_offset(schema)
    PARTS.update({f"{name}{ending}": part for name, part in schema.pop("$defs", {}).items()})
    return schema


def _without_offset(schema: Any) -> Any:
    """Moments in the computations are by a machine's own clock: no RFC 3339 date-time."""
    if isinstance(schema, dict):
        return {
            key: _without_offset(value)
            for key, value in schema.items()
            if (key, value) != ("format", "date-time")
        }
    return [_without_offset(one) for one in schema] if isinstance(schema, list) else schema


class Plain(serializers.Field):
    """A dataclass, or a tuple of them, as JSON holds it."""

    def __init__(self, of: Any, **kwargs: Any) -> None:
        self.of = of
        super().__init__(**kwargs, read_only=True)

    def to_representation(self, value: Any) -> Any:
        return adapter(self.of).dump_python(value, mode="json")


class PlainDescribed(OpenApiSerializerFieldExtension):
    """Tells the description what a Plain field holds."""

    target_class = Plain

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        return described(self.target.of)
