"""Settlements of cards: files taken in, how they are read, and held against cashless sales."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from django_filters import CharFilter, DateFilter, FilterSet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse
from rest_framework.decorators import action
from rest_framework.parsers import BaseParser, MultiPartParser
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api import etag
from api.doors import Doors, gives, writes
from api.errors import Refused
from api.exports import Exporting, exports
from api.filters import Flag, Id
from fleet.sales import money_tables
from fleet.sales.actions import cards, terminals
from fleet.sales.models import CardTerminal, SettlementFile, SettlementLine, SettlementMapping
from fleet.sales.queries.cards import (
    TOLERANCE,
    Matched,
    file_for,
    files,
    lines,
    mapping_for,
    matched,
    terminal_for,
)
from people.exports import Table
from people.models import Business

from . import settlement_shapes as shapes
from .reads import RAW, FileRenderer, RawParser, TextParser

CSV = "text/csv"


class CsvParser(RawParser):
    media_type = CSV


FILE = {
    CSV: {"type": "string"},
    "text/plain": {"type": "string"},
    RAW: {"type": "string", "format": "binary"},
    "multipart/form-data": {
        "type": "object",
        "properties": {"file": {"type": "string", "format": "binary"}},
        "required": ["file"],
    },
}


class Settlements(Doors):
    """Files of settlements as processors give them out, kept byte for byte."""

    described_by = SettlementFile

    def get_parsers(self) -> list[BaseParser]:
        if getattr(self, "action_map", {}).get("post") == "create":
            return [CsvParser(), TextParser(), RawParser(), MultiPartParser()]
        return super().get_parsers()

    def get_renderers(self) -> list[BaseRenderer]:
        return [*super().get_renderers(), *([FileRenderer()] if self.action == "raw" else [])]

    @gives(shapes.SettlementOut, paged=True, summary="List files of settlements, the latest first")
    def list(self, request: Request) -> Response:
        return self.page(files().order_by("-pk"), shapes.SettlementOut)

    @gives(shapes.SettlementOut, tagged=True, summary="Look at a file of settlements")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.SettlementOut, file_for(self.person, pk))

    @writes(
        None,
        shapes.SettlementOut,
        described=FILE,
        query=shapes.WhichColumns,
        status=201,
        tagged=True,
        summary="Take in a file of settlements, whole or not at all",
    )
    def create(self, request: Request, asked: Mapping[str, Any]) -> Response:
        name, raw = _file(request, asked["name"])
        made = cards.take_in(
            name=name, raw=raw, mapping=asked["mapping"], actor=self.person, now=self.now
        )
        return self.created(shapes.SettlementOut, file_for(self.person, made.pk))

    @gives(
        OpenApiResponse(OpenApiTypes.BINARY, description="The file, byte for byte."),
        media_type=RAW,
        summary="The file itself",
    )
    @action(detail=True)
    def raw(self, request: Request, pk: int) -> HttpResponse:
        found = file_for(self.person, pk)
        tag = f'"{found.sha256}"'
        if etag.has_not_changed(request, tag):
            return HttpResponse(status=304, headers={"ETag": tag})
        named = f'attachment; filename="settlement-{pk}.csv"'
        headers = {"ETag": tag, "Content-Disposition": named}
        return HttpResponse(bytes(found.raw), content_type=RAW, headers=headers)


class SettlementLineFilter(FilterSet):
    file = Id()
    machine = Id()
    terminal = CharFilter()
    without_machine = Flag("machine", lookup_expr="isnull")
    day_from = DateFilter("day", lookup_expr="gte")
    day_until = DateFilter("day", lookup_expr="lte")


class SettlementLines(Doors):
    """What one terminal took on a day by a file, and the fee."""

    described_by = SettlementLine
    filterset_class = SettlementLineFilter

    @gives(shapes.SettlementLineOut, paged=True, summary="List lines, the latest day first")
    def list(self, request: Request) -> Response:
        return self.page(lines(), shapes.SettlementLineOut)


class SettlementDays(Exporting, Doors):
    """What was settled against what machines counted as cashless. Between two reads nobody knows
    the day of a sale: it is spread evenly, and days are judged together."""

    described_by = SettlementLine

    @gives(shapes.MatchedOut, query=shapes.MatchedAsked, summary="Hold settlements against sales")
    def list(self, request: Request, asked: Mapping[str, Any]) -> Response:
        found = _matched(asked)
        told = {
            "since": found.since,
            "until": found.until,
            "fees": found.fees,
            "machines": found.machines if asked["only"] == "all" else found.mismatches,
            "unmatched": found.unmatched,
        }
        return Response(self.shown(shapes.MatchedOut, told))

    @exports("Settlements against sales as a file", query=shapes.SettlementExportAsked)
    def export(self, request: Request, asked: Mapping[str, Any]) -> Table:
        found, zone = _matched(asked), Business.the().time_zone
        if asked["rows"] == "days":
            return money_tables.days(found, zone)
        return money_tables.matched(found, zone, mismatches=asked["only"] == "mismatches")


class SettlementMappings(Doors):
    """Which column of a settlement file says what, and how it is written."""

    described_by = SettlementMapping

    @gives(shapes.SettlementMappingOut, paged=True, summary="List mappings of columns")
    def list(self, request: Request) -> Response:
        return self.page(SettlementMapping.objects.order_by("pk"), shapes.SettlementMappingOut)

    @gives(shapes.SettlementMappingOut, tagged=True, summary="Look at a mapping of columns")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.SettlementMappingOut, mapping_for(self.person, pk))

    @writes(
        shapes.SettlementMappingIn,
        shapes.SettlementMappingOut,
        status=201,
        tagged=True,
        summary="Say which column says what",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = cards.save_mapping(mapping=None, changes=given, actor=self.person, now=self.now)
        return self.created(shapes.SettlementMappingOut, mapping_for(self.person, saved.pk))

    @writes(
        shapes.SettlementMappingIn,
        shapes.SettlementMappingOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change how later files are read; what was taken in stays",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        row = self.matched(mapping_for, pk, shapes.SettlementMappingOut)
        cards.save_mapping(mapping=row, changes=given, actor=self.person, now=self.now)
        return self.answer(shapes.SettlementMappingOut, mapping_for(self.person, pk))


class CardTerminalFilter(FilterSet):
    machine = Id()
    code = CharFilter()
    withdrawn = Flag("withdrawn_at", lookup_expr="isnull", exclude=True)


class CardTerminals(Doors):
    """In which machine a terminal hangs, from a day to before another. Wrong entries are withdrawn
    and stay; another says what is right."""

    described_by = CardTerminal
    filterset_class = CardTerminalFilter

    @gives(shapes.CardTerminalOut, paged=True, summary="List where terminals hang")
    def list(self, request: Request) -> Response:
        return self.page(CardTerminal.objects.order_by("pk"), shapes.CardTerminalOut)

    @gives(shapes.CardTerminalOut, tagged=True, summary="Look at where a terminal hangs")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.CardTerminalOut, terminal_for(self.person, pk))

    @writes(
        shapes.CardTerminalIn,
        shapes.CardTerminalOut,
        status=201,
        tagged=True,
        summary="Hang a terminal in a machine; it leaves the one before",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        made = terminals.hang_terminal(actor=self.person, now=self.now, **given)
        return self.created(shapes.CardTerminalOut, terminal_for(self.person, made.pk))

    @writes(
        shapes.TerminalEndIn,
        shapes.CardTerminalOut,
        tagged=True,
        summary="Say that a terminal was taken down",
    )
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = terminal_for(self.person, pk, write=True)
        terminals.end_terminal(terminal=found, actor=self.person, now=self.now, **given)
        return self.answer(shapes.CardTerminalOut, terminal_for(self.person, pk))

    @writes(
        shapes.TerminalCorrectionIn,
        shapes.CardTerminalOut,
        status=201,
        tagged=True,
        summary="Put a right entry in the place of a wrong one, which stays as evidence",
    )
    @action(detail=True, methods=["post"])
    def correct(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found, why = terminal_for(self.person, pk, write=True), given.pop("why")
        made = terminals.correct_terminal(
            terminal=found, changes=given, why=why, actor=self.person, now=self.now
        )
        return self.created(shapes.CardTerminalOut, terminal_for(self.person, made.pk))

    @writes(
        shapes.TerminalWithdrawalIn,
        shapes.CardTerminalOut,
        tagged=True,
        summary="Take back an entry that should never have been made; it stays as evidence",
    )
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = terminal_for(self.person, pk, write=True)
        terminals.withdraw_terminal(terminal=found, actor=self.person, now=self.now, **given)
        return self.answer(shapes.CardTerminalOut, terminal_for(self.person, pk))


def _matched(asked: Mapping[str, Any]) -> Matched:
    return matched(
        asked["since"],
        asked["until"],
        tolerance=asked.get("tolerance", TOLERANCE),
        machine=asked.get("machine"),
    )


def _file(request: Request, name: str) -> tuple[str, bytes]:
    body = request.data
    if isinstance(body, bytes):
        return name, body
    found = [one for _, several in request.FILES.lists() for one in several]
    if len(found) != 1:
        raise Refused(
            422,
            f"{len(found)} files came; send one at a time",
            errors=[{"pointer": "/file", "detail": "one file", "code": "files"}],
        )
    return name or (found[0].name or "")[:200], found[0].read()
