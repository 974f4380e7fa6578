"""How values are written in JSON: lengths as numbers, money as text, moments with their offset."""

import zoneinfo
from collections.abc import Callable
from decimal import Decimal
from functools import cached_property
from operator import attrgetter
from typing import Any, ClassVar, NoReturn

from django.db import models
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.validators import UniqueValidator
from timezone_field import TimeZoneField

from .moments import BEYOND_YEAR, FIRST_YEAR, OFFSET, OUTSIDE


@extend_schema_field(OpenApiTypes.DOUBLE)
class Number(serializers.DecimalField):
    """A measure, exact inside and a JSON number outside."""

    def to_representation(self, value: Any) -> Any:
        return None if value is None else float(value)


@extend_schema_field({"type": "string", "pattern": r"^-?\d+(\.\d+)?$", "examples": ["1.75"]})
class Money(serializers.DecimalField):
    """An amount in the business's currency, as text with its decimal places: `"1.75"`."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=12, decimal_places=4, **kwargs)

    def quantize(self, value: Decimal) -> Decimal:
        # As it was sent: what is said of it must not speak of zeros that nobody wrote.
        return value

    def to_representation(self, value: Any) -> Any:
        places = self.context["business"].currency_exponent
        return f"{Decimal(value):.{places}f}"


@extend_schema_field({"type": ["string", "null"], "pattern": r"^-?\d+(\.\d+)?$"})
class MinorMoney(serializers.Field):
    """An amount kept in minor units, as text with its decimal places; null is not known.

    `exponent` is the path, from the row, to how many places its currency has.
    """

    def __init__(self, minor: str, *, exponent: str = "exponent", **kwargs: Any) -> None:
        self.minor, self.exponent = minor, exponent
        super().__init__(source="*", read_only=True, **kwargs)

    def to_representation(self, row: Any) -> str | None:
        amount = getattr(row, self.minor)
        if amount is None:
            return None
        places = attrgetter(self.exponent)(row)
        return f"{Decimal(amount).scaleb(-places):.{places}f}"


@extend_schema_field({"type": ["string", "null"], "examples": ["2026-03-14T17:05:12"]})
class MachineTime(serializers.Field):
    """A moment by a machine's own clock: as told, without offset."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: Any) -> str:
        return value.isoformat()


class Moment(serializers.DateTimeField):
    """A moment with its offset (RFC 3339). One without would be somebody's guess."""

    def to_internal_value(self, value: Any) -> Any:
        given = super().to_internal_value(value)
        text = value if isinstance(value, str) else ""
        if not OFFSET.search(text):
            raise serializers.ValidationError(
                "give the offset too, as in 2026-03-02T09:00:00-05:00"
            )
        if not FIRST_YEAR <= given.year < BEYOND_YEAR:
            raise serializers.ValidationError(OUTSIDE)
        return given

    def to_representation(self, value: Any) -> str:
        # The database gives UTC, so that nothing is to be converted; lists are long.
        return value.isoformat().replace("+00:00", "Z")


@extend_schema_field({"type": "string", "examples": ["09:30:00"]})
class HourOfDay(serializers.TimeField):
    """An hour where a place is, without an offset; what JSON Schema calls a time has one."""


class Zone(serializers.CharField):
    """An IANA time zone by its name."""

    def to_internal_value(self, data: Any) -> Any:
        name = super().to_internal_value(data)
        if name not in zoneinfo.available_timezones():
            raise serializers.ValidationError("give an IANA time zone, as in America/New_York")
        return zoneinfo.ZoneInfo(name)

    def to_representation(self, value: Any) -> str:
        return str(value)


class Ref(serializers.PrimaryKeyRelatedField):
    """Another row by its id."""

    def __init__(self, **kwargs: Any) -> None:
        # A number that is none (1e400) is refused before the database is asked.
        super().__init__(pk_field=serializers.IntegerField(), **kwargs)

    def fail(self, key: str, **kwargs: Any) -> NoReturn:
        if key == "does_not_exist":
            rows = self.get_queryset()
            noun = "row" if rows is None else rows.model._meta.verbose_name
            said = f"there is no {noun} {kwargs['pk_value']}"
            raise serializers.ValidationError(said, code=key)
        super().fail(key, **kwargs)

    def get_attribute(self, instance: Any) -> Any:
        return instance.serializable_value(self.source)

    def to_representation(self, value: Any) -> Any:
        return value


