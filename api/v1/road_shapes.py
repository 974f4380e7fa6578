"""What is said from the road, and what is answered."""

from typing import Any

from rest_framework import serializers

from api.shapes import Choice, ListedRef, Moment, Money, Ref, RowShape, Shape
from fleet.inventory.models import Lot, Movement
from fleet.machines.models import Changeover, Column, Product
from fleet.sales.models import AuditRead
from service.runs.models import LoadLine, RoadAct, Run, Stop

from .changeovers import AsLeftIn, RemovedIn
from .demand_shapes import sees_money

MOST_UNITS = 9999
MOST_LINES = 200
# What says which column it is; the rest of its machine and position is nothing to an act.
Columns = Column.objects.select_related("machine", "position").only(
    "machine__asset_tag", "position__label", "selection"
)


class ActIn(Shape):
    """When it happened, by the device's own clock."""

    at = Moment(help_text="When it happened, by the device's clock.")
    sent_at = Moment(
        required=False,
        allow_null=True,
        help_text="When it is sent, by the same clock: it tells how far that clock is off.",
    )


class ArriveIn(ActIn):
    nobody_here = serializers.BooleanField(
        required=False,
        default=False,
        help_text="Whoever is down as being at the machine is not: that visit ends here.",
    )


class ReadIn(ActIn):
    read = Ref(
        queryset=AuditRead.objects.only("pk", "machine", "state"),
        help_text="Handed in before at /reads.",
    )


class CountedIn(Shape):
    column = ListedRef(queryset=Columns)
    count = serializers.IntegerField(min_value=0, max_value=MOST_UNITS)


class RoadCountIn(ActIn):
    lines = CountedIn(many=True, max_length=MOST_LINES)


class FilledIn(Shape):
    column = ListedRef(queryset=Columns)
    product = ListedRef(queryset=Product.objects.only("name"))
    quantity = serializers.IntegerField(min_value=1, max_value=MOST_UNITS)
    lot = ListedRef(
        queryset=Lot.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="Left out: first expired, first out of the truck.",
    )


class FillIn(ActIn):
    lines = FilledIn(many=True, max_length=MOST_LINES)


class RemovedFromIn(FilledIn):
    waste_reason = Choice(
        choices=[one for one in Movement.WasteReason.choices if one[0]],
        required=False,
        allow_blank=True,
        default="",
        help_text="Left out: it goes onto the truck.",
    )


class RemoveIn(ActIn):
    lines = RemovedFromIn(many=True, max_length=MOST_LINES)


class ChangeOverIn(ActIn):
    changeover = Ref(queryset=Changeover.objects.select_related("column__machine"))
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


class BagIn(ActIn):
    seal_number = serializers.CharField(max_length=40, help_text="As printed. No amount.")


class SkipIn(ActIn):
    reason = serializers.CharField(max_length=300)


class PickedIn(Shape):
    line = ListedRef(queryset=LoadLine.objects.select_related("product"))
    picked = serializers.IntegerField(min_value=0, max_value=MOST_UNITS)
    substitute = ListedRef(
        queryset=Product.objects.all(), required=False, allow_null=True, default=None
    )
    substituted = serializers.IntegerField(
        required=False, default=0, min_value=0, max_value=MOST_UNITS
    )


class ExtraIn(Shape):
    product = ListedRef(queryset=Product.objects.all())
    quantity = serializers.IntegerField(min_value=1, max_value=MOST_UNITS)


class PickIn(ActIn):
    lines = PickedIn(many=True, max_length=2000, required=False, default=list)
    extra = ExtraIn(many=True, max_length=MOST_LINES, required=False, default=list)


class OnTruckIn(Shape):
    product = ListedRef(queryset=Product.objects.all())
    count = serializers.IntegerField(min_value=0, max_value=MOST_UNITS)
    lot = ListedRef(queryset=Lot.objects.all(), required=False, allow_null=True, default=None)


class EndIn(ActIn):
    truck = OnTruckIn(
        many=True,
        required=False,
        allow_null=True,
        default=None,
        max_length=2000,
        help_text="All that is on the truck; what is not named is not there. Null: not counted.",
    )


class FlagOut(serializers.Serializer):
    code = serializers.CharField()
    said = serializers.CharField()


