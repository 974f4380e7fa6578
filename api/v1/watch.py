"""What the watch suspects, how it found it, how often it was right, and what it is held to."""

from typing import Any

from django_filters import FilterSet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, nothing, writes
from api.exports import Exporting, exports
from api.filters import Id, Moment, Word
from api.shapes import Money, Ref, RowShape, Shape, one_of
from people.exports import Table, within
from people.models import Person
from service.tickets.models import Symptom, Ticket
from service.watch import tables
from service.watch.actions import findings, looks, rules
from service.watch.models import Finding, Look, Verdict, WatchLimits, WatchRule
from service.watch.queries import gates
from service.watch.queries.quality import quality


class LikelyCauseOut(serializers.Serializer):
    code = serializers.CharField()
    words = serializers.CharField()
    weight = serializers.FloatField(help_text="How likely among all causes, from 0 to 1.")
    why = serializers.ListField(child=serializers.CharField())
    check_first = serializers.CharField()
    cautions = serializers.ListField(child=serializers.CharField())
    cases = serializers.IntegerField(help_text="Closed tickets of the kind that had this cause.")
    cases_in_all = serializers.IntegerField()


class VerdictOut(RowShape):
    cause_words = serializers.CharField(source="cause.words", default=None, allow_null=True)

    class Meta:
        model = Verdict
        fields = ("said", "by", "cause", "cause_words", "at", "delay_days")


