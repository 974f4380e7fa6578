"""Changeovers: planned in one go, taken in hand, completed with what was left, or abandoned."""

from typing import Any

from django_filters import DateFilter, FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Id, Word
from api.shapes import Choice, Money, Ref, RowShape, Shape
from fleet.machines.actions import changeovers
from fleet.machines.models import (
    Changeover,
    ChangeoverPlan,
    Column,
    DepthProgram,
    Product,
    RemovedProduct,
)
from fleet.machines.queries import gates, sheets

from .sheets import SheetOut

AS_LEFT = ("deep", "front", "rear", "program", "price", "orientation")


class RemovedOut(RowShape):
    product_name = serializers.CharField(source="product.name")

    class Meta:
        model = RemovedProduct
        fields = ("product", "product_name", "condition", "count")


class MismatchOut(serializers.Serializer):
    what = serializers.CharField()
    planned = serializers.CharField(allow_null=True)
    as_left = serializers.CharField(allow_null=True)
    said = serializers.CharField()


class ChangeoverLine(RowShape):
    purpose = serializers.CharField(source="plan.purpose")
    planned_for = serializers.DateField(source="plan.planned_for")
    machine = serializers.IntegerField(source="column.machine_id")
    asset_tag = serializers.CharField(source="column.machine.asset_tag")
    position = serializers.CharField(source="column.position.label")
    selection = serializers.CharField(source="column.selection.code", default=None, allow_null=True)
    product_name = serializers.CharField(source="product.name")
    program_name = serializers.CharField(source="program.name", default=None, allow_null=True)
    price = Money()
    currency = serializers.SerializerMethodField()

    class Meta:
        model = Changeover
        fields = (
            "id",
            "plan",
            "purpose",
            "planned_for",
            "state",
            "machine",
            "asset_tag",
            "column",
            "position",
            "selection",
            "product",
            "product_name",
            "deep",
            "front_setting",
            "rear_setting",
            "program",
            "program_name",
            "price",
            "currency",
            "orientation",
            "capacity",
            "test_vends_asked",
            "taken_at",
            "taken_by",
            "ended_at",
            "ended_by",
        )

    def get_currency(self, changeover: Changeover) -> str:
        return self.context["business"].currency


class ChangeoverOut(ChangeoverLine):
    computed = serializers.JSONField(help_text="The whole answer of the fit as it was planned.")
    as_left_price = Money(allow_null=True)
    mismatches = MismatchOut(many=True)
    removed = RemovedOut(many=True)

    class Meta(ChangeoverLine.Meta):
        fields = (
            *ChangeoverLine.Meta.fields,
            "from_set_up",
            "to_set_up",
            "computed",
            *(f"as_left_{name}" for name in AS_LEFT),
            "picture_matches",
            "test_vends_made",
            "test_vends_passed",
            "what_happened",
            "mismatches",
            "mismatch_reason",
            "removed",
            "ended_reason",
            "created_at",
            "updated_at",
        )


class PlanLine(RowShape):
    class Meta:
        model = ChangeoverPlan
        fields = ("id", "purpose", "planned_for", "created_at", "created_by")


class PlanOut(PlanLine):
    changeovers = ChangeoverLine(many=True)

    class Meta(PlanLine.Meta):
        fields = (*PlanLine.Meta.fields, "changeovers")


class LineIn(Shape):
    """One column's wish. What is left out is computed; `deep` sets the column by hand."""

    column = Ref(
        queryset=Column.objects.select_related("machine__kind", "position__kind", "selection")
    )
    product = Ref(queryset=Product.objects.select_related("package"))
    price = Money(required=False, allow_null=True, min_value=0)
    deep = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=99)
    front_setting = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=9999
    )
    rear_setting = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=9999
    )
    program = Ref(queryset=DepthProgram.objects.all(), required=False, allow_null=True)


class PlanIn(Shape):
    purpose = serializers.CharField(max_length=200)
    planned_for = serializers.DateField()
    lines = LineIn(many=True, max_length=2000)
    test_vends = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=100
    )


class ReplacementIn(Shape):
    old = Ref(queryset=Product.objects.select_related("package"))
    new = Ref(queryset=Product.objects.select_related("package"))
    purpose = serializers.CharField(max_length=200)
    planned_for = serializers.DateField()
    test_vends = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=100
    )


class LeftOutOut(serializers.Serializer):
    column = serializers.IntegerField(source="column.pk")
    said = serializers.CharField(source="column")
    why = serializers.CharField()


class ReplacementOut(serializers.Serializer):
    plan = PlanOut(allow_null=True, help_text="Null when no column could be planned.")
    left_out = LeftOutOut(many=True)


class AsLeftIn(Shape):
    deep = serializers.IntegerField(min_value=1, max_value=99)
    price = Money(min_value=0)
    front_setting = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=9999
    )
    rear_setting = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=9999
    )
    program = Ref(queryset=DepthProgram.objects.all(), required=False, allow_null=True)
    orientation = Choice(
        choices=Changeover.Orientation.choices,
        required=False,
        help_text="Left out: the usual one of the position.",
    )


