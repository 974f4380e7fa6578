"""What planning stands on: depots, vehicles, drivers, days off, agreements, assumptions."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, nothing, writes
from api.filters import Flag, Id, Text
from api.shapes import Money, Ref, RowShape
from people.models import Person
from service.runs.actions import keeping
from service.runs.models import (
    DayOff,
    Depot,
    DriverProfile,
    RunAssumptions,
    ServiceAgreement,
    Shift,
    Vehicle,
    WorkingDay,
)
from service.runs.queries import gates


class DepotIn(RowShape):
    class Meta:
        model = Depot
        fields = ("site", "loading_minutes", "unloading_minutes", "active")


class DepotOut(RowShape):
    site_name = serializers.CharField(source="site.name")

    class Meta:
        model = Depot
        fields = (
            "id",
            *DepotIn.Meta.fields,
            "site_name",
            "travel_multiplier",
            "travel_legs",
            "travel_learned_at",
            "updated_at",
        )


class Depots(Doors):
    """Warehouses of ours from which runs leave."""

    described_by = Depot

    @gives(DepotOut, paged=True, summary="List depots")
    def list(self, request: Request) -> Response:
        return self.page(Depot.objects.select_related("site").order_by("pk"), DepotOut)

    @gives(DepotOut, tagged=True, summary="Look at a depot")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(DepotOut, gates.depot_for(self.person, pk))

    @writes(DepotIn, DepotOut, status=201, tagged=True, summary="Add a depot at a warehouse")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = keeping.save_depot(changes=given, actor=self.person, now=self.now)
        return self.created(DepotOut, gates.depot_for(self.person, saved.pk))

    @writes(DepotIn, DepotOut, partial=True, tagged=True, matched=True, summary="Change a depot")
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        depot = self.matched(gates.depot_for, pk, DepotOut)
        keeping.save_depot(depot=depot, changes=given, actor=self.person, now=self.now)
        return self.answer(DepotOut, gates.depot_for(self.person, pk))


class VehicleIn(RowShape):
    class Meta:
        model = Vehicle
        fields = ("name", "depot", "volume_l", "weight_kg", "cases", "active")


class VehicleOut(RowShape):
    depot_name = serializers.CharField(source="depot.site.name")

    class Meta:
        model = Vehicle
        fields = ("id", *VehicleIn.Meta.fields, "depot_name", "truck", "updated_at")


class VehicleFilter(FilterSet):
    depot = Id()
    active = Flag()
    search = Text("name", lookup_expr="icontains")


class Vehicles(Doors):
    """Trucks; each is a place of the stock too (`truck`)."""

    described_by = Vehicle
    filterset_class = VehicleFilter

    @gives(VehicleOut, paged=True, summary="List vehicles")
    def list(self, request: Request) -> Response:
        rows = Vehicle.objects.select_related("depot__site").order_by("name", "pk")
        return self.page(rows, VehicleOut)

    @gives(VehicleOut, tagged=True, summary="Look at a vehicle")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(VehicleOut, gates.vehicle_for(self.person, pk))

    @writes(VehicleIn, VehicleOut, status=201, tagged=True, summary="Add a vehicle")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = keeping.save_vehicle(changes=given, actor=self.person, now=self.now)
        return self.created(VehicleOut, gates.vehicle_for(self.person, saved.pk))

    @writes(
        VehicleIn, VehicleOut, partial=True, tagged=True, matched=True, summary="Change a vehicle"
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        vehicle = self.matched(gates.vehicle_for, pk, VehicleOut)
        keeping.save_vehicle(vehicle=vehicle, changes=given, actor=self.person, now=self.now)
        return self.answer(VehicleOut, gates.vehicle_for(self.person, pk))


class ShiftShape(RowShape):
    weekday = serializers.IntegerField(
        min_value=0, max_value=6, help_text="0 is Monday, 6 is Sunday."
    )

    class Meta:
        model = Shift
        fields = ("weekday", "starts", "ends")


class DriverIn(RowShape):
    """A list of shifts that is given is whole."""

    person = Ref(queryset=Person.objects.all())
    skills = serializers.ListField(
        child=serializers.CharField(max_length=40), required=False, max_length=50
    )
    shifts = ShiftShape(many=True, required=False, max_length=7)

    class Meta:
        model = DriverProfile
        fields = ("person", "depot", "vehicle", "skills", "active", "shifts")


class DriverOut(RowShape):
    name = serializers.CharField(source="person.name")
    skills = serializers.ListField(child=serializers.CharField())
    shifts = ShiftShape(many=True)

    class Meta:
        model = DriverProfile
        fields = (
            "id",
            "person",
            "name",
            "depot",
            "vehicle",
            "skills",
            "active",
            "shifts",
            "updated_at",
        )


class Drivers(Doors):
    """What planning knows of those who drive."""

    described_by = DriverProfile

    @gives(DriverOut, paged=True, summary="List drivers with their shifts")
    def list(self, request: Request) -> Response:
        rows = DriverProfile.objects.select_related("person").prefetch_related("shifts")
        return self.page(rows.order_by("pk"), DriverOut)

    @gives(DriverOut, tagged=True, summary="Look at a driver")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(DriverOut, gates.driver_for(self.person, pk))

    @writes(DriverIn, DriverOut, status=201, tagged=True, summary="Plan for a driver from now on")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        shifts = given.pop("shifts", None)
        saved = keeping.save_driver(changes=given, shifts=shifts, actor=self.person, now=self.now)
        return self.created(DriverOut, gates.driver_for(self.person, saved.pk))

    @writes(DriverIn, DriverOut, partial=True, tagged=True, matched=True, summary="Change a driver")
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        profile = self.matched(gates.driver_for, pk, DriverOut)
        shifts = given.pop("shifts", None)
        keeping.save_driver(
            profile=profile, changes=given, shifts=shifts, actor=self.person, now=self.now
        )
        return self.answer(DriverOut, gates.driver_for(self.person, pk))


class DayOffIn(RowShape):
    profile = Ref(
        queryset=DriverProfile.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="Whose; null: nobody works on this day.",
    )

    class Meta:
        model = DayOff
        fields = ("profile", "date", "why")


class DayOffOut(RowShape):
    class Meta:
        model = DayOff
        fields = ("id", "profile", "date", "why")


class DaysOff(Doors):
    """Days on which a driver, or everybody, is off. Public holidays are known without them."""

    described_by = DayOff

    @gives(DayOffOut, paged=True, summary="List days off, latest first")
    def list(self, request: Request) -> Response:
        return self.page(DayOff.objects.order_by("-date", "-pk"), DayOffOut)

    @gives(DayOffOut, tagged=True, summary="Look at a day off")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(DayOffOut, gates.day_off_for(self.person, pk))

    @writes(DayOffIn, DayOffOut, status=201, tagged=True, summary="Note a day off")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        return self.created(
            DayOffOut, keeping.add_day_off(**given, actor=self.person, now=self.now)
        )

    @writes(status=204, matched=True, summary="Take a day off back")
    def destroy(self, request: Request, pk: int) -> Response:
        day_off = self.matched(gates.day_off_for, pk, DayOffOut)
        keeping.remove_day_off(day_off=day_off, actor=self.person, now=self.now)
        return nothing()


class WorkingDayIn(RowShape):
    class Meta:
        model = WorkingDay
        fields = ("date", "why")


class WorkingDayOut(RowShape):
    class Meta:
        model = WorkingDay
        fields = ("id", "date", "why")


class WorkingDays(Doors):
    """Public holidays on which the business works all the same."""

    described_by = WorkingDay

    @gives(WorkingDayOut, paged=True, summary="List holidays that are worked, latest first")
    def list(self, request: Request) -> Response:
        return self.page(WorkingDay.objects.order_by("-date", "-pk"), WorkingDayOut)

    @gives(WorkingDayOut, tagged=True, summary="Look at a holiday that is worked")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(WorkingDayOut, gates.working_day_for(self.person, pk))

    @writes(WorkingDayIn, WorkingDayOut, status=201, tagged=True, summary="Work on a holiday")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        return self.created(
            WorkingDayOut, keeping.work_on(**given, actor=self.person, now=self.now)
        )

    @writes(status=204, matched=True, summary="Do not work on the holiday after all")
    def destroy(self, request: Request, pk: int) -> Response:
        day = self.matched(gates.working_day_for, pk, WorkingDayOut)
        keeping.do_not_work_on(working_day=day, actor=self.person, now=self.now)
        return nothing()


class AgreementIn(RowShape):
    class Meta:
        model = ServiceAgreement
        fields = ("machine", "every_days", "needs_skill", "note")


class AgreementOut(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")

    class Meta:
        model = ServiceAgreement
        fields = ("id", *AgreementIn.Meta.fields, "asset_tag", "updated_at")


class AgreementFilter(FilterSet):
    machine = Id()


class Agreements(Doors):
    """How often machines are visited at least, as promised to their hosts."""

    described_by = ServiceAgreement
    filterset_class = AgreementFilter

    @gives(AgreementOut, paged=True, summary="List agreements")
    def list(self, request: Request) -> Response:
        rows = ServiceAgreement.objects.select_related("machine").order_by("pk")
        return self.page(rows, AgreementOut)

    @gives(AgreementOut, tagged=True, summary="Look at an agreement")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(AgreementOut, gates.agreement_for(self.person, pk))

    @writes(AgreementIn, AgreementOut, status=201, tagged=True, summary="Agree how often")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = keeping.save_agreement(changes=given, actor=self.person, now=self.now)
        return self.created(AgreementOut, gates.agreement_for(self.person, saved.pk))

    @writes(
        AgreementIn,
        AgreementOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change an agreement",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        agreement = self.matched(gates.agreement_for, pk, AgreementOut)
        keeping.save_agreement(agreement=agreement, changes=given, actor=self.person, now=self.now)
        return self.answer(AgreementOut, gates.agreement_for(self.person, pk))

    @writes(status=204, matched=True, summary="End an agreement")
    def destroy(self, request: Request, pk: int) -> Response:
        agreement = self.matched(gates.agreement_for, pk, AgreementOut)
        keeping.remove_agreement(agreement=agreement, actor=self.person, now=self.now)
        return nothing()


class AssumptionsShape(RowShape):
    cost_per_hour = Money(min_value=0)
    cost_per_km = serializers.DecimalField(
        max_digits=9, decimal_places=4, min_value=0, help_text="Money, as text."
    )
    cost_per_run = Money(min_value=0)

    class Meta:
        model = RunAssumptions
        fields = tuple(
            column.name
            for column in RunAssumptions._meta.concrete_fields
            if column.name not in {"id", "updated_at"}
        )


class Assumptions(Doors):
    """What planning assumes where nothing is measured: speeds, times, costs, service levels."""

    described_by = RunAssumptions

    @gives(AssumptionsShape, tagged=True, summary="Look at what planning assumes")
    def retrieve(self, request: Request) -> Response:
        return self.answer(AssumptionsShape, RunAssumptions.the())

    @writes(
        AssumptionsShape,
        AssumptionsShape,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change what planning assumes",
    )
    def partial_update(self, request: Request, given: dict[str, Any]) -> Response:
        self.matched(gates.assumptions_for, 1, AssumptionsShape)
        saved = keeping.save_assumptions(changes=given, actor=self.person, now=self.now)
        return self.answer(AssumptionsShape, saved)
