"""The sheet of a run as the road reads it: its stops with all that is to be done there."""

from typing import Any

from rest_framework import serializers

from api.shapes import Money, RowShape
from fleet.machines.models import Changeover
from service.runs.models import LoadLine, Run, Stop

from .demand_shapes import sees_money
from .road_shapes import ColumnHoldsOut, TruckHoldsOut
from .warning_shapes import FOOD_LOCK, RECALLS, OpenFoodLockOut, OpenRecallOut


class StopReasons(serializers.ListField):
    """Why a stop is on its run; the margin that stands behind it for those who see money."""

    child = serializers.DictField()

    def to_representation(self, value: Any) -> list[Any]:
        reasons = super().to_representation(value)
        if sees_money(self.context["request"].user):
            return reasons
        return [{name: one[name] for name in one if name != "minor"} for one in reasons]


class StopSheetOut(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")
    kind = serializers.CharField(source="machine.kind.name")
    site_name = serializers.CharField(source="site.name")
    street = serializers.CharField(source="site.street", allow_blank=True)
    city = serializers.CharField(source="site.city", allow_blank=True)
    contact = serializers.CharField(source="site.contact", allow_blank=True)
    access_notes = serializers.CharField(source="site.access_notes", allow_blank=True)
    reasons = StopReasons()

    class Meta:
        model = Stop
        fields = (
            "id",
            "sequence",
            "machine",
            "asset_tag",
            "kind",
            "site",
            "site_name",
            "street",
            "city",
            "contact",
            "access_notes",
            "locked",
            "state",
            "planned_arrive",
            "planned_leave",
            "service_minutes",
            "must_go",
            "reasons",
            "skipped_because",
        )


class ColumnSheetOut(ColumnHoldsOut):
    expected = serializers.IntegerField(
        allow_null=True,
        help_text="What is thought to be in it now, what sold since it was filled taken off; "
        "null: not worked out.",
    )
    fill_to = serializers.IntegerField(
        allow_null=True, help_text="What it shall hold after the visit; null: not worked out."
    )
    pull_units = serializers.IntegerField(help_text="To be taken out, being out of date soon.")


class PackedOut(RowShape):
    product_name = serializers.CharField(source="product.name")

    class Meta:
        model = LoadLine
        fields = ("id", "column", "product", "product_name", "wanted", "picked")


class OpenChangeoverOut(RowShape):
    product_name = serializers.CharField(source="product.name")
    position = serializers.CharField(source="column.position.label")
    price = Money()

    class Meta:
        model = Changeover
        fields = (
            "id",
            "column",
            "position",
            "product",
            "product_name",
            "state",
            "deep",
            "front_setting",
            "rear_setting",
            "program",
            "price",
            "orientation",
            "test_vends_asked",
        )


class StopOnSheetOut(serializers.Serializer):
    stop = StopSheetOut()
    columns = ColumnSheetOut(many=True)
    packed = PackedOut(many=True)
    changeovers = OpenChangeoverOut(many=True)
    food_lock = OpenFoodLockOut(allow_null=True, help_text=FOOD_LOCK)
    recalls = OpenRecallOut(many=True, help_text=RECALLS)


class RunShape(RowShape):
    driver_name = serializers.CharField(source="driver.name")
    vehicle_name = serializers.CharField(source="vehicle.name")
    depot_name = serializers.CharField(source="depot.site.name")
    truck = serializers.IntegerField(
        source="vehicle.truck_id", help_text="The vehicle as a place of the stock."
    )

    class Meta:
        model = Run
        fields = (
            "id",
            "plan",
            "date",
            "driver",
            "driver_name",
            "vehicle",
            "vehicle_name",
            "truck",
            "depot",
            "depot_name",
            "state",
            "agreed",
            "planned_start",
            "planned_end",
            "shift_ends",
            "planned_metres",
            "started_at",
            "ended_at",
            "note",
            "updated_at",
        )


class RunSheetOut(serializers.Serializer):
    run = RunShape()
    stops = StopOnSheetOut(many=True)
    truck = TruckHoldsOut(many=True)