class RemovedIn(Shape):
    product = Ref(queryset=Product.objects.all())
    condition = Choice(choices=RemovedProduct.Condition.choices)
    count = serializers.IntegerField(min_value=0, max_value=9999)


class CompleteIn(Shape):
    as_left = AsLeftIn()
    removed = RemovedIn(many=True, max_length=100)
    test_vends_made = serializers.IntegerField(min_value=0, max_value=1000)
    test_vends_passed = serializers.IntegerField(min_value=0, max_value=1000)
    picture_matches = serializers.BooleanField()
    what_happened = serializers.CharField(
        required=False, allow_blank=True, default="", max_length=2000
    )
    mismatch_reason = serializers.CharField(
        required=False, allow_blank=True, default="", max_length=300
    )


class AbandonIn(Shape):
    reason = serializers.CharField(max_length=300)


class PlanFilter(FilterSet):
    planned_from = DateFilter("planned_for", lookup_expr="gte")
    planned_until = DateFilter("planned_for", lookup_expr="lte")


class ChangeoverPlans(Doors):
    """Changeovers planned in one go, for one stated purpose."""

    described_by = ChangeoverPlan
    filterset_class = PlanFilter

    @gives(PlanLine, paged=True, summary="List plans, latest first")
    def list(self, request: Request) -> Response:
        return self.page(ChangeoverPlan.objects.order_by("-created_at", "-pk"), PlanLine)

    @gives(PlanOut, tagged=True, summary="Look at a plan with its changeovers")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(PlanOut, gates.plan_for(self.person, pk))

    @writes(
        PlanIn,
        PlanOut,
        status=201,
        tagged=True,
        summary="Plan the changeover of one or more columns",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        lines = [changeovers.PlannedLine(**line) for line in given.pop("lines")]
        plan = changeovers.plan(lines=lines, actor=self.person, now=self.now, **given)
        return self.created(PlanOut, gates.plan_for(self.person, plan.pk))

    @writes(
        ReplacementIn,
        ReplacementOut,
        status=201,
        summary="Plan to replace a product in every column that holds it",
    )
    @action(detail=False, methods=["post"])
    def replacements(self, request: Request, given: dict[str, Any]) -> Response:
        made = changeovers.plan_replacement(actor=self.person, now=self.now, **given)
        plan = None if made.plan is None else gates.plan_for(self.person, made.plan.pk)
        answer = {"plan": plan, "left_out": made.left_out}
        return Response(self.shown(ReplacementOut, answer), status=201)


class ChangeoverFilter(FilterSet):
    state = Word(of=Changeover.State)
    plan = Id()
    machine = Id("column__machine")
    column = Id()
    product = Id()


class Changeovers(Doors):
    """The work of taking a column from one set-up to the next."""

    described_by = Changeover
    filterset_class = ChangeoverFilter

    @gives(ChangeoverLine, paged=True, summary="List changeovers, latest first")
    def list(self, request: Request) -> Response:
        return self.page(gates.changeovers_whole().order_by("-pk"), ChangeoverLine)

    @gives(ChangeoverOut, tagged=True, summary="Look at a changeover")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(ChangeoverOut, gates.changeover_for(self.person, pk))

    @gives(SheetOut, summary="The changeover sheet: settings, steps, cautions, test vends, blanks")
    @action(detail=True)
    def sheet(self, request: Request, pk: int) -> Response:
        found = sheets.sheet(gates.changeover_for(self.person, pk))
        return Response(self.shown(SheetOut, found))

    @writes(None, ChangeoverOut, tagged=True, key="required", summary="Take a changeover in hand")
    @action(detail=True, methods=["post"])
    def take(self, request: Request, pk: int) -> Response:
        changeover = gates.changeover_for(self.person, pk, write=True)
        changeovers.take(changeover=changeover, actor=self.person, now=self.now)
        return self.answer(ChangeoverOut, gates.changeover_for(self.person, pk))

    @writes(
        CompleteIn,
        ChangeoverOut,
        tagged=True,
        key="required",
        summary="Complete a changeover: what came out, how the column was left, test vends",
    )
    @action(detail=True, methods=["post"])
    def complete(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        changeover = gates.changeover_for(self.person, pk, write=True)
        as_left = changeovers.AsLeft(**given.pop("as_left"))
        removed = [changeovers.Removed(**one) for one in given.pop("removed")]
        changeovers.complete(
            changeover=changeover,
            as_left=as_left,
            removed=removed,
            actor=self.person,
            now=self.now,
            **given,
        )
        return self.answer(ChangeoverOut, gates.changeover_for(self.person, pk))

    @writes(AbandonIn, ChangeoverOut, tagged=True, key="required", summary="Give a changeover up")
    @action(detail=True, methods=["post"])
    def abandon(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        changeover = gates.changeover_for(self.person, pk, write=True)
        changeovers.abandon(changeover=changeover, actor=self.person, now=self.now, **given)
        return self.answer(ChangeoverOut, gates.changeover_for(self.person, pk))
