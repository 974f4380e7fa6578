"""By when tickets are promised: rules, the hours that count, days closed."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api import etag
from api.doors import Doors, gives, nothing, writes
from api.filters import Id
from api.shapes import Ref, RowShape, Shape
from fleet.machines.models import Site
from service.tickets.actions import agreements
from service.tickets.models import ClosedDay, PromiseRule, ServiceHours
from service.tickets.queries import outgoing


class RuleChange(RowShape):
    class Meta:
        model = PromiseRule
        fields = ("kind", "amount", "active")


class RuleIn(RuleChange):
    site = Ref(
        queryset=Site.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="Null: everywhere that has no rule of its own.",
    )

    class Meta(RuleChange.Meta):
        fields = ("site", "urgency", *RuleChange.Meta.fields)


class RuleOut(RowShape):
    said = serializers.CharField(help_text="The rule in words, as tickets keep them.")

    class Meta:
        model = PromiseRule
        fields = ("id", "site", "urgency", "kind", "amount", "active", "said", "updated_at")


class RuleFilter(FilterSet):
    site = Id()


class PromiseRules(Doors):
    """What is agreed for an urgency: everywhere, or at one site, whose rule goes first."""

    described_by = PromiseRule
    filterset_class = RuleFilter

    @gives(RuleOut, paged=True, summary="List promises")
    def list(self, request: Request) -> Response:
        return self.page(outgoing.rules().order_by("pk"), RuleOut)

    @gives(RuleOut, tagged=True, summary="Look at a promise")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(RuleOut, outgoing.rule_for(self.person, pk))

    @writes(RuleIn, RuleOut, status=201, tagged=True, summary="Promise something at a site")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = agreements.save_rule(changes=given, actor=self.person, now=self.now)
        return self.created(RuleOut, outgoing.rule_for(self.person, saved.pk))

    @writes(
        RuleChange, RuleOut, partial=True, tagged=True, matched=True, summary="Change a promise"
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        rule = self.matched(outgoing.rule_for, pk, RuleOut)
        agreements.save_rule(rule=rule, changes=given, actor=self.person, now=self.now)
        return self.answer(RuleOut, outgoing.rule_for(self.person, pk))

    @writes(status=204, matched=True, summary="Let a site follow the promise for everywhere")
    def destroy(self, request: Request, pk: int) -> Response:
        rule = self.matched(outgoing.rule_for, pk, RuleOut)
        agreements.remove_rule(rule=rule, actor=self.person, now=self.now)
        return nothing()


class ServiceWindow(RowShape):
    weekday = serializers.IntegerField(
        min_value=0, max_value=6, help_text="0 is Monday, 6 is Sunday."
    )

    class Meta:
        model = ServiceHours
        fields = ("weekday", "opens", "closes")


class HoursShape(Shape):
    windows = ServiceWindow(many=True, min_length=1, max_length=50, help_text="All of them.")


class HoursOfService(Doors):
    """The hours that count at sites whose own opening hours are not known."""

    described_by = ServiceHours

    @gives(HoursShape, tagged=True, summary="Look at the hours that count")
    def retrieve(self, request: Request) -> Response:
        return self._answered(outgoing.hours_for(self.person))

    @writes(
        HoursShape,
        HoursShape,
        tagged=True,
        matched=True,
        summary="Set the hours that count, all at once",
    )
    def partial_update(self, request: Request, given: dict[str, Any]) -> Response:
        held = outgoing.hours_for(self.person, write=True)
        etag.require_match(request, self._shape(held))
        windows = [(one["weekday"], one["opens"], one["closes"]) for one in given["windows"]]
        kept = agreements.set_hours(windows=windows, actor=self.person, now=self.now)
        return self._answered(kept)

    def _shape(self, windows: list[ServiceHours]) -> Any:
        return self.shown(HoursShape, {"windows": windows})

    def _answered(self, windows: list[ServiceHours]) -> Response:
        data = self._shape(windows)
        return Response(data, headers={"ETag": etag.of(data)})


class ClosedDayIn(RowShape):
    site = Ref(
        queryset=Site.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="Null: everywhere.",
    )

    class Meta:
        model = ClosedDay
        fields = ("site", "date", "why")


class ClosedDayOut(RowShape):
    class Meta:
        model = ClosedDay
        fields = ("id", "site", "date", "why")


class ClosedDays(Doors):
    """Days that do not count besides the public holidays, which are known without them."""

    described_by = ClosedDay

    @gives(ClosedDayOut, paged=True, summary="List closed days, latest first")
    def list(self, request: Request) -> Response:
        return self.page(outgoing.closed_days(), ClosedDayOut)

    @gives(ClosedDayOut, tagged=True, summary="Look at a closed day")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(ClosedDayOut, outgoing.closed_day_for(self.person, pk))

    @writes(ClosedDayIn, ClosedDayOut, status=201, tagged=True, summary="Close a day")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        day = given.pop("date")
        closed = agreements.close_day(day=day, **given, actor=self.person, now=self.now)
        return self.created(ClosedDayOut, closed)

    @writes(status=204, matched=True, summary="Let a closed day count again")
    def destroy(self, request: Request, pk: int) -> Response:
        closed = self.matched(outgoing.closed_day_for, pk, ClosedDayOut)
        agreements.open_day(closed=closed, actor=self.person, now=self.now)
        return nothing()
