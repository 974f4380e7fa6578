"""Columns, how they are set, and what would fit them."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Flag, Id, Moment
from api.shapes import Money, Ref, RowShape
from fleet.compute.rails import End
from fleet.machines.actions import setups
from fleet.machines.geometry import setting_said
from fleet.machines.models import Changeover, Column, DepthProgram, Product, SetUp
from fleet.machines.queries import fits, fleet, gates

from .fit import ANSWER, ProductFitOut, Search, WhichProduct, fit_of

SETTING = ("deep", "front_setting", "rear_setting", "program", "price", "orientation")


class SetUpOut(RowShape):
    product_name = serializers.CharField(source="product.name")
    program_name = serializers.CharField(source="program.name", default=None, allow_null=True)
    price = Money()
    currency = serializers.SerializerMethodField()

    class Meta:
        model = SetUp
        fields = (
            "id",
            "column",
            "product",
            "product_name",
            *SETTING,
            "program_name",
            "currency",
            "capacity",
            "source",
            "starts_at",
            "ends_at",
        )

    def get_currency(self, set_up: SetUp) -> str:
        return self.context["business"].currency


class AsFound(RowShape):
    product = Ref(queryset=Product.objects.select_related("package"))
    program = Ref(queryset=DepthProgram.objects.all(), required=False, allow_null=True)
    price = Money(min_value=0)
    capacity = serializers.IntegerField(
        required=False, min_value=0, max_value=9999, help_text="Computed when left out."
    )

    class Meta:
        model = SetUp
        fields = ("product", *SETTING, "capacity", "starts_at")


class OpenChangeover(RowShape):
    product_name = serializers.CharField(source="product.name")

    class Meta:
        model = Changeover
        fields = ("id", "plan", "product", "product_name", "state")


class ColumnOut(RowShape):
    position_label = serializers.CharField(source="position.label")
    style = serializers.CharField(source="position.style")
    selection = serializers.CharField(source="selection.code", default=None, allow_null=True)
    picture = serializers.CharField(source="selection.picture", default=None, allow_null=True)
    set_up = SetUpOut(among="set_ups_now", allow_null=True, help_text="In force now.")
    front_said = serializers.SerializerMethodField(help_text="As a hand finds the setting.")
    rear_said = serializers.SerializerMethodField()
    changeover = OpenChangeover(
        among="changeovers_open", allow_null=True, help_text="Planned or in hand."
    )

    class Meta:
        model = Column
        fields = (
            "id",
            "machine",
            "position",
            "position_label",
            "style",
            "selection",
            "picture",
            "set_up",
            "front_said",
            "rear_said",
            "changeover",
        )

    def get_front_said(self, column: Column) -> str | None:
        return _said(column, End.FRONT)

    def get_rear_said(self, column: Column) -> str | None:
        return _said(column, End.REAR)


def _said(column: Column, end: End) -> str | None:
    now = next(iter(column.set_ups_now), None)  # type: ignore[attr-defined]
    if now is None:
        return None
    return setting_said(column.position, end, getattr(now, f"{end.value}_setting"))


class SetUpFilter(FilterSet):
    machine = Id("column__machine")
    column = Id()
    product = Id()
    now = Flag("ends_at", lookup_expr="isnull")
    since = Moment("starts_at", lookup_expr="gte")


class SetUps(Doors):
    """How columns were set, from one moment to another; latest first."""

    described_by = SetUp
    filterset_class = SetUpFilter

    @gives(SetUpOut, paged=True, summary="List set-ups, present and past")
    def list(self, request: Request) -> Response:
        rows = SetUp.objects.select_related("product", "program").order_by("-starts_at", "pk")
        own = (field.name for field in SetUp._meta.concrete_fields)
        rows = rows.only(*own, "product__name", "program__name")
        return self.page(rows, SetUpOut)

    @gives(SetUpOut, tagged=True, summary="Look at a set-up")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(SetUpOut, gates.set_up_for(self.person, pk))


class Columns(Doors):
    """One position of one machine."""

    described_by = Column

    @gives(ColumnOut, tagged=True, summary="Look at a column")
    def retrieve(self, request: Request, pk: int) -> Response:
        column = gates.column_for(self.person, pk)
        return self.answer(ColumnOut, fleet.columns_of(column.machine).get(pk=pk))

    @gives(ANSWER, query=WhichProduct, summary="Whether a product fits a column, and why")
    @action(detail=True)
    def fit(self, request: Request, pk: int, asked: dict[str, Any]) -> Response:
        return Response(fit_of(gates.column_for(self.person, pk), asked["product"]))

    @gives(
        ProductFitOut,
        many=True,
        query=Search,
        summary="Every product still sold and whether it fits the column, best first",
    )
    @action(detail=True, url_path="what-fits")
    def what_fits(self, request: Request, pk: int, asked: dict[str, Any]) -> Response:
        column = gates.column_for(self.person, pk)
        best = fits.what_fits(column, search=asked["search"])[: asked["limit"]]
        return Response(self.shown(ProductFitOut, best, many=True))

    @writes(AsFound, SetUpOut, status=201, summary="Record how a column was found set")
    @action(detail=True, methods=["post"], url_path="set-ups")
    def record_as_found(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        column = gates.column_for(self.person, pk, write=True)
        found = setups.record_as_found(column=column, actor=self.person, now=self.now, **given)
        return Response(self.shown(SetUpOut, found), status=201)
