"""Purchase orders: suggested, drafted, changed, placed, cancelled."""

from typing import Any

from django_filters import DateFilter, FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.exports import Exporting, exports
from api.filters import Id, Word
from api.shapes import Money, Ref, RowShape, Shape
from fleet.demand.actions import buying
from fleet.inventory import tables
from fleet.inventory.actions import orders
from fleet.inventory.models import OrderLine, PurchaseOrder, StockPlace, Supplier
from fleet.inventory.queries import gates
from fleet.inventory.queries.orders import owed
from fleet.machines.models import Product
from people.exports import Table
from people.models import Business

WAREHOUSES = StockPlace.objects.filter(kind="warehouse")


class OrderLineOut(RowShape):
    product_name = serializers.CharField(source="product.name")
    units = serializers.IntegerField()
    case_cost = Money()
    cost = Money()
    owed_units = serializers.SerializerMethodField(
        help_text="Ordered and not come. Null: not told in a list."
    )
    suggestion = serializers.DictField(
        allow_null=True,
        help_text="The figures that the number of cases was suggested from; null: a person's own.",
    )

    class Meta:
        model = OrderLine
        fields = (
            *("id", "product", "product_name", "code", "cases", "units_per_case", "units"),
            *("case_cost", "cost", "owed_units", "suggestion"),
        )

    def get_owed_units(self, line: OrderLine) -> int | None:
        return getattr(line, "owed_units", None)


class OrderOut(RowShape):
    supplier_name = serializers.CharField(source="supplier.name")
    place_name = serializers.CharField(source="place.name")
    lines = OrderLineOut(many=True)

    class Meta:
        model = PurchaseOrder
        fields = (
            *("id", "supplier", "supplier_name", "place", "place_name", "state", "expected_on"),
            *("note", "created_at", "created_by", "placed_at", "placed_by", "ended_at"),
            *("ended_reason", "lines", "updated_at"),
        )


class WantedIn(Shape):
    product = Ref(queryset=Product.objects.all())
    cases = serializers.IntegerField(min_value=1, max_value=100_000)


class OrderIn(Shape):
    supplier = Ref(queryset=Supplier.objects.all())
    place = Ref(queryset=WAREHOUSES)
    lines = WantedIn(many=True, max_length=500)
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)
    expected_on = serializers.DateField(required=False, allow_null=True)


class OrderChange(Shape):
    """A list of lines that is given is whole."""

    lines = WantedIn(many=True, max_length=500, required=False)
    note = serializers.CharField(required=False, allow_blank=True, max_length=300)
    expected_on = serializers.DateField(required=False, allow_null=True)


class PlaceIn(Shape):
    expected_on = serializers.DateField(
        required=False, allow_null=True, help_text="Left out: when the slowest can be there."
    )


class CancelIn(Shape):
    reason = serializers.CharField(max_length=300)


class SuggestedIn(Shape):
    supplier = Ref(queryset=Supplier.objects.all())
    place = Ref(queryset=WAREHOUSES)


class WhyOut(serializers.Serializer):
    code = serializers.CharField()
    text = serializers.CharField()


class SuggestionOut(serializers.Serializer):
    """Units unless a name says otherwise; costs in minor units, of one unit over one review."""

    product = serializers.IntegerField()
    product_name = serializers.CharField()
    rule = serializers.ChoiceField(
        choices=[("base_stock", "base stock"), ("s_S", "(s, S)"), ("none", "no demand")]
    )
    columns = serializers.IntegerField(help_text="That sell it, of the machines served from here.")
    lead_time_days = serializers.IntegerField()
    review_days = serializers.IntegerField()
    mean = serializers.FloatField(help_text="Expected demand over lead time and review.")
    spread = serializers.FloatField(help_text="One standard deviation of it.")
    reorder_at = serializers.IntegerField(help_text="s: order at this many or fewer.")
    up_to = serializers.IntegerField(help_text="S: order up to so many.")
    on_hand = serializers.IntegerField()
    on_trucks = serializers.IntegerField()
    on_order = serializers.IntegerField()
    position = serializers.IntegerField(help_text="Held and on order.")
    left_cost_minor = serializers.FloatField()
    short_cost_minor = serializers.FloatField()
    chance_enough = serializers.FloatField(help_text="That S lasts for lead time and review.")
    units_per_case = serializers.IntegerField()
    minimum_cases = serializers.IntegerField()
    cases = serializers.IntegerField(help_text="Suggested; 0: nothing yet.")
    units = serializers.IntegerField()
    reasons = WhyOut(many=True)


