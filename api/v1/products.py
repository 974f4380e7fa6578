"""Packages and the products that come in them."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Flag, Id, Text, Word
from api.shapes import Money, RowShape
from fleet.machines.actions import holdings
from fleet.machines.models import Package, Product
from fleet.machines.queries import fits, gates

from .fit import ColumnFitOut, Search

SIZES = (
    "name",
    "shape",
    "length_mm",
    "diameter_mm",
    "shoulder_mm",
    "neck_from_mm",
    "neck_to_mm",
    "neck_diameter_mm",
    "cap_diameter_mm",
    "width_mm",
    "thickness_mm",
    "height_mm",
    "volume_ml",
    "weight_g",
    "material",
    "measured_note",
)
FACTS = (
    "name",
    "package",
    "gtin",
    "price",
    "cost",
    "shelf_life_days",
    "picture",
    "sold",
    "form",
    "sweetened",
    "juice_percent",
    "contains_milk",
    "carbonated",
    "contains_flour",
    "needs_refrigeration",
    "heated",
    "supplement_facts",
    "water",
    "kept_cold_or_hot",
    "calories",
)


class PackageIn(RowShape):
    class Meta:
        model = Package
        fields = SIZES


class PackageOut(PackageIn):
    class Meta(PackageIn.Meta):
        fields = ("id", *SIZES, "updated_at")


class PackageFilter(FilterSet):
    search = Text("name", lookup_expr="icontains")
    shape = Word(of=Package.Shape)


class Packages(Doors):
    """Physical shapes, measured. Sizes in mm from the base up; empty is not measured yet."""

    described_by = Package
    filterset_class = PackageFilter

    @gives(PackageOut, paged=True, summary="List packages")
    def list(self, request: Request) -> Response:
        return self.page(Package.objects.order_by("name", "pk"), PackageOut)

    @gives(PackageOut, tagged=True, summary="Look at a package")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(PackageOut, gates.package_for(self.person, pk))

    @writes(PackageIn, PackageOut, status=201, tagged=True, summary="Add a package")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = holdings.save_package(changes=given, actor=self.person, now=self.now)
        return self.created(PackageOut, gates.package_for(self.person, saved.pk))

    @writes(
        PackageIn, PackageOut, partial=True, tagged=True, matched=True, summary="Change a package"
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        package = self.matched(gates.package_for, pk, PackageOut)
        holdings.save_package(package=package, changes=given, actor=self.person, now=self.now)
        return self.answer(PackageOut, gates.package_for(self.person, pk))


class ProductIn(RowShape):
    price = Money(min_value=0)
    cost = Money(min_value=0, required=False, allow_null=True)
    gtin = serializers.CharField(
        required=False,
        allow_null=True,
        allow_blank=True,
        max_length=20,
        help_text="GTIN-8, UPC-A, EAN-13 or GTIN-14; kept as 14 digits.",
    )

    class Meta:
        model = Product
        fields = FACTS


class ProductOut(ProductIn):
    package_name = serializers.CharField(source="package.name")
    currency = serializers.SerializerMethodField()

    class Meta(ProductIn.Meta):
        fields = ("id", *FACTS, "package_name", "currency", "updated_at")

    def get_currency(self, product: Product) -> str:
        return self.context["business"].currency


class ProductFilter(FilterSet):
    search = Text("name", lookup_expr="icontains")
    package = Id()
    gtin = Text("gtin")
    sold = Flag()


class Products(Doors):
    """What is sold."""

    described_by = Product
    filterset_class = ProductFilter

    @gives(ProductOut, paged=True, summary="List products")
    def list(self, request: Request) -> Response:
        rows = Product.objects.select_related("package").order_by("name", "pk")
        return self.page(rows, ProductOut)

    @gives(ProductOut, tagged=True, summary="Look at a product")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(ProductOut, gates.product_for(self.person, pk))

    @writes(ProductIn, ProductOut, status=201, tagged=True, summary="Add a product")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = holdings.save_product(changes=given, actor=self.person, now=self.now)
        return self.created(ProductOut, gates.product_for(self.person, saved.pk))

    @writes(
        ProductIn, ProductOut, partial=True, tagged=True, matched=True, summary="Change a product"
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        product = self.matched(gates.product_for, pk, ProductOut)
        holdings.save_product(product=product, changes=given, actor=self.person, now=self.now)
        return self.answer(ProductOut, gates.product_for(self.person, pk))

    @gives(
        ColumnFitOut,
        many=True,
        query=Search,
        summary="Every column of the fleet and whether the product could go there, best first",
    )
    @action(detail=True, url_path="where-fits")
    def where_fits(self, request: Request, pk: int, asked: dict[str, Any]) -> Response:
        product = gates.product_for(self.person, pk)
        best = fits.where_fits(product, search=asked["search"], limit=asked["limit"])
        return Response(self.shown(ColumnFitOut, best.columns, many=True))
