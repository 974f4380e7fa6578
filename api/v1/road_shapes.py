"""What is said from the road, and what is answered."""

from rest_framework import serializers

from api.shapes import Choice, ListedRef, Moment, Ref, Shape
from fleet.inventory.models import Lot, Movement
from fleet.machines.models import Changeover, Column, Product
from fleet.sales.models import AuditRead
from service.runs.models import LoadLine, RoadAct, Run, Stop

from .changeovers import AsLeftIn, RemovedIn
from .warning_shapes import FOOD_LOCK, RECALLS, OpenFoodLockOut, OpenRecallOut

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
    """How things stood once the act was done; the same whenever its key is sent again.

    `food_lock` and `recalls` are of the machine as it is now, whenever the act was done.
    """

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
    food_lock = OpenFoodLockOut(required=False, allow_null=True, help_text=FOOD_LOCK)
    recalls = OpenRecallOut(many=True, required=False, help_text=RECALLS)