def _dicts(given: Any) -> list[dict[Any, Any]]:
    return [one for one in given if isinstance(one, dict)] if isinstance(given, list) else []


class ListedRef(Ref):
    """Another row by its id, in the items of a list of the body: one query for all of them."""

    def to_internal_value(self, data: Any) -> Any:
        # A truth value is an integer to Python, and no key; a list could not even be looked up.
        found = self._fetched.get(data) if type(data) is int else None
        # What is not there, or is no id at all, is refused as any other.
        return super().to_internal_value(data) if found is None else found

    @cached_property
    def _fetched(self) -> dict[Any, Any]:
        items: Any = self.parent.parent
        given = items.get_value(self.root.initial_data)
        named = [one.get(self.field_name) for one in _dicts(given)]
        wanted = {key for key in named if type(key) is int and 0 < key < 2**63}
        rows = self.get_queryset()
        return {} if rows is None or not wanted else rows.in_bulk(wanted)


class Choice(serializers.ChoiceField):
    """A word out of a closed list, which a refusal tells."""

    def fail(self, key: str, **kwargs: Any) -> NoReturn:
        if key == "invalid_choice":
            known = ", ".join(str(one) for one in self.choices)
            said = f"{kwargs['input']}: unknown; known here: {known}"
            raise serializers.ValidationError(said, code=key)
        super().fail(key, **kwargs)


class Strict:
    """Refuses members that the shape does not know: a misspelt one must not be passed over."""

    default_error_messages: ClassVar[dict[str, Any]] = {
        "invalid": "give an object with named members"
    }

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, dict):
            known = {name for name, one in self.fields.items() if not one.read_only}  # type: ignore[attr-defined]
            unknown = [name for name in data if name not in known]
            if unknown:
                said = f"unknown; known here: {', '.join(sorted(known))}"
                raise serializers.ValidationError(
                    {name: [serializers.ErrorDetail(said, code="unknown")] for name in unknown}
                )
        return super().to_internal_value(data)  # type: ignore[misc]


class Shape(Strict, serializers.Serializer):
    """A body or a part of one."""


class RowShape(Strict, serializers.ModelSerializer):
    """A row, read or written. Whether a name is taken and the like is the action's to say.

    Inside another shape, `among` names a fetched list of which the first row is shown, or null.
    """

    serializer_choice_field = Choice
    serializer_field_mapping = {
        **serializers.ModelSerializer.serializer_field_mapping,
        models.DecimalField: Number,
        models.DateTimeField: Moment,
        models.TimeField: HourOfDay,
    }

    def __init__(self, *args: Any, among: str | None = None, **kwargs: Any) -> None:
        self.among = among
        super().__init__(*args, **kwargs)

    def to_representation(self, instance: Any) -> dict[str, Any]:
        """As the framework does it, with what is the same for every row of a list done once."""
        found = {}
        for name, read, show in self._shown:
            value = read(instance)
            found[name] = None if value is None else show(value)
        return found

    @cached_property
    def _shown(self) -> list[tuple[str, Callable[[Any], Any], Callable[[Any], Any]]]:
        model: Any = self.Meta.model
        columns = {column.name for column in model._meta.concrete_fields}
        return [
            (
                name,
                attrgetter(str(field.source))
                if field.source in columns and not isinstance(field, Ref)
                else field.get_attribute,
                field.to_representation,
            )
            for name, field in self.fields.items()
            if not field.write_only
        ]

    def get_attribute(self, instance: Any) -> Any:
        if self.among is None:
            return super().get_attribute(instance)
        return next(iter(getattr(instance, self.among)), None)

    def build_standard_field(self, name: str, field: models.Field) -> tuple[type, dict[str, Any]]:
        if isinstance(field, TimeZoneField):
            # Its choices are every zone there is; the name says enough.
            return Zone, {"required": not field.has_default()}
        kind, kwargs = super().build_standard_field(name, field)
        kept = [v for v in kwargs.get("validators", []) if not isinstance(v, UniqueValidator)]
        if "validators" in kwargs:
            kwargs["validators"] = kept
        return kind, kwargs

    def build_relational_field(self, name: str, relation: Any) -> tuple[type, dict[str, Any]]:
        _, kwargs = super().build_relational_field(name, relation)
        kwargs.pop("validators", None)
        return Ref, kwargs

    def get_validators(self) -> list[Any]:
        return []


def one_of(choices: type[models.TextChoices], **kwargs: Any) -> Choice:
    """A word out of a closed list."""
    return Choice(choices=choices.choices, **kwargs)
