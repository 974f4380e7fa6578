"""What is held where: places, levels, lots near their date, and how many were found by counting."""

from typing import Any

from django_filters import DateFilter, FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.exports import Exporting, exports
from api.filters import Flag, Id, Text, Word
from api.shapes import Choice, Ref, RowShape, Shape
from fleet.inventory import tables
from fleet.inventory.actions import stores
from fleet.inventory.models import Lot, StockLevel, StockPlace
from fleet.inventory.queries import gates, stock
from fleet.machines.models import Site
from people.exports import Table
from people.models import Business


class PlaceLine(RowShape):
    units = serializers.IntegerField(
        help_text="By the ledger. A column's may be below zero until its next count."
    )
    products = serializers.IntegerField(help_text="How many different ones.")
    first_best_before = serializers.DateField(allow_null=True)

    class Meta:
        model = StockPlace
        fields = (
            *("id", "kind", "name", "site", "column", "supplier", "active"),
            *("units", "products", "first_best_before"),
        )


class LotShape(RowShape):
    class Meta:
        model = Lot
        fields = ("id", "code", "best_before")


class LevelLine(RowShape):
    place_name = serializers.CharField(source="place.name")
    place_kind = serializers.CharField(source="place.kind")
    product_name = serializers.CharField(source="product.name")
    lot = LotShape(allow_null=True, help_text="Null: not known of which lot.")

    class Meta:
        model = StockLevel
        fields = (
            *("id", "place", "place_name", "place_kind", "product", "product_name", "lot"),
            *("quantity", "is_estimate"),
        )


class StoreIn(Shape):
    """A warehouse at a site of ours, or a truck by its name."""

    kind = Choice(choices=[("warehouse", "warehouse"), ("truck", "truck")])
    site = Ref(queryset=Site.objects.all(), required=False, help_text="Of a warehouse.")
    name = serializers.CharField(max_length=120, required=False, help_text="Of a truck.")


class PlaceFilter(FilterSet):
    kind = Word(of=StockPlace.Kind)
    active = Flag()
    search = Text("name", lookup_expr="icontains")
    machine = Id("column__machine")


class StockPlaces(Exporting, Doors):
    """Where products are, come from and go to."""

    described_by = StockPlace
    filterset_class = PlaceFilter

    @gives(PlaceLine, paged=True, summary="List stock places with what they hold")
    def list(self, request: Request) -> Response:
        return self.page(stock.places_listed(), PlaceLine)

    @exports("The stock places as a file")
    def export(self, request: Request) -> Table:
        return tables.places(self.narrowed(stock.places_listed(), "as"), Business.the().time_zone)

    @gives(PlaceLine, tagged=True, summary="Look at a stock place")
    def retrieve(self, request: Request, pk: int) -> Response:
        gates.place_for(self.person, pk)
        return self.answer(PlaceLine, stock.places_listed().get(pk=pk))

    @writes(StoreIn, PlaceLine, status=201, tagged=True, summary="Add a warehouse or a truck")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        made = stores.open_store(actor=self.person, now=self.now, **given)
        return self.created(PlaceLine, stock.places_listed().get(pk=made.pk))

    @gives(LevelLine, many=True, summary="What a place holds, its lots first expired first")
    @action(detail=True)
    def levels(self, request: Request, pk: int) -> Response:
        place = gates.place_for(self.person, pk)
        rows = stock.levels_of(place).select_related("place", "product", "lot")
        return Response(self.shown(LevelLine, rows, many=True))


class LevelFilter(FilterSet):
    place = Id()
    kind = Word("place__kind", of=StockPlace.Kind)
    product = Id()
    lot = Id()


class StockLevels(Exporting, Doors):
    """What is held where: a row a place, product and lot."""

    described_by = StockLevel
    filterset_class = LevelFilter

    @gives(LevelLine, paged=True, summary="List what is held where")
    def list(self, request: Request) -> Response:
        return self.page(stock.levels_listed(), LevelLine)

    @exports("What is held where as a file")
    def export(self, request: Request) -> Table:
        return tables.levels(self.narrowed(stock.levels_listed(), "as"), Business.the().time_zone)


class DatedFilter(LevelFilter):
    until = DateFilter(
        "lot__best_before", lookup_expr="lte", help_text="Best before this day, or on it."
    )


class DatedStock(Exporting, Doors):
    """What is held and bears a best-before date, the earliest first."""

    described_by = StockLevel
    filterset_class = DatedFilter

    @gives(LevelLine, paged=True, summary="List lots by best before, the earliest first")
    def list(self, request: Request) -> Response:
        return self.page(stock.dated(), LevelLine)

    @exports("Lots by best before as a file")
    def export(self, request: Request) -> Table:
        zone = Business.the().time_zone
        return tables.levels(self.narrowed(stock.dated(), "as"), zone, name="Lots by best before")
