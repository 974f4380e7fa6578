"""What is said of plans, runs, stops and loads, and what is answered."""

from rest_framework import serializers

from api.shapes import Choice, Moment, Ref, RowShape, Shape
from fleet.machines.models import Machine
from service.runs.models import (
    DayPlan,
    DriverProfile,
    LoadLine,
    PlannedMachine,
    Run,
    Stop,
    Vehicle,
)

from .demand_shapes import MinorAtStake
from .road_sheets import RunShape, StopReasons

MACHINES = Machine.objects.select_related("kind")
RUNS = Run.objects.select_related("driver", "vehicle", "depot__site")


class DayPlanIn(Shape):
    date = serializers.DateField()
    seed = serializers.IntegerField(
        required=False, min_value=0, max_value=2**31 - 1, help_text="Left out: the usual one."
    )
    effort = serializers.IntegerField(
        required=False, min_value=1, max_value=200_000, help_text="Rounds of the search."
    )


class WeekIn(Shape):
    starts_on = serializers.DateField()
    days = serializers.IntegerField(required=False, default=7, min_value=1, max_value=14)
    seed = serializers.IntegerField(required=False, min_value=0, max_value=2**31 - 1)
    effort = serializers.IntegerField(required=False, min_value=1, max_value=200_000)


class ReplanIn(Shape):
    date = serializers.DateField()


class ReasonIn(Shape):
    reason = serializers.CharField(max_length=300)


class ByHandIn(Shape):
    date = serializers.DateField()
    driver = Ref(queryset=DriverProfile.objects.select_related("person", "depot__site", "vehicle"))
    vehicle = Ref(
        queryset=Vehicle.objects.all(),
        required=False,
        allow_null=True,
        help_text="Left out: the usual one.",
    )
    machines = serializers.ListField(
        child=Ref(queryset=MACHINES), max_length=200, help_text="In the order of the visits."
    )
    starts_at = Moment(required=False, allow_null=True, help_text="Left out: as the shift begins.")
    ends_at = Moment(required=False, allow_null=True)


class PreviewInsertIn(Shape):
    machine = Ref(queryset=MACHINES)
    day = serializers.DateField(
        required=False, allow_null=True, help_text="On any run of this day; or name a run."
    )
    run = Ref(queryset=RUNS, required=False, allow_null=True)


class InsertIn(PreviewInsertIn):
    reason = serializers.CharField(max_length=300)
    must_go = serializers.BooleanField(required=False, default=True)


class MoveIn(Shape):
    run = Ref(queryset=RUNS, help_text="The run it is moved to; its own for another place.")
    position = serializers.IntegerField(
        min_value=1, max_value=500, help_text="Its place on that run afterwards, from 1."
    )


class LateOut(serializers.Serializer):
    machine = serializers.CharField()
    minutes = serializers.FloatField(help_text="Below zero: earlier.")


class ChangeOut(serializers.Serializer):
    """What a change does to the day."""

    minutes = serializers.FloatField()
    metres = serializers.IntegerField()
    minor = serializers.IntegerField(help_text="What it costs more, in minor units.")
    vehicle = serializers.CharField(allow_blank=True)
    position = serializers.IntegerField()
    delays = LateOut(many=True)
    late = serializers.ListField(
        child=serializers.CharField(), help_text="Machines that then miss their hours."
    )
    faults = serializers.ListField(child=serializers.CharField(), help_text="Rules it breaks.")
    said = serializers.CharField()


