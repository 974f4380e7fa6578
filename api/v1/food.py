"""Food kept cold or hot, and what machines hold past its date."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, nothing, writes
from api.filters import Flag, Id
from api.shapes import Moment, Number, Ref, RowShape, Shape
from fleet.machines.models import Machine
from service.compliance.actions import temperatures
from service.compliance.models import FoodLock, TemperatureLimits
from service.compliance.queries import dates, gates
from service.compliance.queries.temperatures import courses, locks_whole


class TemperatureLimitsIn(RowShape):
    class Meta:
        model = TemperatureLimits
        fields = (
            *("state", "cold_most_c", "cold_minutes", "hot_least_c", "hot_minutes"),
            *("citation", "status", "note"),
        )


class TemperatureLimitsOut(RowShape):
    class Meta:
        model = TemperatureLimits
        fields = ("id", *TemperatureLimitsIn.Meta.fields, "updated_at")


class LimitsOfTemperature(Doors):
    """Limits of one's own by state, before what is known of states and the food code. An empty
    state is every state that has none."""

    described_by = TemperatureLimits

    @gives(TemperatureLimitsOut, paged=True, summary="List limits of temperature of one's own")
    def list(self, request: Request) -> Response:
        return self.page(TemperatureLimits.objects.order_by("state", "pk"), TemperatureLimitsOut)

    @gives(TemperatureLimitsOut, tagged=True, summary="Look at a state's limits")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(TemperatureLimitsOut, gates.limits_for(self.person, pk))

    @writes(
        TemperatureLimitsIn,
        TemperatureLimitsOut,
        status=201,
        tagged=True,
        summary="Write down a state's limits",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = temperatures.save_limits(changes=given, actor=self.person, now=self.now)
        return self.created(TemperatureLimitsOut, gates.limits_for(self.person, saved.pk))

    @writes(
        TemperatureLimitsIn,
        TemperatureLimitsOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a state's limits",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        limits = self.matched(gates.limits_for, pk, TemperatureLimitsOut)
        temperatures.save_limits(limits=limits, changes=given, actor=self.person, now=self.now)
        return self.answer(TemperatureLimitsOut, gates.limits_for(self.person, pk))

    @writes(status=204, matched=True, summary="Let a state go by what is known of it again")
    def destroy(self, request: Request, pk: int) -> Response:
        limits = self.matched(gates.limits_for, pk, TemperatureLimitsOut)
        temperatures.remove_limits(limits=limits, actor=self.person, now=self.now)
        return nothing()


class FoodLockOut(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")

    class Meta:
        model = FoodLock
        fields = (
            *("id", "machine", "asset_tag", "reading", "since", "locked_at", "said", "finding"),
            *("serviced_at", "restocked_at", "lifted_at", "lifted_by", "lifted_said"),
        )


class FoodFailureIn(Shape):
    machine = Ref(queryset=Machine.objects.all())
    what = serializers.CharField(max_length=200, help_text="What failed.")
    at = Moment()


class LiftFoodLockIn(Shape):
    serviced_at = Moment()
    restocked_at = Moment(help_text="With food that is safe.")
    said = serializers.CharField(
        max_length=300, help_text="What was done, and what became of the food."
    )


class FoodLockFilter(FilterSet):
    machine = Id()
    open = Flag("lifted_at", lookup_expr="isnull")


class FoodLocks(Doors):
    """Machines that may not sell food kept cold or hot until serviced and restocked."""

    described_by = FoodLock
    filterset_class = FoodLockFilter

    @gives(FoodLockOut, paged=True, summary="List locks of food, the latest first")
    def list(self, request: Request) -> Response:
        return self.page(locks_whole().order_by("-since", "-pk"), FoodLockOut)

    @gives(FoodLockOut, summary="Look at a lock of food")
    def retrieve(self, request: Request, pk: int) -> Response:
        return Response(self.shown(FoodLockOut, gates.lock_for(self.person, pk)))

    @writes(
        FoodFailureIn,
        FoodLockOut,
        status=201,
        key="required",
        summary="Power or cooling failed: lock a machine without a reading",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        lock = temperatures.lock_by_hand(actor=self.person, now=self.now, **given)
        return Response(self.shown(FoodLockOut, gates.lock_for(self.person, lock.pk)), status=201)

    @writes(
        LiftFoodLockIn,
        FoodLockOut,
        summary="Serviced and restocked with safe food: it may sell again",
    )
    @action(detail=True, methods=["post"])
    def lift(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.lock_for(self.person, pk, write=True)
        temperatures.lift(lock=found, actor=self.person, now=self.now, **given)
        return Response(self.shown(FoodLockOut, gates.lock_for(self.person, pk)))


class CourseOut(serializers.Serializer):
    machine = serializers.IntegerField(source="machine.pk")
    asset_tag = serializers.CharField(source="machine.asset_tag")
    hold = serializers.CharField(source="hold.value", help_text="cold or hot")
    state = serializers.CharField(
        source="standing.state.value", help_text="unknown, safe, recovering or locked"
    )
    why = serializers.CharField(source="standing.why")
    read_by = Moment(source="standing.read_by", allow_null=True)
    overdue = serializers.BooleanField(source="standing.overdue")
    limit_c = Number(max_digits=5, decimal_places=2)
    minutes = serializers.IntegerField(help_text="Allowed after filling or service.")
    citation = serializers.CharField(source="limits.citation")
    citation_status = serializers.CharField(source="limits.status")
    last_c = Number(
        source="last.value", max_digits=5, decimal_places=2, default=None, allow_null=True
    )
    last_at = Moment(source="last.taken_at", default=None, allow_null=True)
    lock = serializers.IntegerField(source="lock.pk", default=None, allow_null=True)


class CoursesOut(serializers.Serializer):
    machines = CourseOut(many=True)


class FoodTemperatures(Doors):
    """How each machine with food kept cold or hot stands now."""

    described_by = FoodLock

    @gives(CoursesOut, summary="How machines with food kept cold or hot stand")
    def retrieve(self, request: Request) -> Response:
        return Response(self.shown(CoursesOut, {"machines": courses(self.now)}))


class DatedOut(serializers.Serializer):
    machine = serializers.IntegerField(source="machine.pk")
    asset_tag = serializers.CharField(source="machine.asset_tag")
    column = serializers.IntegerField()
    position = serializers.CharField()
    product = serializers.IntegerField(source="product.pk")
    product_name = serializers.CharField(source="product.name")
    lot = serializers.CharField()
    best_before = serializers.DateField(help_text="The last day on which it may be sold.")
    quantity = serializers.IntegerField(help_text="By the ledger: between counts an estimate.")
    next_visit = serializers.DateField()
    is_planned = serializers.BooleanField(
        help_text="A stop is planned; else the rhythm of visits tells the day."
    )
    expected_left = serializers.IntegerField(source="expected", allow_null=True)
    stands = serializers.CharField(
        source="stands.value", help_text="past, before_visit or after_visit"
    )


class DatesOut(serializers.Serializer):
    past_units = serializers.IntegerField()
    before_visit_units = serializers.IntegerField()
    lots = DatedOut(many=True, help_text="The earliest first.")


class DatesQuery(Shape):
    later = serializers.BooleanField(
        required=False, default=False, help_text="Also what ends within two months."
    )


class DatesInMachines(Doors):
    """What machines hold past its date, or will before anybody next comes."""

    described_by = FoodLock

    @gives(DatesOut, query=DatesQuery, summary="What is past its date in machines, or will be")
    def retrieve(self, request: Request, asked: dict[str, Any]) -> Response:
        rows = dates.dated(now=self.now, all_of_them=asked["later"])
        units = dates.counts(rows)
        told = {
            "past_units": units["past"],
            "before_visit_units": units["before_visit"],
            "lots": rows,
        }
        return Response(self.shown(DatesOut, told))
