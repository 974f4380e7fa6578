"""What was sold: intervals between reads, of machines and of columns, and totals of periods."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

from django_filters import FilterSet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, nothing, writes
from api.filters import Flag, Id, Moment
from api.moments import MomentAsked
from api.shapes import Choice, MinorMoney, Ref, RowShape, Shape
from api.shapes import Moment as MomentField
from fleet.machines.models import Machine
from fleet.sales.actions import decisions
from fleet.sales.models import EpochDecision, MachineInterval, SaleInterval
from fleet.sales.queries import gates, sold
from people.models import Business

from .reads import Because, WarningOut

PARTS = ("paid", "test", "free", "discount", "cash", "cashless")
CASH = ("cash_in", "cash_to_box", "cash_to_tubes", "bills_in", "cash_out", "cash_out_by_hand")
UNITS = tuple(f"{part}_units" for part in PARTS)
MONEY = tuple(f"{part}_money" for part in PARTS)


def amounts(parts: tuple[str, ...], exponent: str) -> dict[str, serializers.Field]:
    """A money field for each part: `paid_money` out of `paid_minor`."""
    return {f"{part}_money": MinorMoney(f"{part}_minor", exponent=exponent) for part in parts}


class _Lines(RowShape):
    def get_fields(self) -> dict[str, serializers.Field]:
        return {**super().get_fields(), **amounts(PARTS, "interval.exponent")}


class SaleIntervalOut(_Lines):
    machine = serializers.IntegerField(source="interval.machine_id")
    machine_interval = serializers.IntegerField(source="interval_id")
    starts_at = serializers.DateTimeField(source="interval.starts_at")
    ends_at = serializers.DateTimeField(source="interval.ends_at")
    currency = serializers.CharField(source="interval.currency")
    position = serializers.CharField(source="column.position.label", default=None, allow_null=True)
    product = serializers.IntegerField(source="set_up.product_id", default=None, allow_null=True)
    product_name = serializers.CharField(
        source="set_up.product.name", default=None, allow_null=True
    )
    price = MinorMoney("price_minor", exponent="interval.exponent")

    class Meta:
        model = SaleInterval
        fields = (
            "id",
            "machine_interval",
            "machine",
            "starts_at",
            "ends_at",
            "column",
            "position",
            "selection",
            "selection_code",
            "ordinal",
            "is_unassigned",
            "set_up",
            "spans_set_ups",
            "product",
            "product_name",
            "price",
            "currency",
            *UNITS,
            "is_share",
            "share_said",
            "ran_dry",
            "evidence",
            "how",
        )


class MachineIntervalLine(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")
    why_not = serializers.ListField(help_text="Where the lines do not add up, and why.")
    warnings = WarningOut(many=True)

    class Meta:
        model = MachineInterval
        fields = (
            "id",
            "machine",
            "asset_tag",
            "from_read",
            "to_read",
            "starts_at",
            "ends_at",
            "currency",
            *UNITS,
            "quality",
            "sum_agrees",
            "why_not",
            "devices",
            "awaits_decision",
            "warnings",
        )

    def get_fields(self) -> dict[str, serializers.Field]:
        return {**super().get_fields(), **amounts((*PARTS, *CASH), "exponent")}


class MachineIntervalOut(MachineIntervalLine):
    lines = SaleIntervalOut(many=True)
    other_figures = serializers.JSONField()

    class Meta(MachineIntervalLine.Meta):
        fields = (*MachineIntervalLine.Meta.fields, "other_figures", "lines")


class DecideIn(Because):
    device = serializers.CharField(max_length=20)
    choice = Choice(choices=EpochDecision.Choice.choices)


class DecisionOut(RowShape):
    class Meta:
        model = EpochDecision
        fields = (
            "id",
            "machine",
            "from_read",
            "to_read",
            "device",
            "choice",
            "reason",
            "decided_at",
            "decided_by",
        )


class MachineIntervalFilter(FilterSet):
    machine = Id()
    since = Moment("ends_at", lookup_expr="gt")
    until = Moment("starts_at", lookup_expr="lt")
    awaits_decision = Flag()
    sum_agrees = Flag()


class SaleIntervalFilter(FilterSet):
    machine = Id("interval__machine")
    column = Id()
    product = Id("set_up__product")
    since = Moment("interval__ends_at", lookup_expr="gt")
    until = Moment("interval__starts_at", lookup_expr="lt")


class MachineIntervals(Doors):
    """What one machine sold between two reads, by its own totals."""

    described_by = MachineInterval
    filterset_class = MachineIntervalFilter

    @gives(MachineIntervalLine, paged=True, summary="List what machines sold, latest first")
    def list(self, request: Request) -> Response:
        rows = MachineInterval.objects.select_related("machine").order_by("-ends_at", "-pk")
        return self.page(rows, MachineIntervalLine)

    @gives(MachineIntervalOut, tagged=True, summary="Look at an interval with its columns")
    def retrieve(self, request: Request, pk: int) -> Response:
        interval = gates.interval_for(self.person, pk)
        lines = list(sold.lines_whole().filter(interval=interval))
        for line in lines:
            line.interval = interval  # known already, and asked for its currency by every line
        interval._prefetched_objects_cache = {"lines": lines}  # type: ignore[attr-defined]
        return self.answer(MachineIntervalOut, interval)

    @writes(
        DecideIn,
        DecisionOut,
        status=201,
        summary="Say how a device's counters are to be taken where they start afresh",
    )
    @action(detail=True, methods=["post"])
    def decisions(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        interval = gates.interval_for(self.person, pk, write=True)
        made = decisions.decide_epoch(interval=interval, actor=self.person, now=self.now, **given)
        return Response(self.shown(DecisionOut, made), status=201)


class EpochDecisions(Doors):
    """What was decided where a device's counters start afresh."""

    described_by = EpochDecision

    @gives(DecisionOut, tagged=True, summary="Look at a decision")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(DecisionOut, gates.decision_for(self.person, pk))

    @writes(Because, status=204, summary="Take a decision back; sales are cut anew")
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        decision = gates.decision_for(self.person, pk, write=True)
        decisions.withdraw_decision(decision=decision, actor=self.person, now=self.now, **given)
        return nothing()


