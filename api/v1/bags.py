"""Bags of cash: which were sealed where, and what was in them."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Flag, Id, Moment, Text
from api.shapes import Moment as MomentField
from api.shapes import Money, Ref, RowShape, Shape
from fleet.sales.actions import bags
from fleet.sales.models import Bag, BagCount
from fleet.sales.queries.bags import bag_for, bags_listed
from people.models import Person


class BagCountOut(RowShape):
    amount = Money()
    counted_by_name = serializers.CharField(source="counted_by.name")
    second_name = serializers.CharField(source="second.name", default=None, allow_null=True)

    class Meta:
        model = BagCount
        fields = (
            *("id", "amount", "counted_at", "recorded_at", "counted_by", "counted_by_name"),
            *("second", "second_name", "note"),
        )


class BagOut(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")
    site_name = serializers.CharField(allow_null=True, help_text="Where the machine stands now.")
    sealed_by_name = serializers.CharField(source="sealed_by.name")
    amount = Money(allow_null=True, help_text="As last counted; null: it waits to be counted.")
    counts = BagCountOut(many=True, help_text="The last recorded first; it holds.")

    class Meta:
        model = Bag
        fields = (
            *("id", "seal_number", "machine", "asset_tag", "site_name", "sealed_at"),
            *("sealed_by", "sealed_by_name", "amount", "counts"),
        )


class BagCountIn(Shape):
    amount = Money(min_value=0, help_text="Coins and notes together.")
    counted_at = MomentField()
    second = Ref(
        queryset=Person.objects.filter(is_active=True),
        required=False,
        allow_null=True,
        help_text="Who counted along.",
    )
    note = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class BagFilter(FilterSet):
    machine = Id()
    search = Text("seal_number", lookup_expr="icontains")
    waiting = Flag("amount", lookup_expr="isnull")
    sealed_from = Moment("sealed_at", lookup_expr="gte")
    sealed_until = Moment("sealed_at", lookup_expr="lt")


class Bags(Doors):
    """Bags of cash by their seals, the latest sealed first."""

    described_by = Bag
    filterset_class = BagFilter

    @gives(BagOut, paged=True, summary="List bags, the latest sealed first")
    def list(self, request: Request) -> Response:
        return self.page(bags_listed(), BagOut)

    @gives(BagOut, tagged=True, summary="Look at a bag and every count of it")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(BagOut, bag_for(self.person, pk))

    @writes(
        BagCountIn,
        BagOut,
        status=201,
        key="required",
        summary="Say what was in a bag; counted again, the last count holds",
    )
    @action(detail=True, methods=["post"])
    def count(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        bag = bag_for(self.person, pk, write=True)
        bags.count_bag(bag=bag, actor=self.person, now=self.now, **given)
        return self.answer(BagOut, bag_for(self.person, pk), status=201)
