"""Suppliers, and what each sells by which case."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, nothing, writes
from api.exports import Exporting, exports
from api.filters import Flag, Id, Text
from api.shapes import Money, Ref, RowShape
from fleet.inventory import tables
from fleet.inventory.actions import suppliers
from fleet.inventory.models import Supplier, SupplierItem
from fleet.inventory.queries import gates
from fleet.machines.models import Product
from people.exports import Table
from people.models import Business

OF_THE_SUPPLIER = (
    *(
        "name",
        "account",
        "contact",
        "phone",
        "email",
        "review_days",
        "line_cost",
        "notes",
        "active",
    ),
)
OF_THE_ITEM = (
    *("code", "units_per_case", "case_cost", "lead_time_days", "minimum_cases"),
    *("least_days_left", "preferred"),
)


class ItemOut(RowShape):
    supplier_name = serializers.CharField(source="supplier.name")
    product_name = serializers.CharField(source="product.name")
    case_cost = Money()

    class Meta:
        model = SupplierItem
        fields = (
            *("id", "supplier", "supplier_name", "product", "product_name"),
            *(*OF_THE_ITEM, "updated_at"),
        )


class ItemPut(RowShape):
    product = Ref(queryset=Product.objects.all())
    case_cost = Money(min_value=0)

    class Meta:
        model = SupplierItem
        fields = ("product", *OF_THE_ITEM)


class SupplierIn(RowShape):
    line_cost = Money(required=False, min_value=0)

    class Meta:
        model = Supplier
        fields = OF_THE_SUPPLIER


class SupplierLine(RowShape):
    line_cost = Money()

    class Meta:
        model = Supplier
        fields = ("id", *OF_THE_SUPPLIER, "updated_at")


class SupplierFilter(FilterSet):
    search = Text("name", lookup_expr="icontains")
    active = Flag()


class Suppliers(Doors):
    """Whom the business buys from."""

    described_by = Supplier
    filterset_class = SupplierFilter

    @gives(SupplierLine, paged=True, summary="List suppliers")
    def list(self, request: Request) -> Response:
        return self.page(Supplier.objects.order_by("name", "pk"), SupplierLine)

    @gives(SupplierLine, tagged=True, summary="Look at a supplier")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(SupplierLine, gates.supplier_for(self.person, pk))

    @writes(SupplierIn, SupplierLine, status=201, tagged=True, summary="Add a supplier")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = suppliers.save_supplier(changes=given, actor=self.person, now=self.now)
        return self.created(SupplierLine, gates.supplier_for(self.person, saved.pk))

    @writes(
        SupplierIn,
        SupplierLine,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a supplier",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        supplier = self.matched(gates.supplier_for, pk, SupplierLine)
        suppliers.save_supplier(supplier=supplier, changes=given, actor=self.person, now=self.now)
        return self.answer(SupplierLine, gates.supplier_for(self.person, pk))

    @writes(ItemPut, ItemOut, summary="Say what a supplier sells a product by and for")
    @action(detail=True, methods=["post"])
    def items(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        supplier = gates.supplier_for(self.person, pk, write=True)
        item = suppliers.save_item(
            supplier=supplier,
            product=given.pop("product"),
            changes=given,
            actor=self.person,
            now=self.now,
        )
        return Response(self.shown(ItemOut, item))


class ItemFilter(FilterSet):
    supplier = Id()
    product = Id()
    preferred = Flag()


class SupplierItems(Exporting, Doors):
    """Products as suppliers sell them."""

    described_by = SupplierItem
    filterset_class = ItemFilter

    @gives(ItemOut, paged=True, summary="List what suppliers sell")
    def list(self, request: Request) -> Response:
        return self.page(gates.items_whole(), ItemOut)

    @exports("What suppliers sell as a file")
    def export(self, request: Request) -> Table:
        return tables.items(self.narrowed(gates.items_whole(), "as"), Business.the().time_zone)

    @gives(ItemOut, tagged=True, summary="Look at what a supplier sells a product by")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(ItemOut, gates.item_for(self.person, pk))

    @writes(None, status=204, matched=True, summary="A supplier no longer sells a product")
    def destroy(self, request: Request, pk: int) -> Response:
        item = self.matched(gates.item_for, pk, ItemOut)
        suppliers.remove_item(item=item, actor=self.person, now=self.now)
        return nothing()
