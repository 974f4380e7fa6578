"""Machines, where they stand, and which columns their selections draw on."""

from typing import Any

from django.db.models import Prefetch, QuerySet, prefetch_related_objects
from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Id, Text, Word
from api.shapes import Moment, Ref, RowShape, Shape, one_of
from fleet.machines.actions import machines
from fleet.machines.models import Kind, Machine, Placement, Selection, Site, WaysOfPaying
from fleet.machines.queries import fleet, gates
from people.models import Person

from .setups import ColumnOut

OF_THE_MACHINE = ("asset_tag", "serial", "board_serial", "status", "made_on", "notes")


class PlacementOut(RowShape):
    site_name = serializers.CharField(source="site.name")

    class Meta:
        model = Placement
        fields = ("id", "site", "site_name", "spot", "starts_at", "ends_at")


class MachineLine(RowShape):
    kind_name = serializers.CharField(source="kind.name")
    placement = PlacementOut(
        among="placements_now", allow_null=True, help_text="Where it stands now."
    )

    class Meta:
        model = Machine
        fields = ("id", "kind", "kind_name", *OF_THE_MACHINE, "placement", "updated_at")


class SelectionOut(RowShape):
    positions = serializers.SerializerMethodField()

    class Meta:
        model = Selection
        fields = ("id", "code", "picture", "positions")

    def get_positions(self, selection: Selection) -> list[str]:
        return [column.position.label for column in selection.columns.all()]


class MachineOut(MachineLine):
    selections = SelectionOut(many=True)

    class Meta(MachineLine.Meta):
        fields = (*MachineLine.Meta.fields, "selections")


class SelectionIn(Shape):
    code = serializers.CharField(max_length=8)
    positions = serializers.ListField(child=serializers.CharField(max_length=10), max_length=20)
    picture = serializers.CharField(required=False, allow_blank=True, max_length=100)


class MachineChanges(RowShape):
    """A list of selections that is given is whole."""

    selections = SelectionIn(many=True, required=False, max_length=200)

    class Meta:
        model = Machine
        fields = (*OF_THE_MACHINE, "selections")


class MachineIn(MachineChanges):
    kind = Ref(queryset=Kind.objects.prefetch_related("positions"))

    class Meta(MachineChanges.Meta):
        fields = ("kind", *MachineChanges.Meta.fields)


class PlacementIn(Shape):
    site = Ref(queryset=Site.objects.all(), allow_null=True, help_text="Null: nowhere any more.")
    starts_at = Moment()
    spot = serializers.CharField(required=False, allow_blank=True, default="", max_length=100)
    reason = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)


class WaysOfPayingOut(RowShape):
    class Meta:
        model = WaysOfPaying
        fields = ("id", "takes", "starts_on")


class WaysOfPayingIn(Shape):
    takes = one_of(WaysOfPaying.Takes)
    starts_on = serializers.DateField(help_text="By the calendar of its site.")


class MachineFilter(FilterSet):
    search = Text(method="searched")
    site = Id(method="standing_at")
    kind = Id()
    status = Word(of=Machine.Status)
    product = Id(method="holding")

    def searched(self, rows: QuerySet[Machine], name: str, value: str) -> QuerySet[Machine]:
        return rows.filter(pk__in=fleet.machines_listed(search=value).order_by().values("pk"))

    def standing_at(self, rows: QuerySet[Machine], name: str, value: int) -> QuerySet[Machine]:
        return rows.filter(pk__in=fleet.machines_listed(site=value).order_by().values("pk"))

    def holding(self, rows: QuerySet[Machine], name: str, value: int) -> QuerySet[Machine]:
        return rows.filter(pk__in=fleet.machines_listed(product=value).order_by().values("pk"))


