"""Kinds of machine, with their depth programs and positions."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, nothing, writes
from api.filters import Text
from api.shapes import RowShape
from fleet.machines.actions import kinds
from fleet.machines.models import DepthProgram, Kind, Position
from fleet.machines.queries import gates
from fleet.machines.queries.cautions import cautions_of

GEOMETRY = (
    "style",
    "width_mm",
    "height_mm",
    "greatest_deep",
    "cradle_units",
    "front_depth_mm",
    "front_zero_mm",
    "front_pitch_mm",
    "front_notches",
    "front_mark_every",
    "front_runs",
    "rear_depth_mm",
    "rear_zero_mm",
    "rear_pitch_mm",
    "rear_notches",
    "rear_mark_every",
    "rear_runs",
    "turns",
    "spiral_pitch_mm",
)
OF_THE_KIND = (
    "name",
    "notes",
    "vend_window_s",
    "drop_sensor",
    "refrigerated_volume_l",
    "energy_class",
    "bulk",
    "front_hides_label",
    "refrigerant",
    "refrigerant_charge_g",
    "sold_out_date_is_last_sale",
)


class ProgramIn(RowShape):
    class Meta:
        model = DepthProgram
        fields = ("name", "deep", "cycle_s", "run_on_s")


class ProgramOut(ProgramIn):
    class Meta(ProgramIn.Meta):
        fields = ("id", *ProgramIn.Meta.fields)


class PositionIn(RowShape):
    class Meta:
        model = Position
        fields = ("label", *GEOMETRY)


class PositionOut(PositionIn):
    class Meta(PositionIn.Meta):
        fields = ("id", "order", *PositionIn.Meta.fields)


class KindLine(RowShape):
    class Meta:
        model = Kind
        fields = ("id", *OF_THE_KIND, "updated_at")


class KindOut(RowShape):
    programs = ProgramOut(many=True)
    positions = PositionOut(many=True)
    cautions = serializers.SerializerMethodField(
        help_text="What to mind before work on a machine of this kind."
    )

    class Meta:
        model = Kind
        fields = ("id", *OF_THE_KIND, "programs", "positions", "cautions", "updated_at")

    def get_cautions(self, kind: Kind) -> list[str]:
        return [one.text for one in cautions_of(kind)]


class KindIn(RowShape):
    """Lists that are given are whole: what they leave out is removed, if nothing uses it."""

    programs = ProgramIn(many=True, required=False, max_length=50)
    positions = PositionIn(many=True, required=False, max_length=200)

    class Meta:
        model = Kind
        fields = (*OF_THE_KIND, "programs", "positions")


class KindFilter(FilterSet):
    search = Text("name", lookup_expr="icontains")


class Kinds(Doors):
    """Makes of machine as the business measured them."""

    described_by = Kind
    filterset_class = KindFilter

    @gives(KindLine, paged=True, summary="List kinds")
    def list(self, request: Request) -> Response:
        return self.page(Kind.objects.order_by("name", "pk"), KindLine)

    @gives(KindOut, tagged=True, summary="Look at a kind with its programs and positions")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(KindOut, gates.kind_for(self.person, pk))

    @writes(KindIn, KindOut, status=201, tagged=True, summary="Add a kind")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = kinds.save_kind(**_parts(given), actor=self.person, now=self.now)
        return self.created(KindOut, gates.kind_for(self.person, saved.pk))

    @writes(KindIn, KindOut, partial=True, tagged=True, matched=True, summary="Change a kind")
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        kind = self.matched(gates.kind_for, pk, KindOut)
        kinds.save_kind(kind=kind, **_parts(given), actor=self.person, now=self.now)
        return self.answer(KindOut, gates.kind_for(self.person, pk))

    @writes(status=204, matched=True, summary="Delete a kind that no machine is of")
    def destroy(self, request: Request, pk: int) -> Response:
        kind = self.matched(gates.kind_for, pk, KindOut)
        kinds.delete_kind(kind=kind, actor=self.person, now=self.now)
        return nothing()


def _parts(given: dict[str, Any]) -> dict[str, Any]:
    return {
        "programs": given.pop("programs", None),
        "positions": given.pop("positions", None),
        "changes": given,
    }