class OrderFilter(FilterSet):
    state = Word(of=PurchaseOrder.State)
    supplier = Id()
    place = Id()
    expected_until = DateFilter("expected_on", lookup_expr="lte")


class Orders(Exporting, Doors):
    """Orders to suppliers."""

    described_by = PurchaseOrder
    filterset_class = OrderFilter

    @gives(OrderOut, paged=True, summary="List orders, latest first")
    def list(self, request: Request) -> Response:
        return self.page(gates.orders_whole().order_by("-pk"), OrderOut)

    @exports("Orders as a file, a row a line")
    def export(self, request: Request) -> Table:
        rows = self.narrowed(gates.orders_whole().order_by("-pk"), "as")
        return tables.orders(rows, Business.the().time_zone)

    @gives(OrderOut, tagged=True, summary="Look at an order with what is still owed")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self._answer(pk)

    @writes(OrderIn, OrderOut, status=201, tagged=True, key="required", summary="Draft an order")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        lines = [orders.Wanted(**one) for one in given.pop("lines")]
        made = orders.draft(lines=lines, actor=self.person, now=self.now, **given)
        return self.created(OrderOut, told(gates.order_for(self.person, made.pk)))

    @gives(SuggestionOut, many=True, query=SuggestedIn, summary="What to order, with its figures")
    @action(detail=False)
    def suggestions(self, request: Request, asked: dict[str, Any]) -> Response:
        found = buying.suggest(now=self.now, **asked)
        return Response(self.shown(SuggestionOut, found, many=True))

    @writes(
        SuggestedIn,
        OrderOut,
        status=201,
        tagged=True,
        key="required",
        summary="Draft an order of all that is suggested",
    )
    @action(detail=False, methods=["post"])
    def suggested(self, request: Request, given: dict[str, Any]) -> Response:
        made = buying.draft_suggested(actor=self.person, now=self.now, **given)
        address = self.reverse_action("detail", args=[made.pk])
        row = told(gates.order_for(self.person, made.pk))
        return self.answer(OrderOut, row, status=201, location=address)

    @writes(
        OrderChange,
        OrderOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a draft",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        order = self.matched(_told_order_for, pk, OrderOut)
        lines = given.pop("lines", None)
        orders.rewrite(
            order=order,
            lines=None if lines is None else [orders.Wanted(**one) for one in lines],
            changes=given,
            actor=self.person,
            now=self.now,
        )
        return self._answer(pk)

    @writes(PlaceIn, OrderOut, tagged=True, key="required", summary="The order has gone out")
    @action(detail=True, methods=["post"])
    def place(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        order = gates.order_for(self.person, pk, write=True)
        orders.place(order=order, actor=self.person, now=self.now, **given)
        return self._answer(pk)

    @writes(CancelIn, OrderOut, tagged=True, key="required", summary="Cancel an order")
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        order = gates.order_for(self.person, pk, write=True)
        orders.cancel(order=order, actor=self.person, now=self.now, **given)
        return self._answer(pk)

    def _answer(self, pk: int) -> Response:
        return self.answer(OrderOut, told(gates.order_for(self.person, pk)))


def told(order: PurchaseOrder) -> PurchaseOrder:
    """The order with what is owed beside each line."""
    outstanding = owed([order])[order.pk]
    for line in order.lines.all():
        line.owed_units = outstanding[line.product_id]  # type: ignore[attr-defined]
    return order


def _told_order_for(person: Any, pk: int, *, write: bool = False) -> PurchaseOrder:
    return told(gates.order_for(person, pk, write=write))
