"""Lists as files: the same rows and filters as the list, as CSV or XLSX.

`as=csv` or `as=xlsx` says which; without it, what `Accept` names, else CSV.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request

from people.errors import Unacceptable
from people.exports import MEDIA_TYPES, Format, Table, as_file

from .doors import Door, Handler, asked_of
from .errors import Refused

PARAMETER = "as"
XLSX = MEDIA_TYPES[Format.XLSX]


class CsvRenderer(JSONRenderer):
    """Lets a client ask for CSV; a refusal is JSON all the same."""

    media_type = "text/csv"
    format = JSONRenderer.format


class XlsxRenderer(JSONRenderer):
    """Lets a client ask for XLSX; a refusal is JSON all the same."""

    media_type = XLSX
    format = JSONRenderer.format


class Exporting:
    """Doors one of which gives its list as a file: the one that `exports` declares."""

    def get_renderers(self) -> list[BaseRenderer]:
        found = super().get_renderers()  # type: ignore[misc]
        door = getattr(getattr(self, getattr(self, "action", None) or "", None), "door", None)
        exporting = door is not None and door.exported
        return [*found, CsvRenderer(), XlsxRenderer()] if exporting else found


def exports(
    summary: str, *, query: type[serializers.Serializer] | None = None, of_one: bool = False
) -> Callable[[Handler], Any]:
    """A door `export` beside a list. The handler gives the table of the rows it is given filtered.
    `of_one`: beside one row; the handler gets its `pk`.

    It is called with the request and answers with a Table; with `query`, which stands in the place
    of filters, it gets the validated query as `asked`.
    """

    def declare(handler: Callable[..., Table]) -> Any:
        @wraps(handler)
        def door(self: Any, request: Request, *args: Any, **kwargs: Any) -> HttpResponse:
            if query is not None:
                kwargs["asked"] = asked_of(request, query, besides=(PARAMETER,))
            return _sent(request, handler(self, request, *args, **kwargs))

        filtered = query is None and not of_one
        door.door = Door(filtered=filtered, exported=True)  # type: ignore[attr-defined]
        # The route first: it would else overwrite what is described.
        routed = action(detail=of_one, url_path="export", url_name="export")(door)
        return extend_schema(
            responses={
                (200, "text/csv"): OpenApiResponse(
                    OpenApiTypes.STR, description="RFC 4180, with a head, in UTF-8."
                ),
                (200, XLSX): OpenApiResponse(OpenApiTypes.BINARY, description="A workbook."),
            },
            parameters=[
                *([query] if query is not None else []),
                OpenApiParameter(
                    PARAMETER,
                    str,
                    enum=[form.value for form in Format],
                    description="The form of the file. Left out: what `Accept` names, else CSV.",
                ),
            ],
            filters=filtered,
            summary=summary,
        )(routed)

    return declare


def _sent(request: Request, table: Table) -> HttpResponse:
    asked = request.query_params.get(PARAMETER)
    if asked is None:
        wants = str(request.accepted_media_type or "")
        asked = Format.XLSX if wants.startswith(XLSX) else Format.CSV
    try:
        file = as_file(table, asked)
    except Unacceptable as error:
        place = {"parameter": PARAMETER} if PARAMETER in error.fields else {}
        raise Refused(
            400,
            error.message,
            code="bad_parameter" if place else error.code,
            errors=[{**place, "detail": error.message, "code": error.code}],
        ) from error
    return HttpResponse(file.content, content_type=file.media_type, headers=file.headers)
