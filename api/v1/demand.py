"""What sells how fast, what is fitted on what and how well, and the rules that fits follow."""

from datetime import date
from typing import Any

from django_filters import DateFilter, FilterSet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, nothing, writes
from api.exports import Exporting, exports
from api.filters import Flag, Id, Word
from api.shapes import Money, Number, Ref, RowShape, Shape
from fleet.demand import tables
from fleet.demand.actions import rules as keeping
from fleet.demand.actions import runs
from fleet.demand.models import (
    ColumnDemand,
    ColumnNeed,
    DemandRules,
    FitChunk,
    FitRun,
    UnusualDay,
)
from fleet.demand.queries import fits, gates
from fleet.demand.queries.ahead import ColumnAhead, column_ahead
from fleet.machines.models import Site
from fleet.machines.queries.gates import column_for
from people.errors import NotFound
from people.exports import Table
from people.models import Business, Person

from .demand_shapes import AmountsAtStake, AtStake, ReasonOut

USUAL_DAYS = 14


class NeedLine(RowShape):
    margin_lost_by_day = AmountsAtStake()
    reasons = ReasonOut(many=True)

    class Meta:
        model = ColumnNeed
        fields = (
            *("day", "worked_out_at", "stock_expected", "stock_low", "stock_high", "stock_basis"),
            *("capacity", "dry_median_days", "dry_early_days"),
            *("chance_dry_by_day", "units_lost_by_day", "margin_lost_by_day"),
            *("fill_to", "par", "fill_expected", "pull_units", "pull_lots", "reasons"),
        )


class ColumnDemandOut(RowShape):
    machine = serializers.IntegerField(source="column.machine_id")
    asset_tag = serializers.CharField(source="column.machine.asset_tag")
    position = serializers.CharField(source="column.position.label")
    product_name = serializers.CharField(source="product.name")
    need = serializers.SerializerMethodField(help_text="As last worked out; null: not yet.")

    class Meta:
        model = ColumnDemand
        fields = (
            *("column", "machine", "asset_tag", "position", "product", "product_name"),
            *("fitted_at", "fitted_through", "basis", "intervals", "units", "dry_intervals"),
            *("last_sale_day", "a_day", "need"),
        )

    @extend_schema_field(NeedLine(allow_null=True))
    def get_need(self, demand: ColumnDemand) -> Any:
        need = getattr(demand.column, "need", None)
        return None if need is None else NeedLine(need, context=self.context).data


class BandOut(serializers.Serializer):
    percent = serializers.IntegerField()
    low = serializers.IntegerField()
    high = serializers.IntegerField()


class DayAheadOut(serializers.Serializer):
    day = serializers.DateField()
    asked = serializers.FloatField(help_text="Units asked for from now to the end of the day.")
    bands = serializers.SerializerMethodField()
    held = serializers.FloatField(help_text="Units still held, on average, if nobody comes.")
    chance_dry = serializers.FloatField()
    units_lost = serializers.FloatField(help_text="Units asked for in vain by then.")
    margin_lost = AtStake(source="margin_lost_minor")

    @extend_schema_field(BandOut(many=True))
    def get_bands(self, day: Any) -> list[dict[str, int]]:
        return [
            {"percent": round(part * 100), "low": low, "high": high}
            for part, (low, high) in day.bands.items()
        ]


class ColumnAheadOut(serializers.Serializer):
    column = serializers.IntegerField()
    product = serializers.IntegerField()
    capacity = serializers.IntegerField()
    at = serializers.DateTimeField()
    stock = serializers.FloatField(help_text="Units held now, on average.")
    stock_low = serializers.IntegerField()
    stock_high = serializers.IntegerField()
    stock_basis = serializers.CharField()
    stock_reasons = serializers.ListField(child=serializers.CharField())
    known_until = serializers.DateTimeField(
        allow_null=True, help_text="Up to when sales are known; null: never counted."
    )
    from_pool = serializers.BooleanField(help_text="Nothing of its own was fitted on yet.")
    dry_median = serializers.DateField(allow_null=True, help_text="Dry by then in half of cases.")
    dry_early = serializers.DateField(allow_null=True, help_text="In one case of twenty.")
    days = DayAheadOut(many=True)


class Until(Shape):
    until = serializers.DateField(
        required=False, help_text="The last day told; two weeks are told without it."
    )


