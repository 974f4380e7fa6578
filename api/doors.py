"""How a door of the API is built: what it takes and gives is declared, and the rest is the same.

A handler validates the shape (done before it is called), calls one action or query, and serialises.
Every write runs in one transaction with its idempotency key and its `If-Match`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, wraps
from typing import Any

from django.db import models, transaction
from django.utils import timezone
from django.utils.functional import SimpleLazyObject
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from people.errors import Unacceptable
from people.models import Business, Person

from . import etag, idempotency
from .errors import Refused
from .pagination import CursorPagination

Handler = Callable[..., Any]
Gate = Callable[..., models.Model]


@dataclass(frozen=True)
class Door:
    """What one handler declares of itself."""

    status: int = 200
    paged: bool = False
    tagged: bool = False
    matched: bool = False
    takes_key: bool = False
    key_required: bool = False
    public: bool = False
    filtered: bool = False
    exported: bool = False


def gives(
    output: Any,
    *,
    many: bool = False,
    paged: bool = False,
    tagged: bool = False,
    query: type[serializers.Serializer] | None = None,
    media_type: str = "application/json",
    summary: str | None = None,
) -> Callable[[Handler], Handler]:
    """A door that only reads. With `query` the handler gets the validated query as `asked`."""

    def declare(handler: Handler) -> Handler:
        @wraps(handler)
        def door(self: "Doors", request: Request, *args: Any, **kwargs: Any) -> Any:
            if query is not None:
                kwargs["asked"] = asked_of(request, query)
            elif not paged:
                refuse_unknown(request, ())
            try:
                return handler(self, request, *args, **kwargs)
            except Unacceptable as error:
                if query is None or not error.fields:
                    raise
                # What is asked stands in the address, so it is the address that is wrong.
                raise _bad_query({name: [said] for name, said in error.fields.items()}) from error

        door.door = Door(paged=paged, tagged=tagged)  # type: ignore[attr-defined]
        shape = output(many=True) if (many or paged) and isinstance(output, type) else output
        return extend_schema(
            responses={(200, media_type): shape},
            parameters=[query] if query is not None else [],
            filters=paged,
            summary=summary,
        )(door)

    return declare


def writes(
    given: type[serializers.BaseSerializer] | None = None,
    output: Any = None,
    *,
    status: int = 200,
    partial: bool = False,
    tagged: bool = False,
    matched: bool = False,
    key: str = "optional",
    atomic: bool = True,
    public: bool = False,
    described: Any = None,
    query: type[serializers.Serializer] | None = None,
    summary: str | None = None,
) -> Callable[[Handler], Handler]:
    """A door that changes something, in one transaction unless `atomic` is False.

    `given` is the shape of the body; the handler gets it validated as `given`. `key` says whether
    an Idempotency-Key is "required", "optional", "none" (for answers that must not be kept, and
    for doors that are not atomic) or "own" (required; the action remembers it itself, in a
    transaction of its own). `described` describes a body that the handler reads itself; `public`
    says that nobody needs to have signed in, which is the policy's to allow.
    """

    def declare(handler: Handler) -> Handler:
        @wraps(handler)
        def door(self: "Doors", request: Request, *args: Any, **kwargs: Any) -> Any:
            if query is not None:
                kwargs["asked"] = asked_of(request, query)
            else:
                refuse_unknown(request, ())
            request._request.body  # noqa: B018 - read now, so that the limit on its size holds

            def write() -> Response:
                if given is not None:
                    shape = given(data=request.data, partial=partial, context=self.shown_with)
                    shape.is_valid(raise_exception=True)
                    kwargs["given"] = shape.validated_data
                return handler(self, request, *args, **kwargs)

            if not atomic or key == "own":
                return write()
            with transaction.atomic():
                if key == "none":
                    return write()
                return idempotency.once(
                    request, required=key == "required", now=self.now, write=write
                )

        door.door = Door(  # type: ignore[attr-defined]
            status=status,
            tagged=tagged,
            matched=matched,
            takes_key=key != "none",
            key_required=key in {"required", "own"},
            public=public,
        )
        return extend_schema(
            request=described or given,
            responses={status: output},
            parameters=[query] if query is not None else [],
            summary=summary,
        )(door)

    return declare


class Doors(GenericViewSet):
    """What the doors of one noun share."""

    lookup_value_converter = "int"
    http_method_names = ["get", "head", "post", "patch", "delete"]

    @cached_property
    def now(self) -> Any:
        """One moment for the whole request."""
        return timezone.now()

    @property
    def person(self) -> Person:
        """Who asks. The policy lets nobody else in."""
        return self.request.user  # type: ignore[return-value]

    @cached_property
    def shown_with(self) -> dict[str, Any]:
        """What the shapes need to know: whose business it is, and how its money is written."""
        return {"business": SimpleLazyObject(Business.the), "request": self.request}

    def shown(
        self, output: type[serializers.BaseSerializer], row: Any, *, many: bool = False
    ) -> Any:
        """A row, or rows, in the shape of `output`."""
        return output(row, many=many, context=self.shown_with).data

    def answer(
        self,
        output: type[serializers.BaseSerializer],
        row: Any,
        *,
        status: int = 200,
        location: str | None = None,
    ) -> Response:
        """A row with its ETag; 304 when the caller's `If-None-Match` names this very state."""
        data = self.shown(output, row)
        tag = etag.of(data)
        headers = {"ETag": tag}
        if self.request.method in {"GET", "HEAD"} and etag.has_not_changed(self.request, tag):
            return Response(status=304, headers=headers)
        if location is not None:
            headers["Location"] = location
        return Response(data, status=status, headers=headers)

    def created(self, output: type[serializers.BaseSerializer], row: models.Model) -> Response:
        """A new row, at the address it has from now on."""
        address = self.request.build_absolute_uri(f"{self.request.path.rstrip('/')}/{row.pk}")
        return self.answer(output, row, status=201, location=address)

    def page(
        self,
        rows: "models.QuerySet[Any]",
        output: type[serializers.BaseSerializer],
        *,
        shaped: Callable[[Any], Any] | None = None,
    ) -> Response:
        """One cursor page of the rows that the declared filters leave.

        `shaped` puts beside each row of the page what else its shape needs.
        """
        rows = self.narrowed(rows, "limit", "cursor")
        pages = CursorPagination()
        page = pages.paginate_queryset(rows, self.request, view=self)
        page = page if shaped is None else [shaped(row) for row in page]
        return pages.get_paginated_response(self.shown(output, page, many=True))

    def narrowed(self, rows: "models.QuerySet[Any]", *known: str) -> "models.QuerySet[Any]":
        """The rows that the declared filters leave. `known` are parameters that are no filters."""
        filters = getattr(getattr(self, "filterset_class", None), "base_filters", {})
        refuse_unknown(self.request, (*filters, *known))
        if not filters:
            return rows
        found = self.filterset_class(self.request.query_params, queryset=rows)  # type: ignore[attr-defined]
        if not found.is_valid():
            raise _bad_query({name: [str(e) for e in said] for name, said in found.errors.items()})
        return found.qs

    def matched(self, gate: Gate, pk: int, output: type[serializers.BaseSerializer]) -> Any:
        """The row under a lock, once the caller has shown the ETag of its present state."""
        found = gate(self.person, pk, write=True)
        # Locked before it is compared, or two edits of one state would both pass.
        type(found)._default_manager.select_for_update().get(pk=pk)
        row = gate(self.person, pk, write=True)
        etag.require_match(self.request, self.shown(output, row))
        return row

    def get_queryset(self) -> "models.QuerySet[Any]":
        """Only the description of the API asks; handlers name their own query."""
        return self.described_by._default_manager.none()

    described_by: type[models.Model] = Business


