"""What a driver's day answers, and a queue of acts with an answer for each."""

from typing import Any

from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema_field
from rest_framework import serializers

from api.shapes import Choice, Moment, Shape
from service.runs.models import RoadAct
from service.tickets.models import Ticket, TicketAct

from .road_shapes import MOST_LINES, ActOut, FlagOut
from .road_sheets import RunSheetOut
from .tickets_shapes import TicketOut

# A queue carries no pictures: they go to the ticket's own address.
TICKET_VERBS = [one for one in TicketAct.Verb.choices if one[0] != TicketAct.Verb.PHOTO]


class DayOut(serializers.Serializer):
    date = serializers.DateField()
    runs = RunSheetOut(many=True)
    tickets = TicketOut(many=True, help_text="As `/road/tickets` gives them.")


@extend_schema_field(
    {"type": "object", "description": "The body that the act's own address takes."}
)
class AnyBody(serializers.Field):
    """An object, judged by the shape of the verb it comes with."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if not isinstance(data, dict):
            raise serializers.ValidationError("give an object with named members")
        return data

    def to_representation(self, value: Any) -> Any:
        return value


class RoadItemIn(Shape):
    """One act of a queue. Name its stop, or its run for pick, start and end; the ticket of an act
    on one, and the machine that a fault is reported of."""

    key = serializers.CharField(max_length=200, help_text="The act's own Idempotency-Key.")
    verb = Choice(choices=[*RoadAct.Verb.choices, *TICKET_VERBS])
    run = serializers.IntegerField(required=False, allow_null=True, default=None, min_value=1)
    stop = serializers.IntegerField(required=False, allow_null=True, default=None, min_value=1)
    ticket = serializers.IntegerField(required=False, allow_null=True, default=None, min_value=1)
    machine = serializers.IntegerField(required=False, allow_null=True, default=None, min_value=1)
    body = AnyBody()


class BatchIn(Shape):
    acts = RoadItemIn(many=True, max_length=MOST_LINES, allow_empty=False)


class ToldOfOut(serializers.Serializer):
    id = serializers.IntegerField()
    reference = serializers.CharField()
    machine = serializers.IntegerField()
    asset_tag = serializers.CharField()
    symptom = serializers.IntegerField()
    symptom_words = serializers.CharField()
    state = Choice(choices=Ticket.State.choices)
    given_to = serializers.IntegerField(allow_null=True)
    promised_at = Moment(allow_null=True)
    version = serializers.IntegerField()


class TicketActOut(serializers.Serializer):
    """How the ticket stood once the act was done; the same whenever its key is sent again."""

    verb = Choice(choices=TicketAct.Verb.choices)
    at = Moment()
    recorded_at = Moment()
    clock_off_s = serializers.IntegerField(allow_null=True)
    flags = FlagOut(many=True)
    ticket = ToldOfOut()


class RoadItemOut(serializers.Serializer):
    key = serializers.CharField()
    status = serializers.IntegerField(help_text="As the act's own address would answer.")
    replayed = serializers.BooleanField(help_text="It had been done before.")
    result = serializers.SerializerMethodField(
        required=False, help_text="What it did; left out when it was refused."
    )
    problem = serializers.DictField(
        required=False, help_text="Why it was refused (the Problem of every refusal)."
    )

    @extend_schema_field(
        PolymorphicProxySerializer(
            component_name="RoadResult",
            serializers=[ActOut, TicketActOut],
            resource_type_field_name=None,
        )
    )
    def get_result(self, item: dict[str, Any]) -> Any:
        return item["result"]


class BatchOut(serializers.Serializer):
    answers = RoadItemOut(many=True, help_text="One for each act, in their order.")
