"""What machines need on a day, and what would change if they were set up otherwise."""

from datetime import timedelta
from typing import Any

from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.shapes import Ref, Shape
from fleet.demand.models import DemandRules
from fleet.demand.queries import changes
from fleet.demand.queries.needs import machine_needs
from fleet.machines.models import Column, Machine, Product
from fleet.machines.queries.gates import machine_for
from people.models import Business

from .demand_shapes import AtStake, ReasonOut
from .fit import Brief


class WhichDay(Shape):
    day = serializers.DateField(required=False, help_text="Of the visit; today without it.")
    next_chance = serializers.DateField(
        required=False,
        help_text="When it could next be visited if not; after its usual gap without it.",
    )


class NeedLineOut(serializers.Serializer):
    column = serializers.IntegerField()
    product = serializers.IntegerField()
    capacity = serializers.IntegerField()
    level = serializers.IntegerField(help_text="What to leave in the column.")
    par = serializers.IntegerField(help_text="The same, if nothing went out of date.")
    expected_stock = serializers.FloatField(help_text="On arrival.")
    expected_fill = serializers.FloatField()
    fill_quantile = serializers.IntegerField(
        help_text="Enough to bring as often as the rules say (`truck_level`)."
    )
    pull = serializers.IntegerField(help_text="Out of date before somebody next comes.")
    from_pool = serializers.BooleanField()


class MachineNeedOut(serializers.Serializer):
    machine = serializers.IntegerField()
    day = serializers.DateField()
    next_chance = serializers.DateField()
    prize = AtStake(source="prize_minor")
    units_at_stake = serializers.FloatField()
    lines = NeedLineOut(many=True)
    must_go = ReasonOut(many=True)
    volume_ml = serializers.FloatField()
    weight_g = serializers.FloatField()
    cases = serializers.FloatField(help_text="Of products whose cases are known.")
    without_case = serializers.IntegerField(help_text="Units of the other products.")
    basis = serializers.DictField(
        child=serializers.IntegerField(), help_text="Columns by what the figures stand on."
    )


class MachineNeeds(Doors):
    """What machines need, by the machine's id: worked out as it is asked for."""

    described_by = Machine

    @gives(MachineNeedOut, query=WhichDay, summary="What a visit saves, and what it takes along")
    def retrieve(self, request: Request, pk: int, asked: dict[str, Any]) -> Response:
        machine = machine_for(self.person, pk)
        today = self.now.astimezone(Business.the().time_zone).date()
        day = asked.get("day") or today
        usual = timedelta(days=DemandRules.the().usual_gap_days)
        later = asked.get("next_chance") or day + usual
        found = machine_needs([machine], day=day, next_chance=later, now=self.now)[machine.pk]
        shown = self.shown(MachineNeedOut, _Dated(found, day, later))
        return Response(shown)


class _Dated:
    """A need with the days that it was asked for."""

    def __init__(self, need: Any, day: Any, next_chance: Any) -> None:
        self._need, self.day, self.next_chance = need, day, next_chance

    def __getattr__(self, name: str) -> Any:
        return getattr(self._need, name)


class AskIn(Shape):
    column = Ref(queryset=Column.objects.select_related("position", "machine"))
    product = Ref(
        queryset=Product.objects.select_related("package"),
        allow_null=True,
        help_text="Null: the column is left empty.",
    )
    deep = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=99, help_text="Computed without it."
    )


class WhatIfIn(Shape):
    asks = AskIn(many=True, max_length=100)


class ColumnChangeOut(serializers.Serializer):
    column = serializers.IntegerField(source="column.pk")
    position = serializers.CharField(source="column.position.label")
    before = serializers.IntegerField(source="before.pk", default=None, allow_null=True)
    before_name = serializers.CharField(source="before.name", default=None, allow_null=True)
    after = serializers.IntegerField(source="after.pk", default=None, allow_null=True)
    after_name = serializers.CharField(source="after.name", default=None, allow_null=True)
    units_before = serializers.IntegerField()
    units_after = serializers.IntegerField()
    minutes = serializers.FloatField()
    gain_a_week = AtStake(source="gain_minor", allow_null=True)
    fit = serializers.SerializerMethodField(help_text="How the product lies in the column.")

    def get_fit(self, change: changes.Change) -> dict[str, Any] | None:
        return None if change.fit is None else dict(FitBrief(change).data)


class FitBrief(Brief):
    """The fit of what would come into the column."""


class SideOut(serializers.Serializer):
    columns = serializers.IntegerField()
    capacity = serializers.IntegerField()
    asked_a_week = serializers.FloatField()
    sold_a_week = serializers.FloatField()
    worth_a_week = AtStake()


class ProductSidesOut(serializers.Serializer):
    product = serializers.IntegerField(source="product.pk")
    product_name = serializers.CharField(source="product.name")
    from_pool = serializers.BooleanField()
    before = serializers.SerializerMethodField()
    after = serializers.SerializerMethodField()

    def get_before(self, side: changes.ProductSide) -> dict[str, Any]:
        return self._side(side, 0)

    def get_after(self, side: changes.ProductSide) -> dict[str, Any]:
        return self._side(side, 1)

    def _side(self, side: changes.ProductSide, at: int) -> dict[str, Any]:
        told = {
            "columns": side.columns[at],
            "capacity": side.capacity[at],
            "asked_a_week": side.asked[at],
            "sold_a_week": side.sold[at],
            "worth_a_week": side.worth_minor[at],
        }
        return dict(SideOut(told, context=self.context).data)


class ChangesOut(serializers.Serializer):
    """What would change, a week, the work of the changeovers counted against it."""

    machine = serializers.IntegerField(source="machine.pk")
    changes = ColumnChangeOut(many=True)
    products = ProductSidesOut(many=True)
    gain_a_week = AtStake(source="comparison.gain_minor")
    gain_before_work = AtStake(source="comparison.gain_before_work_minor")
    low_a_week = AtStake(source="comparison.low_minor")
    high_a_week = AtStake(source="comparison.high_minor")
    chance_of_gain = serializers.FloatField(source="comparison.chance_of_gain")
    work_minutes = serializers.FloatField(source="comparison.work_minutes")
    work_cost = AtStake(source="comparison.work_minor")
    weeks_to_pay_back = serializers.FloatField(
        source="comparison.weeks_to_pay_back", allow_null=True
    )
    gap_days = serializers.IntegerField(help_text="Days between visits that it reckons with.")
    cautions = ReasonOut(many=True)
    proven = serializers.BooleanField(
        help_text="The solver showed that no other changes gain more under the same beliefs."
    )


class MachineChanges(Doors):
    """What would change if a machine held something else, by the machine's id."""

    described_by = Machine

    @gives(ChangesOut, summary="The changes of a machine that gain most together")
    def retrieve(self, request: Request, pk: int) -> Response:
        machine = machine_for(self.person, pk)
        found = changes.suggested(machine=machine, now=self.now)
        return Response(self.shown(ChangesOut, found))

    @writes(
        WhatIfIn,
        ChangesOut,
        key="none",
        atomic=False,
        summary="Ask what a week would be with other products or depths; nothing is kept",
    )
    @action(detail=True, methods=["post"], url_path="what-if", url_name="what-if")
    def what_if(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        machine = machine_for(self.person, pk)
        asks = [changes.Ask(**one) for one in given["asks"]]
        found = changes.what_if(machine=machine, asks=asks, now=self.now)
        return Response(self.shown(ChangesOut, found))