class Machines(Doors):
    """The fleet."""

    described_by = Machine
    filterset_class = MachineFilter

    @gives(MachineLine, paged=True, summary="List machines with where they stand")
    def list(self, request: Request) -> Response:
        # Only what a line shows: a page of whole kinds and sites would cost more than its rows.
        shown = (name for name in MachineLine.Meta.fields if name not in {"kind_name", "placement"})
        here = fleet.placements_now().only("machine", "site__name", "spot", "starts_at", "ends_at")
        rows = fleet.machines_listed().only(*shown, "kind__name").prefetch_related(None)
        now = Prefetch("placements", queryset=here, to_attr="placements_now")
        return self.page(rows.prefetch_related(now), MachineLine)

    @gives(MachineOut, tagged=True, summary="Look at a machine with its selections")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(MachineOut, whole(self.person, pk))

    @writes(MachineIn, MachineOut, status=201, tagged=True, summary="Add a machine")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        added = machines.add_machine(
            kind=given.pop("kind"),
            selections=given.pop("selections", None),
            changes=given,
            actor=self.person,
            now=self.now,
        )
        return self.created(MachineOut, whole(self.person, added.pk))

    @writes(
        MachineChanges,
        MachineOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a machine, or which columns its selections draw on",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        machine = self.matched(whole, pk, MachineOut)
        selections = given.pop("selections", None)
        by = {"actor": self.person, "now": self.now}
        machines.change_machine(machine=machine, changes=given, **by)
        if selections is not None:
            machines.wire_selections(machine=machine, selections=selections, **by)
        return self.answer(MachineOut, whole(self.person, pk))

    @gives(ColumnOut, many=True, summary="A machine's columns, how they are set and what is due")
    @action(detail=True)
    def columns(self, request: Request, pk: int) -> Response:
        machine = gates.machine_for(self.person, pk)
        return Response(self.shown(ColumnOut, fleet.columns_of(machine), many=True))

    @gives(PlacementOut, many=True, summary="Where a machine stood and stands, latest first")
    @action(detail=True)
    def placements(self, request: Request, pk: int) -> Response:
        machine = gates.machine_for(self.person, pk)
        rows = machine.placements.select_related("site").order_by("-starts_at", "pk")
        return Response(self.shown(PlacementOut, rows, many=True))

    @placements.mapping.post  # type: ignore[attr-defined]
    @writes(PlacementIn, MachineOut, tagged=True, summary="Place a machine at a site, or nowhere")
    def place(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        machine = gates.machine_for(self.person, pk, write=True)
        machines.place_machine(machine=machine, actor=self.person, now=self.now, **given)
        return self.answer(MachineOut, whole(self.person, pk))

    @gives(
        WaysOfPayingOut,
        many=True,
        summary="Which payment a machine took from when on, latest first; none: all forms",
    )
    @action(detail=True, url_path="ways-of-paying", url_name="ways-of-paying")
    def ways_of_paying(self, request: Request, pk: int) -> Response:
        machine = gates.machine_for(self.person, pk)
        rows = machine.ways_of_paying.order_by("-starts_on", "pk")
        return Response(self.shown(WaysOfPayingOut, rows, many=True))

    @ways_of_paying.mapping.post  # type: ignore[attr-defined]
    @writes(
        WaysOfPayingIn,
        WaysOfPayingOut,
        summary="Say which payment a machine takes from a day on; some tax rules go by it",
    )
    def set_ways_of_paying(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        machine = gates.machine_for(self.person, pk, write=True)
        kept = machines.set_ways_of_paying(
            machine=machine, actor=self.person, now=self.now, **given
        )
        return Response(self.shown(WaysOfPayingOut, kept))


def whole(person: Person, pk: int, *, write: bool = False) -> Machine:
    """A machine through its gate, with all that its page shows."""
    machine = gates.machine_for(person, pk, write=write)
    here = Prefetch("placements", queryset=fleet.placements_now(), to_attr="placements_now")
    prefetch_related_objects([machine], here, "selections__columns__position")
    return machine
