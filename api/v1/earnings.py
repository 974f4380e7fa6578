"""What machines, sites, products and drivers' hours earn, and what would change it."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.exports import Exporting, exports
from api.shapes import Choice, Money, RowShape, Shape
from fleet.machines.models import Machine
from fleet.machines.queries.gates import machine_for
from people.exports import Table
from people.models import Business, Person
from service.compute.earnings import COSTS
from service.earnings import tables
from service.earnings.actions.settings import change_settings
from service.earnings.models import EarningsSettings
from service.earnings.queries.books import books
from service.earnings.queries.changes import levers_of
from service.earnings.queries.ranking import BY, Line, ranked

from .demand_changes import ChangesOut
from .demand_shapes import AtStake

LONGEST_DAYS = 1100


class EarningsAsked(Shape):
    by = Choice(choices=list(BY))
    since = serializers.DateField(help_text="The first day, on the calendar of the business.")
    until = serializers.DateField(help_text="The day after the last.")

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        days = (given["until"] - given["since"]).days
        if not 0 < days <= LONGEST_DAYS:
            raise serializers.ValidationError(
                {"until": f"give a day 1 to {LONGEST_DAYS} days after `since`"}
            )
        return given


class CostsOut(serializers.Serializer):
    """Each part that is taken off; null is not known."""

    def get_fields(self) -> dict[str, serializers.Field]:
        return {name: Money(allow_null=True, help_text=tables.WORDS[name]) for name in COSTS}


class EarningOut(serializers.Serializer):
    key = serializers.IntegerField(allow_null=True, help_text="Null: of nothing that is named.")
    label = serializers.CharField()
    receipts = Money(source="earned.receipts")
    costs = serializers.SerializerMethodField()
    profit = Money(
        source="earned.profit", help_text="Receipts less the costs that are known, and no others."
    )
    not_known = serializers.ListField(
        child=serializers.CharField(), help_text="Costs that are not or not wholly known."
    )
    units = serializers.FloatField(source="earned.units")
    visits = serializers.FloatField(source="earned.visits")
    driver_hours = serializers.FloatField(source="hours")
    kilometres = serializers.FloatField(source="earned.km")
    profit_a_driver_hour = Money(source="per_hour", allow_null=True)

    @extend_schema_field(CostsOut)
    def get_costs(self, line: dict[str, Any]) -> dict[str, Any]:
        costs = {name: line["earned"].cost(name) for name in COSTS}
        return dict(CostsOut(costs, context=self.context).data)


class EarningsOut(serializers.Serializer):
    since = serializers.DateField()
    until = serializers.DateField()
    by = serializers.CharField()
    items = EarningOut(many=True)
    said = serializers.ListField(
        child=serializers.CharField(), help_text="On what the figures stand."
    )
    not_known = serializers.ListField(
        child=serializers.CharField(), help_text="What is missing from them. No tax advice."
    )


class Earnings(Exporting, Doors):
    """What is left of receipts, by machine, site, product or driver; most first."""

    described_by = Machine

    @gives(EarningsOut, query=EarningsAsked, summary="What earned most in a period")
    def list(self, request: Request, asked: dict[str, Any]) -> Response:
        found = books(asked["since"], asked["until"])
        told = {
            "since": asked["since"],
            "until": asked["until"],
            "by": asked["by"],
            "items": [_line(one) for one in ranked(found, asked["by"])],
            "said": found.said,
            "not_known": found.not_known,
        }
        return Response(self.shown(EarningsOut, told))

    @exports("What earned most as a file", query=EarningsAsked)
    def export(self, request: Request, asked: dict[str, Any]) -> Table:
        lines = ranked(books(asked["since"], asked["until"]), asked["by"])
        return tables.earnings(lines, asked["by"], Business.the().time_zone)


def _line(line: Line) -> dict[str, Any]:
    return {
        "key": line.key,
        "label": line.label,
        "earned": line.earned,
        "hours": line.hours,
        "per_hour": line.per_hour,
        "not_known": sorted(line.earned.unknown),
    }


class GainOut(serializers.Serializer):
    of = serializers.FloatField(
        help_text="Days between visits, the part of the price, or the quantile of places."
    )
    gain_a_week = AtStake(source="gain_minor")
    low_a_week = AtStake(source="low_minor", help_text="The 5 % case.")
    high_a_week = AtStake(source="high_minor", help_text="The 95 % case.")
    chance_of_gain = serializers.FloatField()


class LeversOut(serializers.Serializer):
    machine = serializers.IntegerField(source="machine.pk")
    gap_days = serializers.IntegerField(help_text="Days between visits now.")
    visit_cost = AtStake(source="visiting.minor")
    visits_known = serializers.IntegerField(source="visiting.visits")
    products = ChangesOut(source="swaps", allow_null=True)
    rhythm = GainOut(many=True)
    prices = GainOut(many=True)
    buyers_to_lose = serializers.ListField(
        source="lost_at",
        child=serializers.FloatField(),
        help_text="Part of the buyers that each price may drive away before it earns less.",
    )
    elasticity = serializers.ListField(
        child=serializers.DecimalField(max_digits=9, decimal_places=2),
        help_text="Assumed, from least to most: buyers lost for each percent on the price.",
    )
    moving = GainOut(allow_null=True)
    places = serializers.IntegerField(help_text="Machines of its kind elsewhere it is held to.")
    said = serializers.ListField(child=serializers.CharField())


class EarningChanges(Doors):
    """What would change what a machine earns, by the machine's id: a week's margin."""

    described_by = Machine

    @gives(LeversOut, summary="Another product, price, rhythm of visits or place")
    def retrieve(self, request: Request, pk: int) -> Response:
        machine = machine_for(self.person, pk)
        return Response(self.shown(LeversOut, levers_of(machine, now=self.now)))


class EarningsSettingsOut(RowShape):
    cost_per_hour = Money(min_value=0, allow_null=True)
    overhead_per_month = Money(min_value=0)

    class Meta:
        model = EarningsSettings
        fields = (
            *("cost_per_hour", "cost_per_km", "overhead_per_month", "moving_minutes"),
            *("elasticity_least", "elasticity_most", "updated_at"),
        )
        read_only_fields = ("updated_at",)


class SettingsOfEarnings(Doors):
    """What an hour, a way and a month cost, and how buyers are taken to mind a price."""

    described_by = EarningsSettings

    @gives(EarningsSettingsOut, tagged=True, summary="Look at what earnings are reckoned with")
    def retrieve(self, request: Request) -> Response:
        return self.answer(EarningsSettingsOut, EarningsSettings.the())

    @writes(
        EarningsSettingsOut,
        EarningsSettingsOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change what earnings are reckoned with",
    )
    def partial_update(self, request: Request, given: dict[str, Any]) -> Response:
        self.matched(_the, 1, EarningsSettingsOut)
        changed = change_settings(changes=given, actor=self.person, now=self.now)
        return self.answer(EarningsSettingsOut, changed)


def _the(person: Person, pk: int, *, write: bool = False) -> EarningsSettings:
    return EarningsSettings.the()