class DemandFilter(FilterSet):
    machine = Id("column__machine")
    product = Id()
    basis = Word(of=ColumnDemand.Basis)


class ColumnDemands(Exporting, Doors):
    """The demand of columns for what they hold, by the column's id."""

    described_by = ColumnDemand
    filterset_class = DemandFilter

    @gives(ColumnDemandOut, paged=True, summary="List columns with their demand and need")
    def list(self, request: Request) -> Response:
        return self.page(gates.demands_whole().order_by("pk"), ColumnDemandOut)

    @exports("Columns with their demand and need as a file")
    def export(self, request: Request) -> Table:
        rows = self.narrowed(gates.demands_whole().order_by("pk"), "as")
        money = gates.sees_money(self.person)
        return tables.needs(rows, Business.the().time_zone, money=money)

    @gives(ColumnDemandOut, tagged=True, summary="Look at a column's demand as last fitted")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(ColumnDemandOut, gates.demand_for(self.person, pk))

    @gives(
        ColumnAheadOut,
        query=Until,
        summary="What a column will be asked for by each day, in bands, and when it is dry",
    )
    @action(detail=True)
    def ahead(self, request: Request, pk: int, asked: dict[str, Any]) -> Response:
        column = column_for(self.person, pk)
        until: date | None = asked.get("until")
        found: ColumnAhead | None = column_ahead(column, now=self.now, until=until, days=USUAL_DAYS)
        if found is None:
            raise NotFound(f"{column} holds nothing, so nothing is asked of it")
        return Response(self.shown(ColumnAheadOut, found))


class FitChunkOut(RowShape):
    warehouse_name = serializers.CharField(source="warehouse.name", default=None, allow_null=True)
    machines = serializers.SerializerMethodField(help_text="How many.")

    class Meta:
        model = FitChunk
        fields = (
            *("number", "warehouse", "warehouse_name", "machines", "columns", "intervals"),
            *("state", "attempt", "doing", "taken_at", "heard_at", "finished_at", "error"),
        )

    def get_machines(self, chunk: FitChunk) -> int:
        return len(chunk.machines)


class BandKeptOut(serializers.Serializer):
    percent = serializers.IntegerField()
    inside = serializers.FloatField(help_text="Part of the truths that fell within it.")
    meant = serializers.FloatField(help_text="Part that was to; whole units hold more than named.")


class FaredOut(serializers.Serializer):
    """How forecasts fared against what was then sold."""

    intervals = serializers.IntegerField(source="calibration.intervals")
    ran_dry = serializers.IntegerField(source="calibration.ran_dry")
    crps = serializers.FloatField(source="calibration.crps", help_text="Units; 0 is perfect.")
    bias = serializers.FloatField(
        source="calibration.bias", allow_null=True, help_text="Part foretold too much."
    )
    units_a_mean_interval = serializers.FloatField(source="a_mean_interval")
    tried_back = serializers.BooleanField()
    bands = serializers.SerializerMethodField()

    @extend_schema_field(BandKeptOut(many=True))
    def get_bands(self, fared: fits.Fared) -> list[dict[str, Any]]:
        return [
            {"percent": percent, "inside": inside, "meant": meant}
            for percent, inside, meant in fared.bands
        ]


class FitRunLine(RowShape):
    share_done = serializers.SerializerMethodField(help_text="From 0 to 1, by columns.")

    class Meta:
        model = FitRun
        fields = (
            *("id", "day", "is_nightly", "state", "asked_by", "started_at", "finished_at"),
            *("machines", "columns", "intervals", "outcome", "share_done"),
        )

    def get_share_done(self, run: FitRun) -> float:
        return fits.progress(run).share


class FitRunOut(FitRunLine):
    chunks = FitChunkOut(many=True)
    calibration = serializers.SerializerMethodField()

    class Meta(FitRunLine.Meta):
        fields = (*FitRunLine.Meta.fields, "fitted_with", "chunks", "calibration")

    @extend_schema_field(FaredOut(allow_null=True))
    def get_calibration(self, run: FitRun) -> Any:
        found = fits.fared(run.chunks.all())
        return None if found is None else FaredOut(found).data


class RunFilter(FilterSet):
    state = Word(of=FitRun.State)
    is_nightly = Flag()


