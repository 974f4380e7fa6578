"""Cursor pages: the next page begins after the last row's own place, whatever was added meanwhile.

A cursor holds the values of the columns that order the list. It is opaque to clients; a page costs
one query and no count. The list's order must end in the key and use no column that can be empty.
"""

import base64
import binascii
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.db.models import Field, Model, Q, QuerySet
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response

from .errors import Refused

if TYPE_CHECKING:
    from rest_framework.views import APIView

USUAL_LIMIT = 100
MOST = 500


@dataclass(frozen=True)
class Place:
    """Where a page begins: beyond the row with these order values, going on or going back."""

    values: tuple[str, ...]
    goes_back: bool

    def said(self) -> str:
        text = json.dumps([int(self.goes_back), *self.values], separators=(",", ":"))
        return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


class CursorPagination(BasePagination):
    """`limit` and `cursor` in the query; `items`, `next` and `previous` in the body, and `Link`."""

    def paginate_queryset(
        self, queryset: Any, request: Request, view: "APIView | None" = None
    ) -> list[Any]:
        self.request = request
        limit = _limit(request.query_params.get("limit"))
        order = _order(queryset)
        place = _place(request.query_params.get("cursor"), order)
        goes_back = place is not None and place.goes_back
        rows = queryset
        if place is not None:
            rows = rows.filter(_beyond(order, _values(queryset.model, order, place), goes_back))
        if goes_back:
            rows = rows.order_by(*(_turned(name) for name in order))
        found = list(rows[: limit + 1])
        more = len(found) > limit
        page = found[:limit]
        if goes_back:
            page.reverse()
        self.next = self.previous = None
        if page and (more or goes_back):
            self.next = self._address(page[-1], order, goes_back=False)
        if page and (more if goes_back else place is not None):
            self.previous = self._address(page[0], order, goes_back=True)
        return page

    def get_paginated_response(self, data: Any) -> Response:
        links = [
            f'<{address}>; rel="{rel}"'
            for rel, address in (("next", self.next), ("prev", self.previous))
            if address
        ]
        return Response(
            {"items": data, "next": self.next, "previous": self.previous},
            headers={"Link": ", ".join(links)} if links else None,
        )

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        address = {"type": ["string", "null"], "format": "uri"}
        return {
            "type": "object",
            "required": ["items", "next", "previous"],
            "properties": {
                "items": schema,
                "next": {**address, "description": "The address of the page after this one."},
                "previous": {**address, "description": "The address of the page before this one."},
            },
        }

    def get_schema_operation_parameters(self, view: "APIView") -> list[dict[str, Any]]:
        return [
            {
                "name": "limit",
                "in": "query",
                "required": False,
                "description": "Rows on a page.",
                "schema": {"type": "integer", "minimum": 1, "maximum": MOST, "default": 100},
            },
            {
                "name": "cursor",
                "in": "query",
                "required": False,
                "description": "Where the page begins, as another page's `next` has it.",
                "schema": {"type": "string"},
            },
        ]

    def _address(self, row: Model, order: Sequence[str], *, goes_back: bool) -> str:
        place = Place(tuple(_text(_read(row, name)) for name in order), goes_back)
        query = [
            (name, value)
            for name, values in self.request.query_params.lists()
            for value in values
            if name != "cursor"
        ]
        path = self.request.build_absolute_uri(self.request.path)
        return f"{path}?{urlencode([*query, ('cursor', place.said())])}"


def _limit(given: str | None) -> int:
    if given is None:
        return USUAL_LIMIT
    if not (given.isascii() and given.isdigit() and len(given) < 6 and 1 <= int(given) <= MOST):
        raise _bad("limit", f"give a whole number from 1 to {MOST}")
    return int(given)


def _order(queryset: "QuerySet[Any]") -> list[str]:
    order = [str(name) for name in queryset.query.order_by or queryset.model._meta.ordering]
    if order[-1].lstrip("-") not in {"pk", "id"}:
        raise TypeError(f"a list of {queryset.model.__name__} must be ordered to the key: {order}")
    return order


def _place(given: str | None, order: Sequence[str]) -> Place | None:
    if given is None:
        return None
    try:
        padded = given + "=" * (-len(given) % 4)
        found = json.loads(base64.b64decode(padded, altchars=b"-_", validate=True))
        goes_back, *values = found
        if (
            goes_back not in {0, 1}
            or len(values) != len(order)
            or not all(isinstance(one, str) and "\0" not in one for one in values)
        ):
            raise ValueError
        "".join(values).encode()
    except (ValueError, TypeError, binascii.Error, RecursionError) as error:
        raise _bad("cursor", "use `next` or `previous` of another page as they are") from error
    return Place(tuple(values), bool(goes_back))


def _values(model: type[Model], order: Sequence[str], place: Place) -> list[Any]:
    try:
        return [
            _field(model, name).to_python(text)
            for name, text in zip(order, place.values, strict=True)
        ]
    except ValidationError as error:
        raise _bad("cursor", "use `next` or `previous` of another page as they are") from error


def _beyond(order: Sequence[str], values: Sequence[Any], goes_back: bool) -> Q:
    """Rows after these values in the order: beyond in one column, equal in all before it."""
    found = Q()
    same = Q()
    for name, value in zip(order, values, strict=True):
        column = name.lstrip("-")
        below = name.startswith("-") != goes_back
        found |= same & Q(**{f"{column}__{'lt' if below else 'gt'}": value})
        same &= Q(**{column: value})
    return found


def _turned(name: str) -> str:
    return name[1:] if name.startswith("-") else f"-{name}"


def _field(model: Any, name: str) -> "Field[Any, Any]":
    *path, last = name.lstrip("-").split("__")
    for step in path:
        model = model._meta.get_field(step).related_model
    if last == "pk":
        return model._meta.pk
    field = model._meta.get_field(last)
    return field.target_field if field.is_relation else field


def _read(row: Any, name: str) -> Any:
    *path, last = name.lstrip("-").split("__")
    for step in path:
        row = getattr(row, step)
    value = getattr(row, last)
    return value.pk if isinstance(value, Model) else value


def _text(value: Any) -> str:
    match value:
        case datetime() | date():
            return value.isoformat()
        case Decimal() | int() | str():
            return str(value)
    raise TypeError(f"{value!r} cannot order a list of pages")


def _bad(name: str, said: str) -> Refused:
    return Refused(
        400,
        f"{name}: {said}",
        code="bad_parameter",
        errors=[{"parameter": name, "detail": said, "code": "invalid"}],
    )
