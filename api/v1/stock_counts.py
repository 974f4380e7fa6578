"""Counts of places: what was found, beside what the ledger said."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Id, Moment, Word
from api.shapes import Moment as MomentShape
from api.shapes import Ref, RowShape, Shape
from fleet.inventory.actions import stocktakes
from fleet.inventory.models import CountLine, StockCount, StockPlace
from fleet.inventory.queries import gates
from fleet.machines.models import Product

from .stock import LotShape


class CountLineOut(RowShape):
    product_name = serializers.CharField(source="product.name")
    lot = LotShape(allow_null=True)

    class Meta:
        model = CountLine
        fields = (*("product", "product_name", "lot", "by_lot", "counted", "book", "difference"),)


class CountOut(RowShape):
    place_name = serializers.CharField(source="place.name")
    place_kind = serializers.CharField(source="place.kind")
    actor_name = serializers.CharField(source="actor.name", default=None, allow_null=True)
    lines = CountLineOut(many=True)

    class Meta:
        model = StockCount
        fields = (
            *("id", "place", "place_name", "place_kind", "counted_at", "recorded_at", "actor"),
            *("actor_name", "movement", "note", "lines"),
        )


class FoundIn(Shape):
    product = Ref(queryset=Product.objects.all())
    counted = serializers.IntegerField(min_value=0, max_value=1_000_000)
    code = serializers.CharField(
        required=False, allow_blank=True, max_length=40, help_text="The lot's, as printed."
    )
    best_before = serializers.DateField(required=False, allow_null=True)


class CountIn(Shape):
    place = Ref(queryset=StockPlace.objects.filter(kind__in=StockPlace.HELD))
    counted_at = MomentShape()
    whole = serializers.BooleanField(
        required=False, default=False, help_text="Whatever is not told was not there."
    )
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)
    lines = FoundIn(many=True, max_length=2000)


class CountFilter(FilterSet):
    place = Id()
    kind = Word("place__kind", of=StockPlace.Kind)
    since = Moment("counted_at", "gte")
    until = Moment("counted_at", "lt")


class StockCounts(Doors):
    """What somebody found in a place. Differences are posted as unexplained, never hidden."""

    described_by = StockCount
    filterset_class = CountFilter

    @gives(CountOut, paged=True, summary="List counts, latest first")
    def list(self, request: Request) -> Response:
        return self.page(gates.counts_whole().order_by("-counted_at", "-pk"), CountOut)

    @gives(CountOut, tagged=True, summary="Look at a count with its differences")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(CountOut, gates.count_for(self.person, pk))

    @writes(
        CountIn,
        CountOut,
        status=201,
        tagged=True,
        key="required",
        summary="Record a count of a warehouse, a truck or a column",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        found = [stocktakes.Found(**one) for one in given.pop("lines")]
        made = stocktakes.take_stock(found=found, actor=self.person, now=self.now, **given)
        return self.created(CountOut, gates.count_for(self.person, made.pk))
