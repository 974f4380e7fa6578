"""Audit reads: handed in, looked at, and decided about."""

from collections.abc import Sequence
from typing import Any

from django.http import HttpResponse
from django_filters import FilterSet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.parsers import BaseParser, MultiPartParser
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api import etag
from api.doors import Doors, gives, writes
from api.errors import Refused
from api.filters import Id, Moment, Word
from api.plain import Plain
from api.shapes import Choice, MachineTime, MinorMoney, Ref, RowShape, Shape
from fleet.compute.audit.report import Report
from fleet.machines.models import Machine
from fleet.sales.actions import receive, rematch, tray
from fleet.sales.models import AuditRead
from fleet.sales.outcome import Result
from fleet.sales.queries import gates, reads

MOST_FILES = 200
RAW = "application/octet-stream"


class RawParser(BaseParser):
    """The bytes as they are, for a body that is one file."""

    media_type = RAW

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        return stream.read()


class TextParser(RawParser):
    media_type = "text/plain"


class FileRenderer(JSONRenderer):
    """Lets a client ask for the bytes; a refusal is JSON all the same."""

    media_type = RAW
    format = "file"


class WhichRead(Shape):
    machine = Ref(
        queryset=Machine.objects.select_related("kind"),
        required=False,
        help_text="The machine that the files are said to come from.",
    )
    name = serializers.CharField(
        required=False, default="", max_length=200, help_text="The name of a raw body's file."
    )


class NoticeOut(serializers.Serializer):
    code = serializers.CharField()
    text = serializers.CharField()


class WarningOut(NoticeOut):
    where = serializers.CharField(required=False, allow_blank=True)
    line = serializers.IntegerField(required=False, allow_null=True)
    effect = serializers.CharField(required=False)


class OutcomeOut(serializers.Serializer):
    name = serializers.CharField()
    sha256 = serializers.CharField()
    result = Choice(choices=[one.value for one in Result])
    said = serializers.CharField()
    read = serializers.IntegerField(source="read_id", allow_null=True)
    machine = serializers.IntegerField(source="machine_id", allow_null=True)
    asset_tag = serializers.CharField(source="machine", allow_null=True)
    matched_by = serializers.CharField()
    warnings = WarningOut(many=True)
    waiting = NoticeOut(many=True)
    machine_intervals = serializers.ListField(
        source="interval_ids", child=serializers.IntegerField()
    )


class OutcomesOut(serializers.Serializer):
    outcomes = OutcomeOut(many=True, help_text="One for each file, in their order.")


