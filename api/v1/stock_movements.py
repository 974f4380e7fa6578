"""What moved from where to where: listed, recorded, and taken back by opposite lines."""

from typing import Any

from django.db.models import Q, QuerySet
from django_filters import Filter, FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.exports import Exporting, exports
from api.filters import Id, Moment, Word
from api.shapes import Choice, Money, Ref, RowShape, Shape
from api.shapes import Moment as MomentShape
from fleet.inventory import tables
from fleet.inventory.actions import ledger, moves
from fleet.inventory.models import Lot, Movement, MovementLine, StockPlace
from fleet.inventory.queries import gates, stock
from fleet.machines.models import Product
from people.exports import Table, within
from people.models import Business

from .stock import LotShape

STORES = StockPlace.objects.filter(kind__in=["warehouse", "truck"])
WASTE_REASONS = [one for one in Movement.WasteReason.choices if one[0]]


class MovementLineOut(RowShape):
    product_name = serializers.CharField(source="product.name")
    lot = LotShape(allow_null=True)
    from_name = serializers.CharField(source="from_place.name")
    to_name = serializers.CharField(source="to_place.name")
    unit_cost = Money(allow_null=True)

    class Meta:
        model = MovementLine
        fields = (
            *("id", "product", "product_name", "lot", "from_place", "from_name"),
            *("to_place", "to_name", "quantity", "unit_cost"),
        )


class MovementOut(RowShape):
    actor = serializers.IntegerField(source="actor_id", allow_null=True)
    actor_name = serializers.CharField(source="actor.name", default=None, allow_null=True)
    corrects = serializers.IntegerField(source="corrects_id", allow_null=True)
    corrected_by = serializers.IntegerField(source="corrected_by.pk", default=None, allow_null=True)
    lines = MovementLineOut(many=True)

    class Meta:
        model = Movement
        fields = (
            *("id", "reason", "waste_reason", "actor", "actor_name", "happened_at"),
            *("recorded_at", "corrects", "corrected_by", "note", "lines"),
        )


class ItemIn(Shape):
    product = Ref(queryset=Product.objects.all())
    quantity = serializers.IntegerField(min_value=1, max_value=1_000_000)
    lot = Ref(
        queryset=Lot.objects.select_related("product"),
        required=False,
        help_text="Left out: first expired, first out.",
    )


class TransferIn(Shape):
    from_place = Ref(queryset=STORES)
    to_place = Ref(queryset=STORES)
    items = ItemIn(many=True, min_length=1, max_length=500)
    happened_at = MomentShape()
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)


class WasteIn(Shape):
    place = Ref(queryset=StockPlace.objects.filter(kind__in=StockPlace.HELD))
    items = ItemIn(many=True, min_length=1, max_length=500)
    waste_reason = Choice(choices=WASTE_REASONS)
    happened_at = MomentShape()
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)


class CorrectIn(Shape):
    note = serializers.CharField(max_length=300, help_text="Why it is taken back.")


class Touching(Id):
    """Movements that brought something to a place or took it away."""

    def filter(self, qs: "QuerySet[Any]", value: Any) -> "QuerySet[Any]":
        if value is None:
            return qs
        lines = MovementLine.objects.filter(Q(from_place=value) | Q(to_place=value))
        return qs.filter(pk__in=lines.values("movement"))


class OfProduct(Id):
    """Movements that moved some of a product."""

    def filter(self, qs: "QuerySet[Any]", value: Any) -> "QuerySet[Any]":
        if value is None:
            return qs
        return qs.filter(pk__in=MovementLine.objects.filter(product=value).values("movement"))


class MovementFilter(FilterSet):
    reason = Word(of=Movement.Reason)
    waste_reason = Word(of=Movement.WasteReason)
    place: Filter = Touching()
    product: Filter = OfProduct()
    actor = Id()
    since = Moment("happened_at", "gte")
    until = Moment("happened_at", "lt")


class StockMovements(Exporting, Doors):
    """What moved from where to where, why, by whom and when. Never changed; taken back instead."""

    described_by = Movement
    filterset_class = MovementFilter

    @gives(MovementOut, paged=True, summary="List movements, latest first")
    def list(self, request: Request) -> Response:
        return self.page(stock.movements_listed(), MovementOut)

    @exports("Movements as a file, a row a line")
    def export(self, request: Request) -> Table:
        chosen = self.narrowed(Movement.objects.all(), "as")
        lines = stock.lines_listed().filter(movement__in=chosen.order_by().values("pk"))
        return tables.movement_lines(within(lines), Business.the().time_zone)

    @gives(MovementOut, tagged=True, summary="Look at a movement")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(MovementOut, gates.movement_for(self.person, pk))

    @writes(
        TransferIn,
        MovementOut,
        status=201,
        tagged=True,
        key="required",
        summary="Move products between warehouses and trucks",
    )
    @action(detail=False, methods=["post"])
    def transfers(self, request: Request, given: dict[str, Any]) -> Response:
        items = [moves.Item(**one) for one in given.pop("items")]
        made = moves.transfer(items=items, actor=self.person, now=self.now, **given)
        return self._made(made)

    @writes(
        WasteIn,
        MovementOut,
        status=201,
        tagged=True,
        key="required",
        summary="Throw products away, with the reason",
    )
    @action(detail=False, methods=["post"])
    def waste(self, request: Request, given: dict[str, Any]) -> Response:
        items = [moves.Item(**one) for one in given.pop("items")]
        made = moves.waste(items=items, actor=self.person, now=self.now, **given)
        return self._made(made)

    @writes(
        CorrectIn,
        MovementOut,
        status=201,
        tagged=True,
        key="required",
        summary="Take a movement back by opposite lines",
    )
    @action(detail=True, methods=["post"])
    def correct(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        movement = gates.movement_for(self.person, pk, write=True)
        made = ledger.correct(movement=movement, actor=self.person, now=self.now, **given)
        return self._made(made)

    def _made(self, made: Movement) -> Response:
        address = self.reverse_action("detail", args=[made.pk])
        row = gates.movement_for(self.person, made.pk)
        return self.answer(MovementOut, row, status=201, location=address)
