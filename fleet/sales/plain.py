"""Reports as JSON values with their names, and the JSON Schema of that. No database here."""

from dataclasses import fields, is_dataclass
from datetime import datetime
from functools import cache
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel, Field, create_model

#: By a machine's own clock, so no "date-time" of JSON Schema, which has an offset.
_OWN_TIME = Annotated[str, Field(description="A machine's own time, ISO 8601 without offset.")]


def plain(value: Any, *, without: frozenset[str] = frozenset()) -> Any:
    """A value of the computations as JSON values: records as objects, times in ISO 8601.

    Named tuples become objects too, which JSON libraries take for lists. Fields named in `without`
    are left out wherever they occur.
    """
    if value is None or isinstance(value, (str, int, float)):
        return value
    if isinstance(value, datetime):
        return value.isoformat()
    record: type = type(value)
    names = _names(record)
    if names:
        return {
            name: plain(getattr(value, name), without=without)
            for name in names
            if name not in without
        }
    if isinstance(value, dict):
        return {str(key): plain(each, without=without) for key, each in value.items()}
    return [plain(each, without=without) for each in value]


@cache
def shape_of(record: type) -> type[BaseModel]:
    """A record as a model whose JSON Schema describes what `plain` makes of it."""
    hints = get_type_hints(record)
    shapes: dict[str, Any] = {name: (_shape(hints[name]), ...) for name in _names(record)}
    return create_model(record.__name__, __doc__=record.__doc__, **shapes)


def _shape(hint: Any) -> Any:
    """A type as annotated, with every record in it exchanged for its model."""
    if hint is datetime:
        return _OWN_TIME
    origin, arguments = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        return Union[tuple(_shape(each) for each in arguments)]  # noqa: UP007 - built, not written
    if origin is tuple:
        return tuple[tuple(_shape(each) for each in arguments)]  # type: ignore[misc]
    return shape_of(hint) if isinstance(hint, type) and _names(hint) else hint


@cache
def _names(record: type) -> tuple[str, ...]:
    """The fields of a dataclass or a named tuple; none of anything else."""
    if is_dataclass(record):
        return tuple(field.name for field in fields(record))
    return tuple(getattr(record, "_fields", ()))