def nothing() -> Response:
    return Response(status=204)


def refuse_unknown(request: Request, known: tuple[str, ...]) -> None:
    """Refuse a query parameter that means nothing here; a misspelt filter must not widen a list."""
    unknown = [name for name in request.query_params if name not in known]
    twice = {name: len(v) for name, v in request.query_params.lists() if len(v) > 1}
    if unknown:
        there_are = f"known here: {', '.join(sorted(known))}" if known else "none is known here"
        raise _bad_query({name: [f"unknown; {there_are}"] for name in unknown}, code="unknown")
    if twice:
        # The last one would be taken, and a question answered that was not asked.
        raise _bad_query(
            {name: [f"given {times} times; give it once"] for name, times in twice.items()},
            code="repeated",
        )


def asked_of(
    request: Request, query: type[serializers.Serializer], *, besides: tuple[str, ...] = ()
) -> Mapping[str, Any]:
    """The query of an address, checked; `besides` are read by somebody else. Raises Refused."""
    refuse_unknown(request, (*query().fields, *besides))
    given = request.query_params.items()
    shape = query(data={name: value for name, value in given if name not in besides})
    if not shape.is_valid():
        raise _bad_query({str(k): list(v) for k, v in shape.errors.items()})
    return shape.validated_data


def _bad_query(said: Mapping[str, list[str]], *, code: str = "invalid") -> Refused:
    places = [
        {"parameter": name, "detail": str(text), "code": str(getattr(text, "code", code))}
        for name, texts in said.items()
        for text in texts
    ]
    detail = "; ".join(f"{one['parameter']}: {one['detail']}" for one in places)
    return Refused(400, detail, code="bad_parameter", errors=places)