class FitRuns(Exporting, Doors):
    """Runs of the refit: what was fitted, when, on what, how well, and how far it is."""

    described_by = FitRun
    filterset_class = RunFilter

    @gives(FitRunLine, paged=True, summary="List fits, latest first")
    def list(self, request: Request) -> Response:
        return self.page(gates.runs_whole().order_by("-started_at", "-pk"), FitRunLine)

    @exports("Fits and how they fared as a file")
    def export(self, request: Request) -> Table:
        rows = self.narrowed(gates.runs_whole().order_by("-started_at", "-pk"), "as")
        return tables.fitted(rows, Business.the().time_zone)

    @gives(FitRunOut, tagged=True, summary="Look at a fit: its parts, progress and calibration")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(FitRunOut, gates.run_for(self.person, pk))

    @writes(None, FitRunOut, status=201, tagged=True, summary="Fit every column's demand anew, now")
    def create(self, request: Request) -> Response:
        run = runs.start(actor=self.person, now=self.now)
        return self.created(FitRunOut, gates.run_for(self.person, run.pk))


class DemandRulesOut(RowShape):
    hour_cost = Money(min_value=0)

    class Meta:
        model = DemandRules
        fields = (
            *("history_days", "ahead_days", "usual_gap_days", "truck_level", "leftover_part"),
            *("changeover_minutes", "hour_cost", "pay_back_weeks", "updated_at"),
        )
        read_only_fields = ("updated_at",)


class RulesOfDemand(Doors):
    """How far back demand is fitted, how far ahead it is told, and what filling aims at."""

    described_by = DemandRules

    @gives(DemandRulesOut, tagged=True, summary="Look at the rules of demand")
    def retrieve(self, request: Request) -> Response:
        return self.answer(DemandRulesOut, DemandRules.the())

    @writes(
        DemandRulesOut,
        DemandRulesOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change the rules of demand",
    )
    def partial_update(self, request: Request, given: dict[str, Any]) -> Response:
        self.matched(_the, 1, DemandRulesOut)
        changed = keeping.change_rules(changes=given, actor=self.person, now=self.now)
        return self.answer(DemandRulesOut, changed)


def _the(person: Person, pk: int, *, write: bool = False) -> DemandRules:
    return DemandRules.the()


class UnusualDayOut(RowShape):
    part = Number(max_digits=4, decimal_places=2)
    site_name = serializers.CharField(source="site.name", default=None, allow_null=True)

    class Meta:
        model = UnusualDay
        fields = ("id", "site", "site_name", "day", "part", "note")


class UnusualDayIn(Shape):
    site = Ref(queryset=Site.objects.all(), required=False, allow_null=True)
    day = serializers.DateField()
    part = Number(max_digits=4, decimal_places=2, min_value=0, max_value=10)
    note = serializers.CharField(max_length=100, required=False, allow_blank=True, default="")


class UnusualDayFilter(FilterSet):
    site = Id()
    day_from = DateFilter("day", lookup_expr="gte")
    day_until = DateFilter("day", lookup_expr="lte")


class UnusualDays(Doors):
    """Days on which a site, or every site, sells so much of what is usual; 0: closed."""

    described_by = UnusualDay
    filterset_class = UnusualDayFilter

    @gives(UnusualDayOut, paged=True, summary="List days that are not as usual")
    def list(self, request: Request) -> Response:
        rows = UnusualDay.objects.select_related("site").order_by("day", "pk")
        return self.page(rows, UnusualDayOut)

    @gives(UnusualDayOut, tagged=True, summary="Look at a day that is not as usual")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(UnusualDayOut, gates.unusual_day_for(self.person, pk))

    @writes(
        UnusualDayIn,
        UnusualDayOut,
        status=201,
        tagged=True,
        summary="Say how much of usual is sold on a day; said again, the new holds",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        return self.created(
            UnusualDayOut, keeping.mark_day(actor=self.person, now=self.now, **given)
        )

    @writes(status=204, matched=True, summary="Say that a day is as usual after all")
    def destroy(self, request: Request, pk: int) -> Response:
        day = self.matched(gates.unusual_day_for, pk, UnusualDayOut)
        keeping.unmark_day(unusual_day=day, actor=self.person, now=self.now)
        return nothing()