class SaleIntervals(Doors):
    """What one column sold between two reads."""

    described_by = SaleInterval
    filterset_class = SaleIntervalFilter

    @gives(SaleIntervalOut, paged=True, summary="List what columns sold, latest first")
    def list(self, request: Request) -> Response:
        rows = sold.lines_whole().select_related(
            "interval", "column__position", "selection", "set_up__product"
        )
        return self.page(rows.order_by("-interval__ends_at", "-pk"), SaleIntervalOut)

    @gives(SaleIntervalOut, tagged=True, summary="Look at a sale interval")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(SaleIntervalOut, gates.line_for(self.person, pk))


class TotalsAsked(Shape):
    period = Choice(choices=["day", "week", "month", "quarter", "year"])
    by = Choice(choices=["machine", "column", "product", "selection"])
    since = MomentAsked(help_text="By the moment of the read that tells the sales.")
    until = MomentAsked(help_text="What a read of this moment or later tells is left out.")
    machine = Ref(queryset=Machine.objects.all(), required=False)


class TotalOut(serializers.Serializer):
    starts_at = MomentField(
        source="starts", help_text="Where the period begins, by the clock of the business."
    )
    of = serializers.IntegerField(allow_null=True, help_text="The id of what it is of.")
    label = serializers.CharField()
    currency = serializers.CharField()
    intervals = serializers.IntegerField()
    incomplete = serializers.IntegerField(
        help_text="Intervals that do not add up or wait for a decision."
    )
    figures = serializers.SerializerMethodField()

    @extend_schema_field(
        {
            "type": "object",
            "additionalProperties": {"type": ["integer", "string", "null"]},
            "description": "Units as integers, money as text; null is not known.",
        }
    )
    def get_figures(self, total: sold.Total) -> dict[str, Any]:
        return {
            name.replace("_minor", "_money"): _money(value, total.exponent)
            if name.endswith("_minor")
            else value
            for name, value in total.figures.items()
        }


def _money(minor: int | None, places: int) -> str | None:
    return None if minor is None else f"{Decimal(minor).scaleb(-places):.{places}f}"


class SalesTotals(Doors):
    """Sales by period, added up by the database."""

    described_by = MachineInterval

    @gives(TotalOut, many=True, query=TotalsAsked, summary="What was sold, by period")
    def list(self, request: Request, asked: dict[str, Any]) -> Response:
        machine: Machine | None = asked.pop("machine", None)
        machines = None if machine is None else [machine.pk]
        zone: Any = Business.the().time_zone
        found = sold.totals_by_period(**asked, zone=zone, machines=machines)
        found = [replace(one, starts=one.starts.astimezone(zone)) for one in found]
        return Response(self.shown(TotalOut, found, many=True))