class FindingLine(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")
    position = serializers.CharField(
        source="column.position.label", default=None, allow_null=True, help_text="Of the column."
    )
    product_name = serializers.CharField(source="product.name", default=None, allow_null=True)

    class Meta:
        model = Finding
        fields = (
            *("id", "machine", "asset_tag", "column", "position", "product", "product_name"),
            *("kind", "key", "state", "since", "opened_at", "last_seen_at", "looks"),
            *("strength", "strength_said", "said", "ticket", "ticketed_at"),
            *("dismissed_at", "dismissed_by", "dismissed_reason", "dismissed_note", "quiet_until"),
            *("recovered_at", "recovered_said", "updated_at"),
        )


class FindingOut(FindingLine):
    causes = LikelyCauseOut(many=True, help_text="The likeliest first.")
    verdict = serializers.SerializerMethodField(help_text="Whether it was true; null: not known.")
    evidence = serializers.JSONField(help_text="`numbers` by name, and `chart`: series by day.")

    class Meta(FindingLine.Meta):
        fields = (*FindingLine.Meta.fields, "evidence", "causes", "verdict")

    @extend_schema_field(VerdictOut(allow_null=True))
    def get_verdict(self, finding: Finding) -> Any:
        found = getattr(finding, "verdict", None)
        return None if found is None else VerdictOut(found, context=self.context).data


class ToTicketIn(Shape):
    symptom = Ref(
        queryset=Symptom.objects.filter(active=True),
        required=False,
        allow_null=True,
        help_text="Left out: the usual one of the kind.",
    )
    urgency = one_of(Ticket.Urgency, required=False)
    said = serializers.CharField(
        max_length=1000, required=False, help_text="Left out: what the finding says."
    )


class DismissIn(Shape):
    reason = one_of(Finding.Reason)
    note = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")
    teach = serializers.BooleanField(
        default=True, help_text="Ask for stronger evidence the next time."
    )


class FindingFilter(FilterSet):
    machine = Id()
    column = Id()
    kind = Word(of=Finding.Kind)
    state = Word(of=Finding.State)
    opened_from = Moment("opened_at", lookup_expr="gte")
    opened_until = Moment("opened_at", lookup_expr="lt")


class Findings(Exporting, Doors):
    """What the watch suspects from the numbers, with its evidence and the likeliest causes."""

    described_by = Finding
    filterset_class = FindingFilter

    @gives(FindingLine, paged=True, summary="List findings, the strongest first")
    def list(self, request: Request) -> Response:
        return self.page(gates.findings_whole().order_by("-strength", "pk"), FindingLine)

    @exports("Findings as a file, the strongest first")
    def export(self, request: Request) -> Table:
        rows = self.narrowed(gates.findings_whole().order_by("-strength", "pk"), "as")
        return tables.findings(within(rows), self.shown_with["business"].time_zone)

    @gives(FindingOut, tagged=True, summary="Look at a finding: evidence and likeliest causes")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(FindingOut, gates.finding_for(self.person, pk))

    @writes(ToTicketIn, FindingOut, summary="Make a finding a ticket")
    @action(detail=True, methods=["post"], url_path="to-ticket")
    def to_ticket(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        finding = gates.finding_for(self.person, pk, write=True)
        findings.to_ticket(finding=finding, actor=self.person, now=self.now, **given)
        return self.answer(FindingOut, gates.finding_for(self.person, pk))

    @writes(DismissIn, FindingOut, summary="Dismiss a finding with a reason")
    @action(detail=True, methods=["post"])
    def dismiss(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        finding = gates.finding_for(self.person, pk, write=True)
        findings.dismiss(finding=finding, actor=self.person, now=self.now, **given)
        return self.answer(FindingOut, gates.finding_for(self.person, pk))


class LookOut(RowShape):
    class Meta:
        model = Look
        fields = (
            *("id", "over", "day", "state", "asked_by", "started_at", "finished_at"),
            *("machines", "columns", "mark", "found", "opened", "recovered", "ticketed"),
            *("told", "outcome"),
        )


class LookFilter(FilterSet):
    over = Word(of=Look.Over)
    state = Word(of=Look.State)


class Looks(Doors):
    """Looks over the fleet: by night, at machines with news, or on demand."""

    described_by = Look
    filterset_class = LookFilter

    @gives(LookOut, paged=True, summary="List looks, latest first")
    def list(self, request: Request) -> Response:
        return self.page(gates.looks_whole().order_by("-started_at", "-pk"), LookOut)

    @gives(LookOut, tagged=True, summary="Look at a look")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(LookOut, gates.look_for(self.person, pk))

    @writes(None, LookOut, status=201, tagged=True, summary="Go through the numbers now")
    def create(self, request: Request) -> Response:
        look = looks.start(over=Look.Over.ASKED, actor=self.person, now=self.now)
        return self.created(LookOut, gates.look_for(self.person, look.pk))


class ShareOut(serializers.Serializer):
    hits = serializers.IntegerField()
    cases = serializers.IntegerField()
    share = serializers.FloatField(allow_null=True)
    least = serializers.FloatField(help_text="Wilson's interval at 95 %.")
    most = serializers.FloatField()
    few = serializers.BooleanField(help_text="Too few cases to judge by.")


class DelayOut(serializers.Serializer):
    cases = serializers.IntegerField()
    middle = serializers.FloatField(allow_null=True, help_text="Median, days.")
    least = serializers.FloatField(allow_null=True)
    most = serializers.FloatField(allow_null=True)


class KindQualityOut(serializers.Serializer):
    kind = serializers.CharField()
    opened = serializers.IntegerField()
    true = serializers.IntegerField()
    false = serializers.IntegerField()
    unclear = serializers.IntegerField()
    live = serializers.IntegerField()
    by_itself = serializers.IntegerField(help_text="Recovered before anybody looked into it.")
    missed = serializers.IntegerField(
        allow_null=True, help_text="Faults that people told first; null: not to be known."
    )
    right = ShareOut(allow_null=True, help_text="True among those with a clear verdict.")
    caught = ShareOut(allow_null=True, help_text="Found among the faults that tickets told of.")
    delay = DelayOut(allow_null=True, help_text="From when it went wrong until it was found.")


class QualityOut(serializers.Serializer):
    since = serializers.DateTimeField()
    until = serializers.DateTimeField()
    kinds = KindQualityOut(many=True)
    whole = KindQualityOut(allow_null=True)


class Days(Shape):
    days = serializers.IntegerField(default=90, min_value=1, max_value=730)


class WatchQuality(Doors):
    """How often the watch was right, by what its findings turned out to be."""

    described_by = Finding

    @gives(QualityOut, query=Days, summary="How good the watch was: found, false, delay")
    def retrieve(self, request: Request, asked: dict[str, Any]) -> Response:
        return Response(self.shown(QualityOut, quality(now=self.now, days=asked["days"])))


class WatchLimitsOut(RowShape):
    sold_out_loss = Money(min_value=0)
    cash_off = Money(min_value=0)

    class Meta:
        model = WatchLimits
        fields = (
            *("false_share", "double_rate", "miscount", "missing_chance", "sold_out_loss"),
            *("warm_minutes", "warm_limit_c", "clock_minutes", "power_losses", "cash_off"),
            *("cash_chance", "days_back", "quiet_days", "updated_at"),
        )
        read_only_fields = ("updated_at",)


class LimitsOfWatch(Doors):
    """From where on the watch says something."""

    described_by = WatchLimits

    @gives(WatchLimitsOut, tagged=True, summary="Look at the limits of the watch")
    def retrieve(self, request: Request) -> Response:
        return self.answer(WatchLimitsOut, WatchLimits.the())

    @writes(
        WatchLimitsOut,
        WatchLimitsOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change the limits of the watch",
    )
    def partial_update(self, request: Request, given: dict[str, Any]) -> Response:
        self.matched(_the, 1, WatchLimitsOut)
        changed = rules.change_limits(changes=given, actor=self.person, now=self.now)
        return self.answer(WatchLimitsOut, changed)


def _the(person: Person, pk: int, *, write: bool = False) -> WatchLimits:
    return WatchLimits.the()


class WatchRuleOut(RowShape):
    symptom_words = serializers.CharField(source="symptom.words")

    class Meta:
        model = WatchRule
        fields = (
            *("id", "kind", "strength", "looks", "symptom", "symptom_words", "urgency"),
            *("active", "updated_at"),
        )


class WatchRuleIn(RowShape):
    kind = one_of(Finding.Kind)
    symptom = Ref(queryset=Symptom.objects.filter(active=True))
    urgency = one_of(Ticket.Urgency, required=False, allow_blank=True)

    class Meta:
        model = WatchRule
        fields = ("kind", "strength", "looks", "symptom", "urgency", "active")


class WatchRules(Doors):
    """Which findings become tickets by themselves, and from what strength on."""

    described_by = WatchRule

    @gives(WatchRuleOut, paged=True, summary="List the rules by which findings become tickets")
    def list(self, request: Request) -> Response:
        rows = WatchRule.objects.select_related("symptom").order_by("kind", "pk")
        return self.page(rows, WatchRuleOut)

    @gives(WatchRuleOut, tagged=True, summary="Look at a rule of the watch")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(WatchRuleOut, gates.rule_for(self.person, pk))

    @writes(WatchRuleIn, WatchRuleOut, status=201, tagged=True, summary="Add a rule of the watch")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = rules.save_rule(changes=given, actor=self.person, now=self.now)
        return self.created(WatchRuleOut, gates.rule_for(self.person, saved.pk))

    @writes(
        WatchRuleIn,
        WatchRuleOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a rule of the watch",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        rule = self.matched(gates.rule_for, pk, WatchRuleOut)
        rules.save_rule(rule=rule, changes=given, actor=self.person, now=self.now)
        return self.answer(WatchRuleOut, gates.rule_for(self.person, pk))

    @writes(status=204, matched=True, summary="Remove a rule of the watch")
    def destroy(self, request: Request, pk: int) -> Response:
        rule = self.matched(gates.rule_for, pk, WatchRuleOut)
        rules.remove_rule(rule=rule, actor=self.person, now=self.now)
        return nothing()