class ActRunOut(serializers.Serializer):
    id = serializers.IntegerField()
    state = Choice(choices=Run.State.choices)
    started_at = Moment(allow_null=True)
    ended_at = Moment(allow_null=True)


class ActStopOut(serializers.Serializer):
    id = serializers.IntegerField()
    sequence = serializers.IntegerField()
    machine = serializers.IntegerField()
    asset_tag = serializers.CharField()
    state = Choice(choices=Stop.State.choices)
    skipped_because = serializers.CharField(allow_blank=True)


class ActVisitOut(serializers.Serializer):
    id = serializers.IntegerField()
    arrived_at = Moment()
    arrival_told = serializers.BooleanField()
    left_at = Moment(allow_null=True)


class OtherHeldOut(serializers.Serializer):
    product = serializers.IntegerField()
    product_name = serializers.CharField()
    holds = serializers.IntegerField()


class ColumnHoldsOut(serializers.Serializer):
    column = serializers.IntegerField()
    position = serializers.CharField()
    selection = serializers.CharField(allow_null=True)
    product = serializers.IntegerField(allow_null=True)
    product_name = serializers.CharField(allow_null=True)
    capacity = serializers.IntegerField(allow_null=True)
    holds = serializers.IntegerField(help_text="By the book, now.")
    others = OtherHeldOut(many=True, help_text="Other products booked in it.")


class TruckHoldsOut(serializers.Serializer):
    product = serializers.IntegerField()
    product_name = serializers.CharField()
    lot = serializers.IntegerField(allow_null=True)
    lot_code = serializers.CharField(allow_blank=True)
    best_before = serializers.DateField(allow_null=True)
    holds = serializers.IntegerField()


class CountedOut(serializers.Serializer):
    column = serializers.IntegerField()
    product = serializers.IntegerField()
    counted = serializers.IntegerField()
    book = serializers.IntegerField(help_text="By the book as of the moment of the count.")
    difference = serializers.IntegerField()


class LoadedOut(serializers.Serializer):
    line = serializers.IntegerField()
    product = serializers.IntegerField()
    wanted = serializers.IntegerField()
    picked = serializers.IntegerField(allow_null=True)
    substitute = serializers.IntegerField(allow_null=True)
    substituted = serializers.IntegerField()
    short = serializers.IntegerField(allow_null=True)


class TruckDifferenceOut(serializers.Serializer):
    product = serializers.IntegerField()
    product_name = serializers.CharField()
    lot = serializers.IntegerField(allow_null=True)
    book = serializers.IntegerField()
    counted = serializers.IntegerField()
    difference = serializers.IntegerField()


class ActReadOut(serializers.Serializer):
    id = serializers.IntegerField()
    state = serializers.CharField()


class ActBagOut(serializers.Serializer):
    id = serializers.IntegerField()
    seal_number = serializers.CharField()


class ActChangeoverOut(serializers.Serializer):
    id = serializers.IntegerField()
    state = serializers.CharField()
    mismatches = serializers.ListField(child=serializers.DictField())


class ActOut(serializers.Serializer):
    """How things stood once the act was done; the same whenever its key is sent again."""

    verb = Choice(choices=RoadAct.Verb.choices)
    at = Moment()
    recorded_at = Moment()
    clock_off_s = serializers.IntegerField(allow_null=True)
    flags = FlagOut(many=True)
    run = ActRunOut()
    stop = ActStopOut(allow_null=True)
    visit = ActVisitOut(allow_null=True)
    columns = ColumnHoldsOut(many=True, help_text="Those that the act touched.")
    truck = TruckHoldsOut(many=True, help_text="All that the truck carries by the book.")
    counts = CountedOut(many=True, required=False, help_text="Of a count.")
    load = LoadedOut(many=True, required=False, help_text="Of a pick.")
    differences = TruckDifferenceOut(many=True, required=False, help_text="Of the truck's count.")
    not_visited = serializers.ListField(
        child=serializers.IntegerField(), required=False, help_text="Stops, at the end of the day."
    )
    read = ActReadOut(required=False)
    bag = ActBagOut(required=False)
    changeover = ActChangeoverOut(required=False)


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