class StopOut(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")
    site_name = serializers.CharField(source="site.name")
    reasons = StopReasons()
    prize_minor = MinorAtStake(help_text="Margin saved by going, as planned.")

    class Meta:
        model = Stop
        fields = (
            "id",
            "run",
            "sequence",
            "machine",
            "asset_tag",
            "site",
            "site_name",
            "locked",
            "state",
            "planned_arrive",
            "planned_leave",
            "service_minutes",
            "must_go",
            "reasons",
            "prize_minor",
            "skipped_because",
            "updated_at",
        )


class RunOut(RunShape):
    stops = StopOut(many=True)

    class Meta(RunShape.Meta):
        fields = (*RunShape.Meta.fields, "stops")


class LeftOffOut(serializers.Serializer):
    machine = serializers.CharField(help_text="By its asset tag.")
    must_go = serializers.BooleanField()
    why = serializers.CharField()


class ReplannedOut(serializers.Serializer):
    runs = RunOut(many=True)
    left_off = LeftOffOut(
        many=True, help_text="What was on these runs, or had to be visited, and is on none of them."
    )


class MovedOut(serializers.Serializer):
    stop = StopOut()
    change = ChangeOut()


class InsertedOut(MovedOut):
    pass


class FaultOut(serializers.Serializer):
    rule = serializers.CharField()
    detail = serializers.CharField()
    vehicle = serializers.CharField(allow_blank=True)
    stop = serializers.CharField(allow_blank=True)
    by = serializers.IntegerField()


class ScoreOut(serializers.Serializer):
    """By the evaluator that knows nothing of the search. Money in minor units."""

    runs = serializers.IntegerField()
    stops = serializers.IntegerField()
    drive_minutes = serializers.FloatField()
    work_minutes = serializers.FloatField()
    overtime_minutes = serializers.FloatField()
    wait_minutes = serializers.FloatField()
    service_minutes = serializers.FloatField()
    drive_km = serializers.FloatField()
    cost_minor = serializers.IntegerField()
    saved_minor = serializers.IntegerField(help_text="Margin that the visits save.")
    left_minor = serializers.IntegerField(help_text="Margin at stake where nobody goes.")
    gain_minor = serializers.IntegerField()
    faults = FaultOut(many=True)


class DayPlanLine(RowShape):
    score = ScoreOut()

    class Meta:
        model = DayPlan
        fields = (
            "id",
            "date",
            "state",
            "week_of",
            "seed",
            "inputs_digest",
            "score",
            "made_at",
            "made_by",
            "agreed_at",
            "agreed_by",
        )


class DayPlanOut(DayPlanLine):
    inputs = serializers.DictField()
    runs = RunOut(many=True, source="all_runs")

    class Meta(DayPlanLine.Meta):
        fields = (*DayPlanLine.Meta.fields, "inputs", "runs")


class WeekOut(serializers.Serializer):
    plans = DayPlanLine(many=True, help_text="One for each day on which somebody drives.")


class MachineWhyOut(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")
    reasons = serializers.ListField(child=serializers.DictField())

    class Meta:
        model = PlannedMachine
        fields = (
            "id",
            "plan",
            "machine",
            "asset_tag",
            "included",
            "must_go",
            "reasons",
            "prize_minor",
            "units_at_stake",
            "costs_minutes",
            "costs_minor",
            "service_minutes",
        )


class LoadLineOut(RowShape):
    product_name = serializers.CharField(source="product.name")
    position = serializers.CharField(source="column.position.label", default=None, allow_null=True)
    short = serializers.IntegerField(allow_null=True)

    class Meta:
        model = LoadLine
        fields = (
            "id",
            "stop",
            "column",
            "position",
            "product",
            "product_name",
            "basis",
            "wanted",
            "carried",
            "picked",
            "substitute",
            "substituted",
            "short",
            "picked_at",
            "picked_by",
        )


class StopLoadOut(serializers.Serializer):
    stop = serializers.IntegerField(
        source="stop.pk", default=None, allow_null=True, help_text="Null: carried loose."
    )
    asset_tag = serializers.CharField(
        source="stop.machine.asset_tag", default=None, allow_null=True
    )
    lines = LoadLineOut(many=True)


class ProductLoadOut(serializers.Serializer):
    product = serializers.IntegerField(source="product.pk")
    product_name = serializers.CharField(source="product.name")
    wanted = serializers.IntegerField()
    carried = serializers.IntegerField(help_text="On the truck already.")
    picked = serializers.IntegerField()
    short = serializers.IntegerField()
    is_picked = serializers.BooleanField()


class LoadOut(serializers.Serializer):
    by_stop = StopLoadOut(many=True)
    by_product = ProductLoadOut(many=True)


class FeatureOut(serializers.Serializer):
    type = Choice(choices=["Feature"])
    id = serializers.CharField()
    geometry = serializers.DictField(allow_null=True, help_text="A Point, longitude first.")
    properties = serializers.DictField()


class GeoOut(serializers.Serializer):
    """A FeatureCollection (RFC 7946, section 3.3)."""

    type = Choice(choices=["FeatureCollection"])
    features = FeatureOut(many=True)
