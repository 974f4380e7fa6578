"""Deliveries received, with their differences; and what went to waste."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.exports import Exporting, exports
from api.filters import Id, Moment
from api.moments import MomentAsked
from api.shapes import Moment as MomentShape
from api.shapes import Money, Ref, RowShape, Shape
from fleet.inventory import tables
from fleet.inventory.actions import receipts
from fleet.inventory.models import CostChange, PurchaseOrder, Receipt, ReceiptLine, Supplier
from fleet.inventory.queries import gates
from fleet.inventory.queries.waste import wasted
from fleet.machines.models import Product
from people.exports import Table
from people.models import Business

from .orders import WAREHOUSES
from .stock import LotShape


class DifferenceOut(serializers.Serializer):
    code = serializers.ChoiceField(choices=ReceiptLine.Difference.choices)
    said = serializers.CharField()


class ReceiptLineOut(RowShape):
    product_name = serializers.CharField(source="product.name")
    lot = LotShape(allow_null=True)
    differences = DifferenceOut(many=True)

    class Meta:
        model = ReceiptLine
        fields = (
            *("id", "order_line", "product", "product_name", "lot", "expected_units", "units"),
            *("refused_units", "unit_cost", "stated_best_before", "differences", "why"),
        )


class ReceiptOut(RowShape):
    supplier_name = serializers.CharField(source="supplier.name")
    place_name = serializers.CharField(source="place.name")
    lines = ReceiptLineOut(many=True)

    class Meta:
        model = Receipt
        fields = (
            *("id", "supplier", "supplier_name", "order", "place", "place_name"),
            *("delivery_note", "received_at", "recorded_at", "actor", "movement", "note"),
            *("taken_back_at", "taken_back_reason", "lines"),
        )


class ReceivedIn(Shape):
    product = Ref(queryset=Product.objects.select_related("package"))
    units = serializers.IntegerField(
        min_value=0, max_value=1_000_000, help_text="Taken into stock."
    )
    code = serializers.CharField(
        required=False, allow_blank=True, max_length=40, help_text="The lot's, as printed."
    )
    best_before = serializers.DateField(required=False, allow_null=True)
    unit_cost = Money(required=False, allow_null=True, min_value=0)
    refused_units = serializers.IntegerField(
        required=False, min_value=0, max_value=1_000_000, help_text="Sent back with the delivery."
    )
    stated_best_before = serializers.DateField(
        required=False, allow_null=True, help_text="As the paper says, where it says a date."
    )
    why = serializers.CharField(required=False, allow_blank=True, max_length=300)


class ReceiptIn(Shape):
    """A delivery against an order, or from a supplier without one."""

    order = Ref(queryset=PurchaseOrder.objects.all(), required=False, allow_null=True)
    supplier = Ref(queryset=Supplier.objects.all(), required=False, allow_null=True)
    place = Ref(queryset=WAREHOUSES)
    received_at = MomentShape()
    delivery_note = serializers.CharField(
        required=False, allow_blank=True, default="", max_length=60
    )
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)
    closes = serializers.BooleanField(
        required=False, default=False, help_text="Nothing more of the order will come."
    )
    lines = ReceivedIn(many=True, max_length=500)


class TakeBackIn(Shape):
    reason = serializers.CharField(max_length=300)


class ReceiptFilter(FilterSet):
    supplier = Id()
    order = Id()
    place = Id()
    since = Moment("received_at", "gte")
    until = Moment("received_at", "lt")


class Receipts(Exporting, Doors):
    """Deliveries, with how each differed from what was agreed."""

    described_by = Receipt
    filterset_class = ReceiptFilter

    @gives(ReceiptOut, paged=True, summary="List receipts, latest first")
    def list(self, request: Request) -> Response:
        return self.page(gates.receipts_whole().order_by("-received_at", "-pk"), ReceiptOut)

    @exports("Receipts as a file, a row a line")
    def export(self, request: Request) -> Table:
        rows = self.narrowed(gates.receipts_whole().order_by("-received_at", "-pk"), "as")
        return tables.receipts(rows, Business.the().time_zone)

    @gives(ReceiptOut, tagged=True, summary="Look at a receipt")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(ReceiptOut, gates.receipt_for(self.person, pk))

    @writes(
        ReceiptIn,
        ReceiptOut,
        status=201,
        tagged=True,
        key="required",
        summary="Receive a delivery into a warehouse",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        lines = [receipts.Received(**one) for one in given.pop("lines")]
        made = receipts.receive(lines=lines, actor=self.person, now=self.now, **given)
        return self.created(ReceiptOut, gates.receipt_for(self.person, made.pk))

    @writes(TakeBackIn, ReceiptOut, tagged=True, key="required", summary="Take a receipt back")
    @action(detail=True, methods=["post"], url_path="take-back")
    def take_back(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        receipt = gates.receipt_for(self.person, pk, write=True)
        receipts.take_back(receipt=receipt, actor=self.person, now=self.now, **given)
        return self.answer(ReceiptOut, gates.receipt_for(self.person, pk))


class CostOut(RowShape):
    class Meta:
        model = CostChange
        fields = (
            *("id", "product", "at", "cause", "receipt_line", "held_units", "average_before"),
            *("units", "unit_cost", "average", "actor"),
        )


class CostFilter(FilterSet):
    product = Id()


class Costs(Doors):
    """How the average costs of products came about."""

    described_by = CostChange
    filterset_class = CostFilter

    @gives(CostOut, paged=True, summary="List changes of average costs, latest first")
    def list(self, request: Request) -> Response:
        return self.page(CostChange.objects.order_by("-pk"), CostOut)


class WasteAsked(Shape):
    since = MomentAsked(help_text="What happened at this moment or later.")
    until = MomentAsked(help_text="What happened before this moment.")


class WastedOut(serializers.Serializer):
    reason = serializers.CharField()
    reason_said = serializers.CharField()
    product = serializers.IntegerField()
    product_name = serializers.CharField()
    units = serializers.IntegerField()
    cost = Money()
    units_priced_now = serializers.IntegerField(help_text="Of them, at the cost of today.")
    units_without_cost = serializers.IntegerField(help_text="Of them, of no known cost.")


class Waste(Doors):
    """What went to waste, by reason and product."""

    described_by = ReceiptLine

    @gives(
        WastedOut, many=True, query=WasteAsked, summary="What went to waste in a period, and why"
    )
    def list(self, request: Request, asked: dict[str, Any]) -> Response:
        return Response(self.shown(WastedOut, wasted(**asked), many=True))
