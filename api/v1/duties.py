"""Duties: the rules they come from, what is owed by when, what was done, and the evidence."""

from typing import Any

from django.http import HttpResponse
from django_filters import DateFilter, FilterSet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.exports import Exporting, exports
from api.filters import Flag, Id, Text, Word
from api.shapes import Ref, RowShape, Shape
from fleet.machines.models import Machine, Site
from people.errors import Unacceptable
from people.exports import Table, within
from people.models import Business, Person
from service.compliance import duty_tables
from service.compliance.actions import duties, duty_rules, evidence
from service.compliance.models import Duty, DutyDone, DutyRule, Evidence
from service.compliance.models.duties import DutyKind, Subject
from service.compliance.queries import gates
from service.compliance.queries.duties import duties_whole
from service.tickets.serving import headers_of

from .tickets_files import KINDS, PARSERS, RAW, RENDERERS, Named


class DutyRuleIn(RowShape):
    owner = Ref(queryset=Person.objects.filter(is_active=True), required=False, allow_null=True)

    class Meta:
        model = DutyRule
        fields = (
            *("title", "kind", "subject", "applies_to", "state", "said", "authority", "citation"),
            *("status", "every_months", "month_day", "notice_days", "owner", "active"),
        )


class DutyRuleOut(RowShape):
    class Meta:
        model = DutyRule
        fields = ("id", "key", "origin", *DutyRuleIn.Meta.fields, "made_at", "updated_at")


class DutyRuleFilter(FilterSet):
    state = Text()
    kind = Word(of=DutyKind)
    active = Flag()


class DutyRules(Doors):
    """What rules ask of the business, its sites and machines; each names its source and how far
    that was checked. No legal advice."""

    described_by = DutyRule
    filterset_class = DutyRuleFilter

    @gives(DutyRuleOut, paged=True, summary="List the rules that duties come from")
    def list(self, request: Request) -> Response:
        return self.page(DutyRule.objects.order_by("state", "title", "pk"), DutyRuleOut)

    @gives(DutyRuleOut, tagged=True, summary="Look at a rule of duties")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(DutyRuleOut, gates.rule_for(self.person, pk))

    @writes(DutyRuleIn, DutyRuleOut, status=201, tagged=True, summary="Make a rule of one's own")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = duty_rules.save_rule(changes=given, actor=self.person, now=self.now)
        return self.created(DutyRuleOut, gates.rule_for(self.person, saved.pk))

    @writes(
        DutyRuleIn,
        DutyRuleOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a rule; what is owed is worked out anew",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        rule = self.matched(gates.rule_for, pk, DutyRuleOut)
        duty_rules.save_rule(rule=rule, changes=given, actor=self.person, now=self.now)
        return self.answer(DutyRuleOut, gates.rule_for(self.person, pk))


class DutyDoneOut(RowShape):
    class Meta:
        model = DutyDone
        fields = (
            *("id", "done_on", "valid_until", "number", "note", "evidence", "by", "at"),
            *("set_aside_at", "set_aside_by", "set_aside_why"),
        )


class DutyIn(RowShape):
    """A duty that no rule asks for. Where it is about a site or a machine, name it."""

    site = Ref(queryset=Site.objects.all(), required=False, allow_null=True)
    machine = Ref(queryset=Machine.objects.all(), required=False, allow_null=True)
    owner = Ref(queryset=Person.objects.filter(is_active=True), required=False, allow_null=True)

    class Meta:
        model = Duty
        fields = (
            *("title", "kind", "subject", "site", "machine", "due_on", "every_months"),
            *("notice_days", "owner", "authority", "citation", "status", "note"),
        )


class DutyChange(RowShape):
    owner = Ref(queryset=Person.objects.filter(is_active=True), required=False, allow_null=True)

    class Meta:
        model = Duty
        fields = ("due_on", "owner", "note")


class DutyOut(RowShape):
    site_name = serializers.CharField(source="site.name", default=None, allow_null=True)
    asset_tag = serializers.CharField(source="machine.asset_tag", default=None, allow_null=True)
    done = DutyDoneOut(many=True, help_text="The latest first; those set aside count for nothing.")

    class Meta:
        model = Duty
        fields = (
            *("id", "rule", "kind", "subject", "site", "site_name", "machine", "asset_tag"),
            *("title", "authority", "citation", "status", "every_months", "notice_days"),
            *("due_on", "because", "owner", "state", "note", "reminded_at", "late_told_at"),
            *("opened_at", "closed_at", "done"),
        )


class DutiesDoneIn(Shape):
    duties = Ref(queryset=Duty.objects.all(), many=True)
    done_on = serializers.DateField()
    valid_until = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="As the paper says."
    )
    number = serializers.CharField(max_length=60, required=False, default="", allow_blank=True)
    note = serializers.CharField(max_length=300, required=False, default="", allow_blank=True)
    evidence = Ref(
        queryset=Evidence.objects.defer("raw"),
        required=False,
        allow_null=True,
        default=None,
        help_text="One paper or picture for all of them, put there before.",
    )


class DutiesDoneOut(serializers.Serializer):
    done = DutyDoneOut(many=True)


class DutyWhyIn(Shape):
    why = serializers.CharField(max_length=200)


