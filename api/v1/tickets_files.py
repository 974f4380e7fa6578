"""Pictures and papers of tickets: put, looked at, fetched, taken away."""

from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.parsers import BaseParser, MultiPartParser
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.shapes import Shape
from people.errors import Unacceptable
from service.tickets.actions import attachments
from service.tickets.models import Attachment, Ticket
from service.tickets.queries import gates
from service.tickets.serving import headers_of

from .reads import RawParser
from .tickets_shapes import AttachmentOut, AttachmentsOut

RAW = RawParser.media_type
KINDS = tuple(Attachment.Kind.values)


class OneFileParser(RawParser):
    """The bytes of one file under its own media type; what they are is judged by themselves."""


def _parser(media_type: str) -> type[BaseParser]:
    return type("FileParser", (OneFileParser,), {"media_type": media_type})


def _renderer(media_type: str) -> type[BaseRenderer]:
    return type("FileRenderer", (JSONRenderer,), {"media_type": media_type, "format": "file"})


PARSERS = tuple(_parser(kind) for kind in (RAW, *KINDS))
RENDERERS = tuple(_renderer(kind) for kind in KINDS)
FILES = {
    **{kind: {"type": "string", "format": "binary"} for kind in (RAW, *KINDS)},
    "multipart/form-data": {
        "type": "object",
        "properties": {"files": {"type": "array", "items": {"type": "string", "format": "binary"}}},
        "required": ["files"],
    },
}


class Named(Shape):
    name = serializers.CharField(
        required=False, default="", max_length=100, help_text="The name of a raw body's file."
    )


class TicketFiles(Doors):
    """Files of one ticket. The same file again is the same attachment."""

    described_by = Ticket

    def get_parsers(self) -> list[BaseParser]:
        return [*(one() for one in PARSERS), MultiPartParser()]

    @writes(
        None,
        AttachmentsOut,
        described=FILES,
        query=Named,
        status=201,
        summary="Put pictures or a PDF to a ticket: a raw body is one file, multipart one or many",
    )
    @action(detail=True, methods=["post"])
    def attachments(self, request: Request, pk: int, asked: dict[str, Any]) -> Response:
        ticket = gates.ticket_for(self.person, pk, write=True)
        given: list[tuple[str, bytes]]
        if isinstance(request.data, bytes):
            given = [(asked["name"] or "picture", request.data)]
        else:
            given = [(one.name or "", one.read()) for one in request.FILES.getlist("files")]
        if not given:
            raise Unacceptable("no file came", fields={"files": "give at least one file"})
        added = [
            attachments.add(ticket=ticket, name=name, raw=raw, actor=self.person, now=self.now)
            for name, raw in given
        ]
        return Response(self.shown(AttachmentsOut, {"attachments": added}), status=201)


class Reason(Shape):
    reason = serializers.CharField(max_length=300)


class Attachments(Doors):
    """A picture or paper of a ticket."""

    described_by = Attachment

    def get_renderers(self) -> list[BaseRenderer]:
        kept = super().get_renderers()
        return [*kept, *(one() for one in RENDERERS)] if self.action == "content" else kept

    @gives(AttachmentOut, summary="Look at what is known of an attachment")
    def retrieve(self, request: Request, pk: int) -> Response:
        return Response(self.shown(AttachmentOut, gates.attachment_for(self.person, pk)))

    @gives(
        OpenApiResponse(OpenApiTypes.BINARY, description="The file itself."),
        media_type="*/*",
        summary="Fetch the file",
    )
    @action(detail=True)
    def content(self, request: Request, pk: int) -> HttpResponse:
        found = gates.attachment_for(self.person, pk)
        return HttpResponse(
            bytes(found.raw), content_type=found.media_type, headers=headers_of(found)
        )

    @writes(Reason, status=204, summary="Take an attachment away for good")
    @action(detail=True, methods=["post"])
    def remove(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.attachment_for(self.person, pk, write=True)
        attachments.remove(attachment=found, actor=self.person, now=self.now, **given)
        return Response(status=204)
