"""Does it fit, how is it set, and why: the bare question, and what the answers look like."""

from typing import Any

from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.computations import COMPUTATIONS, BadQuestion
from api.doors import Doors, gives, writes
from api.errors import Refused
from api.plain import described
from api.shapes import Choice, Ref, Shape
from fleet.compute.results import Fit, Verdict
from fleet.compute.units import BadMeasure
from fleet.machines.models import Column, Package, Position, Product
from fleet.machines.queries import fits, gates
from people.errors import Unacceptable

FIT = COMPUTATIONS["fit"]
QUESTION = {"application/json": described(FIT.question, asked=True)}
ANSWER = described(FIT.answer)


class Search(Shape):
    search = serializers.CharField(
        required=False,
        default="",
        allow_blank=True,
        max_length=100,
        help_text="Part of the name, or of the asset tag.",
    )
    limit = serializers.IntegerField(required=False, default=200, min_value=1, max_value=2000)


class WhichProduct(Shape):
    product = Ref(queryset=Product.objects.select_related("package"))


class WhichPackage(Shape):
    package = Ref(queryset=Package.objects.all())


class Brief(serializers.Serializer):
    """An answer in one line; the whole answer is given for one column and product."""

    verdict = Choice(choices=[one.value for one in Verdict], source="fit.verdict")
    deep = serializers.IntegerField(source="fit.deep", allow_null=True)
    capacity = serializers.IntegerField(source="fit.capacity.units", default=None, allow_null=True)
    front = serializers.CharField(source="fit.front.said", default=None, allow_null=True)
    rear = serializers.CharField(source="fit.rear.said", default=None, allow_null=True)
    program = serializers.CharField(source="fit.program", allow_null=True)
    to_measure = serializers.ListField(child=serializers.CharField(), source="fit.to_measure")
    because = serializers.SerializerMethodField(help_text="The reasons, then the cautions.")

    def get_because(self, answer: Any) -> list[str]:
        return [one.text for one in (*answer.fit.reasons, *answer.fit.cautions)]


class ProductFitOut(Brief):
    product = serializers.IntegerField(source="product.pk")
    product_name = serializers.CharField(source="product.name")
    package = serializers.IntegerField(source="product.package_id")


class ColumnFitOut(Brief):
    column = serializers.IntegerField(source="column.pk")
    machine = serializers.IntegerField(source="column.machine_id")
    asset_tag = serializers.CharField(source="column.machine.asset_tag")
    position = serializers.CharField(source="column.position.label")
    selection = serializers.CharField(source="column.selection.code", default=None, allow_null=True)
    holds_now = serializers.CharField(source="set_up.product.name", default=None, allow_null=True)


class Fits(Doors):
    """The bare question: position and package in, the whole answer out; nothing is kept."""

    @writes(
        None,
        ANSWER,
        key="none",
        atomic=False,
        described=QUESTION,
        summary="Ask whether a package fits",
    )
    def create(self, request: Request) -> Response:
        try:
            answer = FIT.ask(request._request.body)
        except BadQuestion as error:
            places = [
                {"pointer": one.pointer, "detail": one.detail, "code": one.code}
                for one in error.faults
            ]
            malformed = any(one.code == "json_invalid" for one in error.faults)
            if malformed:
                raise Refused(400, str(error), code="malformed", errors=places) from error
            raise Refused(422, str(error), errors=places) from error
        return Response(FIT.plain(answer))


class Positions(Doors):
    """A column's place in a kind; kinds hold them, and this asks about one."""

    described_by = Position

    @gives(ANSWER, query=WhichPackage, summary="Whether a package fits a position, and why")
    @action(detail=True)
    def fit(self, request: Request, pk: int, asked: dict[str, Any]) -> Response:
        position = gates.position_for(self.person, pk)
        return Response(FIT.plain(fit_or_say(position, asked["package"])))


def fit_of(column: Column, product: Product) -> Any:
    """The answer for a product in a column, as JSON holds it."""
    return FIT.plain(fit_or_say(column.position, product.package))


def fit_or_say(position: Position, package: Package) -> Fit:
    """The answer, or what is wrong with the sizes that are kept."""
    try:
        return fits.fit_for(position, package)
    except BadMeasure as error:
        raise Unacceptable(str(error), code="bad_measure") from error
