"""Recalls by lot: where the goods are, who is sent, what was taken out."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Flag, Id
from api.shapes import Moment, Ref, RowShape, Shape
from fleet.inventory.models import Lot, StockPlace
from fleet.machines.models import Machine, Product
from service.compliance.actions import recalls
from service.compliance.models import Evidence, Recall, RecallRemoval
from service.compliance.queries import gates
from service.compliance.queries import recalls as where
from service.runs.models import Run


class RecallIn(RowShape):
    """Without codes and dates everything of the product is called back."""

    product = Ref(queryset=Product.objects.all())

    class Meta:
        model = Recall
        fields = (
            *("product", "lot_codes", "best_before_from", "best_before_until"),
            *("reason", "reference"),
        )


class RecallOut(RowShape):
    product_name = serializers.CharField(source="product.name")

    class Meta:
        model = Recall
        fields = (
            *("id", "product_name", *RecallIn.Meta.fields, "opened_at", "opened_by"),
            *("closed_at", "closed_by", "closed_said", "updated_at"),
        )


class RecallHeldOut(serializers.Serializer):
    place = serializers.IntegerField(source="place.pk")
    place_name = serializers.CharField(source="place.name")
    place_kind = serializers.CharField(source="place.kind")
    machine = serializers.IntegerField(source="machine.pk", default=None, allow_null=True)
    lot = serializers.IntegerField(source="lot.pk", default=None, allow_null=True)
    quantity = serializers.IntegerField()
    called = serializers.CharField(
        source="called.value", help_text="yes, or perhaps: its lot is not known."
    )


class RecallVisitOut(serializers.Serializer):
    machine = serializers.IntegerField(source="machine.pk")
    asset_tag = serializers.CharField(source="machine.asset_tag")
    certain = serializers.IntegerField(help_text="Units that are called back.")
    perhaps = serializers.IntegerField(help_text="Units of an unknown lot.")
    stop = serializers.IntegerField(source="stop.pk", default=None, allow_null=True)
    is_seen = serializers.BooleanField()


class RecallRemovalOut(RowShape):
    class Meta:
        model = RecallRemoval
        fields = (
            *("id", "place", "quantity", "movement", "evidence", "note"),
            *("happened_at", "at", "by"),
        )


class RecallSoldOut(serializers.Serializer):
    machine = serializers.IntegerField()
    asset_tag = serializers.CharField()
    units = serializers.IntegerField()
    last_at = Moment()


class WhereaboutsOut(serializers.Serializer):
    held = RecallHeldOut(many=True)
    machines = RecallVisitOut(many=True)
    removals = RecallRemovalOut(many=True)
    sold = RecallSoldOut(many=True, help_text="As far as lots are known.")


class SendForRecallIn(Shape):
    """Either a day or a run."""

    machines = Ref(queryset=Machine.objects.select_related("kind"), many=True)
    day = serializers.DateField(required=False, allow_null=True, default=None)
    run = Ref(queryset=Run.objects.all(), required=False, allow_null=True, default=None)


class NotSentOut(serializers.Serializer):
    machine = serializers.IntegerField(source="machine.pk")
    why = serializers.CharField()


class SentForRecallOut(serializers.Serializer):
    stops = serializers.SerializerMethodField()
    not_sent = NotSentOut(many=True)

    def get_stops(self, sent: recalls.Sent) -> list[int]:
        return [stop.pk for stop in sent.stops]


class RecallRemovalIn(Shape):
    place = Ref(queryset=StockPlace.objects.select_related("column"))
    quantity = serializers.IntegerField(min_value=0, help_text="0: looked, none was there.")
    lot = Ref(
        queryset=Lot.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="As printed on it.",
    )
    at = Moment()
    evidence = Ref(
        queryset=Evidence.objects.defer("raw"), required=False, allow_null=True, default=None
    )
    note = serializers.CharField(max_length=300, required=False, default="", allow_blank=True)


class CloseRecallIn(Shape):
    said = serializers.CharField(max_length=300)
    despite = serializers.BooleanField(
        default=False, help_text="It ends although some is left, or nobody looked."
    )


class RecallFilter(FilterSet):
    product = Id()
    open = Flag("closed_at", lookup_expr="isnull")


class Recalls(Doors):
    """Products and lots that are called back."""

    described_by = Recall
    filterset_class = RecallFilter

    @gives(RecallOut, paged=True, summary="List recalls, the latest first")
    def list(self, request: Request) -> Response:
        return self.page(where.recalls_whole().order_by("-opened_at", "-pk"), RecallOut)

    @gives(RecallOut, tagged=True, summary="Look at a recall")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(RecallOut, gates.recall_for(self.person, pk))

    @writes(RecallIn, RecallOut, status=201, tagged=True, key="required", summary="Open a recall")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = recalls.save(changes=given, actor=self.person, now=self.now)
        return self.created(RecallOut, gates.recall_for(self.person, saved.pk))

    @writes(
        RecallIn,
        RecallOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change an open recall",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        recall = self.matched(gates.recall_for, pk, RecallOut)
        recalls.save(recall=recall, changes=given, actor=self.person, now=self.now)
        return self.answer(RecallOut, gates.recall_for(self.person, pk))

    @gives(WhereaboutsOut, summary="Where the goods are, who goes there, what was taken out")
    @action(detail=True)
    def whereabouts(self, request: Request, pk: int) -> Response:
        found = gates.recall_for(self.person, pk)
        held = where.held(found)
        told = {
            "held": held,
            "machines": where.to_visit(found, held),
            "removals": where.removals_of(found),
            "sold": where.sold_from(found),
        }
        return Response(self.shown(WhereaboutsOut, told))

    @writes(
        SendForRecallIn,
        SentForRecallOut,
        key="required",
        summary="Make machines stops that have to be gone to",
    )
    @action(detail=True, methods=["post"])
    def send(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.recall_for(self.person, pk, write=True)
        sent = recalls.send(recall=found, actor=self.person, now=self.now, **given)
        return Response(self.shown(SentForRecallOut, sent))

    @writes(
        RecallRemovalIn,
        RecallRemovalOut,
        status=201,
        key="required",
        summary="Write down what was found at a place and taken out; it is booked as waste",
    )
    @action(detail=True, methods=["post"])
    def removals(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.recall_for(self.person, pk)
        proof = given.pop("evidence")
        line = recalls.remove(recall=found, file=proof, actor=self.person, now=self.now, **given)
        return Response(self.shown(RecallRemovalOut, line), status=201)

    @writes(CloseRecallIn, RecallOut, tagged=True, summary="End a recall")
    @action(detail=True, methods=["post"])
    def close(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.recall_for(self.person, pk, write=True)
        recalls.close(recall=found, actor=self.person, now=self.now, **given)
        return self.answer(RecallOut, gates.recall_for(self.person, pk))
