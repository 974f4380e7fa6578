"""Webhooks: who outside hears of tickets, and what became of each message."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Id, Word
from api.shapes import RowShape, Shape
from service.tickets.actions import webhooks
from service.tickets.models import WebhookDelivery, WebhookTarget
from service.tickets.queries import outgoing


class TargetIn(RowShape):
    url = serializers.CharField(max_length=500, help_text="Starts with https://.")
    events = serializers.ListField(
        child=serializers.ChoiceField(choices=WebhookTarget.Event.choices),
        min_length=1,
        max_length=len(WebhookTarget.Event),
    )

    class Meta:
        model = WebhookTarget
        fields = ("name", "url", "events", "active")


class TargetOut(RowShape):
    events = serializers.ListField(child=serializers.CharField())

    class Meta:
        model = WebhookTarget
        fields = (
            "id",
            "name",
            "url",
            "events",
            "active",
            "stopped_because",
            "old_secret_until",
            "created_at",
            "created_by",
            "updated_at",
        )


class TargetWithSecret(TargetOut):
    secret = serializers.CharField(help_text="Shown this once, to be put where the messages go.")

    class Meta(TargetOut.Meta):
        fields = (*TargetOut.Meta.fields, "secret")


def with_secret(doors: Doors, target: WebhookTarget, status: int) -> Response:
    response = Response(doors.shown(TargetWithSecret, target), status=status)
    response["Cache-Control"] = "no-store"
    return response


class Webhooks(Doors):
    """Addresses outside that hear of tickets, signed by the Standard Webhooks specification."""

    described_by = WebhookTarget

    @gives(TargetOut, paged=True, summary="List who hears of tickets")
    def list(self, request: Request) -> Response:
        return self.page(outgoing.targets(), TargetOut)

    @gives(TargetOut, tagged=True, summary="Look at who hears of tickets")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(TargetOut, outgoing.target_for(self.person, pk))

    @writes(
        TargetIn, TargetWithSecret, status=201, key="none", summary="Let an address hear of tickets"
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = webhooks.save_target(changes=given, actor=self.person, now=self.now)
        return with_secret(self, saved, 201)

    @writes(
        TargetIn, TargetOut, partial=True, tagged=True, matched=True, summary="Change what it hears"
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        target = self.matched(outgoing.target_for, pk, TargetOut)
        webhooks.save_target(target=target, changes=given, actor=self.person, now=self.now)
        return self.answer(TargetOut, outgoing.target_for(self.person, pk))

    @writes(
        None,
        TargetWithSecret,
        key="none",
        summary="Give it a new secret; the old one goes on a day",
    )
    @action(detail=True, methods=["post"], url_path="renew-secret")
    def renew_secret(self, request: Request, pk: int) -> Response:
        target = outgoing.target_for(self.person, pk, write=True)
        renewed = webhooks.renew_secret(target=target, actor=self.person, now=self.now)
        return with_secret(self, renewed, 200)


class Attempt(Shape):
    at = serializers.DateTimeField()
    status = serializers.IntegerField(allow_null=True, help_text="Null: nothing came back.")
    said = serializers.CharField(help_text="The beginning of what came back, or why nothing did.")
    took_ms = serializers.IntegerField()


class DeliveryOut(RowShape):
    attempts = Attempt(many=True)

    class Meta:
        model = WebhookDelivery
        fields = (
            "id",
            "target",
            "message",
            "event",
            "body",
            "made_at",
            "state",
            "next_at",
            "tries",
            "attempts",
            "ended_at",
        )


class DeliveryFilter(FilterSet):
    target = Id()
    state = Word(of=WebhookDelivery.State)
    event = Word(of=WebhookTarget.Event)


class WebhookDeliveries(Doors):
    """Each message with every try to send it."""

    described_by = WebhookDelivery
    filterset_class = DeliveryFilter

    @gives(DeliveryOut, paged=True, summary="List messages, latest first")
    def list(self, request: Request) -> Response:
        return self.page(outgoing.deliveries(), DeliveryOut)

    @gives(DeliveryOut, tagged=True, summary="Look at a message")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(DeliveryOut, outgoing.delivery_for(self.person, pk))

    @writes(None, DeliveryOut, tagged=True, summary="Send a message that was given up once more")
    @action(detail=True, methods=["post"], url_path="send-again")
    def send_again(self, request: Request, pk: int) -> Response:
        delivery = outgoing.delivery_for(self.person, pk, write=True)
        webhooks.try_again(delivery=delivery, actor=self.person, now=self.now)
        return self.answer(DeliveryOut, outgoing.delivery_for(self.person, pk))