class ReadLine(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag", default=None, allow_null=True)
    waiting = NoticeOut(many=True)

    class Meta:
        model = AuditRead
        fields = (
            "id",
            "name",
            "sha256",
            "size",
            "source",
            "received_at",
            "received_by",
            "state",
            "waiting",
            "machine",
            "asset_tag",
            "matched_by",
            "verdict",
            "usable_as",
            "taken_at",
            "taken_known_by",
            "place",
            "epoch",
            "is_late",
        )


class ReadOut(ReadLine):
    warnings = WarningOut(many=True)
    usable_why = serializers.ListField(child=serializers.CharField())
    clock_at = MachineTime()
    initialised_at = MachineTime()
    paid_money = MinorMoney("paid_minor", help_text="Paid vends ever (VA101).")
    report = Plain(Report, help_text="All that the file says; passwords are withheld.")

    class Meta(ReadLine.Meta):
        fields = (
            *ReadLine.Meta.fields,
            "settled_at",
            "settled_by",
            "settled_reason",
            "usable_why",
            "warnings",
            "asset_read",
            "serial_read",
            "board_serial_read",
            "location_read",
            "currency",
            "paid_count",
            "paid_money",
            "clock_text",
            "clock_at",
            "clock_state",
            "drift_s",
            "drift_said",
            "initialised_at",
            "reads_counter",
            "placed_by",
            "placed_why",
            "report",
        )


class Because(Shape):
    reason = serializers.CharField(max_length=300)


class MatchIn(Because):
    machine = Ref(queryset=Machine.objects.select_related("kind"))


class MatchedAgainOut(serializers.Serializer):
    reads = ReadLine(many=True, help_text="Those that found their machine.")


class ReadFilter(FilterSet):
    machine = Id()
    state = Word(of=AuditRead.State)
    source = Word(of=AuditRead.Source)
    since = Moment("received_at", lookup_expr="gte")
    until = Moment("received_at", lookup_expr="lt")


FILES = {
    RAW: {"type": "string", "format": "binary"},
    "text/plain": {"type": "string"},
    "multipart/form-data": {
        "type": "object",
        "properties": {"files": {"type": "array", "items": {"type": "string", "format": "binary"}}},
        "required": ["files"],
    },
}


class Reads(Doors):
    """Files of counters read from machines, kept byte for byte."""

    described_by = AuditRead
    filterset_class = ReadFilter

    def get_parsers(self) -> list[BaseParser]:
        if getattr(self, "action_map", {}).get("post") == "create":
            return [RawParser(), TextParser(), MultiPartParser()]
        return super().get_parsers()

    def get_renderers(self) -> list[BaseRenderer]:
        return [*super().get_renderers(), *([FileRenderer()] if self.action == "raw" else [])]

    @gives(ReadLine, paged=True, summary="List reads, latest received first")
    def list(self, request: Request) -> Response:
        rows = gates.reads_seen_by(self.person).order_by("-received_at", "-pk")
        return self.page(rows, ReadLine)

    @gives(ReadOut, tagged=True, summary="Look at a read with all that its file says")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(ReadOut, self._whole(pk))

    @writes(
        None,
        OutcomesOut,
        described=FILES,
        query=WhichRead,
        summary="Hand in audit files: a raw body is one file, multipart one or many",
    )
    def create(self, request: Request, asked: dict[str, Any]) -> Response:
        outcomes = receive.receive(
            files=_files(request, asked["name"]),
            source=AuditRead.Source.API,
            actor=self.person,
            now=self.now,
            machine=asked.get("machine"),
        )
        return Response(self.shown(OutcomesOut, {"outcomes": outcomes}))

    @gives(
        OpenApiResponse(OpenApiTypes.BINARY, description="The file, byte for byte."),
        media_type=RAW,
        summary="The file itself",
    )
    @action(detail=True)
    def raw(self, request: Request, pk: int) -> HttpResponse:
        read = gates.read_for(self.person, pk)
        tag = f'"{read.sha256}"'
        if etag.has_not_changed(request, tag):
            return HttpResponse(status=304, headers={"ETag": tag})
        headers = {"ETag": tag, "Content-Disposition": f'attachment; filename="read-{pk}.dts"'}
        return HttpResponse(bytes(read.raw), content_type=RAW, headers=headers)

    @writes(
        None,
        MatchedAgainOut,
        summary="Match again all that wait for a machine, once it has been entered",
    )
    @action(detail=False, methods=["post"], url_path="match-again")
    def match_again(self, request: Request) -> Response:
        found = rematch.match_again(actor=self.person, now=self.now)
        return Response(self.shown(MatchedAgainOut, {"reads": found}))

    @writes(MatchIn, ReadOut, tagged=True, summary="Say which machine a read came from")
    @action(detail=True, methods=["post"])
    def match(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        read = gates.read_for(self.person, pk, write=True)
        tray.match(read=read, actor=self.person, now=self.now, **given)
        return self.answer(ReadOut, self._whole(pk))

    @writes(Because, ReadOut, tagged=True, summary="Accept a read in spite of its damage")
    @action(detail=True, methods=["post"])
    def accept(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        read = gates.read_for(self.person, pk, write=True)
        tray.accept(read=read, actor=self.person, now=self.now, **given)
        return self.answer(ReadOut, self._whole(pk))

    @writes(Because, ReadOut, tagged=True, summary="Set a read aside: it takes part in nothing")
    @action(detail=True, methods=["post"], url_path="set-aside")
    def set_aside(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        read = gates.read_for(self.person, pk, write=True)
        tray.set_aside(read=read, actor=self.person, now=self.now, **given)
        return self.answer(ReadOut, self._whole(pk))

    def _whole(self, pk: int) -> AuditRead:
        read = gates.read_for(self.person, pk)
        read.report = reads.report_of(read)  # type: ignore[attr-defined]
        return read


def _files(request: Request, name: str) -> Sequence[receive.ReceivedFile]:
    body = request.data
    if isinstance(body, bytes):
        return [receive.ReceivedFile(name, body, None)]
    files = [one for _, several in request.FILES.lists() for one in several]
    if not 1 <= len(files) <= MOST_FILES:
        raise Refused(
            422,
            f"{len(files)} files came; send 1 to {MOST_FILES} at once",
            errors=[{"pointer": "/files", "detail": "1 to 200 files", "code": "files"}],
        )
    return [receive.ReceivedFile((one.name or "")[:200], one.read(), None) for one in files]