class DutyFilter(FilterSet):
    state = Word(of=Duty.State)
    kind = Word(of=DutyKind)
    subject = Word(of=Subject)
    rule = Id()
    site = Id()
    machine = Id()
    owner = Id()
    due_from = DateFilter("due_on", lookup_expr="gte")
    due_until = DateFilter("due_on", lookup_expr="lte")


class Duties(Exporting, Doors):
    """What is owed by when, and what was done."""

    described_by = Duty
    filterset_class = DutyFilter

    @gives(DutyOut, paged=True, summary="List duties, the first due first")
    def list(self, request: Request) -> Response:
        return self.page(duties_whole().order_by("due_on", "pk"), DutyOut)

    @exports("Duties as a file")
    def export(self, request: Request) -> Table:
        rows = self.narrowed(duties_whole().order_by("due_on", "pk"), "as")
        return duty_tables.duties(within(rows), Business.the().time_zone)

    @gives(DutyOut, tagged=True, summary="Look at a duty")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(DutyOut, gates.duty_for(self.person, pk))

    @writes(DutyIn, DutyOut, status=201, tagged=True, summary="Write down a duty of one's own")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = duties.save_duty(changes=given, actor=self.person, now=self.now)
        return self.created(DutyOut, gates.duty_for(self.person, saved.pk))

    @writes(
        DutyChange,
        DutyOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change the day or the owner of an open duty",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        duty = self.matched(gates.duty_for, pk, DutyOut)
        duties.save_duty(duty=duty, changes=given, actor=self.person, now=self.now)
        return self.answer(DutyOut, gates.duty_for(self.person, pk))

    @writes(
        DutiesDoneIn,
        DutiesDoneOut,
        status=201,
        key="required",
        summary="Write down that duties were seen to; the next turn of each is opened",
    )
    @action(detail=False, methods=["post"])
    def done(self, request: Request, given: dict[str, Any]) -> Response:
        chosen, proof = given.pop("duties"), given.pop("evidence")
        seen = duties.Seen(**given)
        written = duties.record(
            duties=chosen, seen=seen, file=proof, actor=self.person, now=self.now
        )
        return Response(self.shown(DutiesDoneOut, {"done": written}), status=201)

    @writes(DutyWhyIn, DutyOut, tagged=True, summary="Take back what was written down by mistake")
    @action(detail=True, methods=["post"], url_path="set-aside", url_name="set-aside")
    def set_aside(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.duty_for(self.person, pk)
        done = DutyDone.objects.filter(duty=found, set_aside_at__isnull=True).first()
        if done is None:
            raise Unacceptable(f"{found}: nothing is written down that could be taken back")
        duties.set_aside(done=done, actor=self.person, now=self.now, **given)
        return self.answer(DutyOut, gates.duty_for(self.person, pk))

    @writes(DutyWhyIn, DutyOut, tagged=True, summary="A duty of one's own is not owed after all")
    @action(detail=True, methods=["post"])
    def drop(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.duty_for(self.person, pk, write=True)
        duties.drop(duty=found, actor=self.person, now=self.now, **given)
        return self.answer(DutyOut, gates.duty_for(self.person, pk))


class EvidenceOut(RowShape):
    class Meta:
        model = Evidence
        fields = ("id", "name", "media_type", "size", "sha256", "added_by", "at")


ONE_FILE = {kind: {"type": "string", "format": "binary"} for kind in (RAW, *KINDS)}


class Evidences(Doors):
    """Papers and pictures that prove something was done. The same file again is the same one."""

    described_by = Evidence

    def get_parsers(self) -> list[BaseParser]:
        return [one() for one in PARSERS]

    def get_renderers(self) -> list[BaseRenderer]:
        kept = super().get_renderers()
        return [*kept, *(one() for one in RENDERERS)] if self.action == "content" else kept

    @writes(
        None,
        EvidenceOut,
        described=ONE_FILE,
        query=Named,
        status=201,
        summary="Keep a picture or a PDF as evidence: the body is the file",
    )
    def create(self, request: Request, asked: dict[str, Any]) -> Response:
        raw = request.data if isinstance(request.data, bytes) else b""
        if not raw:
            raise Unacceptable("no file came", fields={"file": "give the file as the body"})
        given = evidence.GivenFile(asked["name"] or "paper", raw)
        kept = evidence.add(given, actor=self.person, now=self.now)
        return Response(self.shown(EvidenceOut, kept), status=201)

    @gives(EvidenceOut, summary="Look at what is known of a piece of evidence")
    def retrieve(self, request: Request, pk: int) -> Response:
        return Response(self.shown(EvidenceOut, gates.evidence_for(self.person, pk)))

    @gives(
        OpenApiResponse(OpenApiTypes.BINARY, description="The file itself."),
        media_type="*/*",
        summary="Fetch a piece of evidence",
    )
    @action(detail=True)
    def content(self, request: Request, pk: int) -> HttpResponse:
        found = gates.evidence_for(self.person, pk)
        return HttpResponse(
            bytes(found.raw), content_type=found.media_type, headers=headers_of(found)
        )


__all__ = ["Duties", "DutyRules", "Evidences"]
