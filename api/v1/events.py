"""What machines report, in plain words, and what the business says that a code means."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, nothing, writes
from api.filters import Flag, Id, Text
from api.shapes import MachineTime, Ref, RowShape
from fleet.machines.models import Kind
from fleet.sales.actions import meanings
from fleet.sales.models import EventMeaning, EventOccurrence, MachineEvent
from fleet.sales.queries import events, gates


class EventOut(serializers.Serializer):
    id = serializers.IntegerField(source="event.pk")
    machine = serializers.IntegerField(source="event.machine_id")
    asset_tag = serializers.CharField(source="event.machine.asset_tag")
    code = serializers.CharField(source="event.code")
    base = serializers.CharField(source="event.base")
    qualifier = serializers.CharField(source="event.qualifier")
    said = serializers.CharField()
    about = serializers.CharField(source="meaning.about")
    urgency = serializers.CharField(source="meaning.urgency")
    job = serializers.CharField(source="meaning.job")
    meaning_known = serializers.BooleanField(source="meaning.known")
    is_active = serializers.BooleanField(source="event.is_active")
    active_since_read = serializers.IntegerField(source="event.active_since_id", allow_null=True)
    count_ever = serializers.IntegerField(source="event.count_ever", allow_null=True)
    total_minutes = serializers.IntegerField(source="event.total_minutes", allow_null=True)
    last_text = serializers.CharField(source="event.last_text")
    last_at = MachineTime(source="event.last_at")
    last_read = serializers.IntegerField(source="event.last_read_id")


class OccurrenceOut(RowShape):
    happened_at = MachineTime()

    class Meta:
        model = EventOccurrence
        fields = (
            "id",
            "machine",
            "code",
            "base",
            "qualifier",
            "happened_text",
            "happened_at",
            "minutes",
            "user",
            "read",
        )


class MeaningIn(RowShape):
    kind = Ref(
        queryset=Kind.objects.all(),
        required=False,
        allow_null=True,
        help_text="Null: every kind without a meaning of its own.",
    )

    class Meta:
        model = EventMeaning
        fields = ("base", "kind", "group", "about", "words", "urgency", "job")
        extra_kwargs = {"group": {"required": False}, "about": {"required": False}}


class MeaningOut(RowShape):
    class Meta:
        model = EventMeaning
        fields = ("id", *MeaningIn.Meta.fields, "updated_at")


class EventFilter(FilterSet):
    machine = Id()
    is_active = Flag()
    base = Text("base", lookup_expr="exact")


class OccurrenceFilter(FilterSet):
    machine = Id()
    base = Text("base", lookup_expr="exact")


class MeaningFilter(FilterSet):
    base = Text("base", lookup_expr="exact")
    kind = Id()
    search = Text("words", lookup_expr="icontains")


class Events(Doors):
    """Event codes as they stand at each machine's latest read."""

    described_by = MachineEvent
    filterset_class = EventFilter

    @gives(EventOut, paged=True, summary="List what machines report")
    def list(self, request: Request) -> Response:
        book = events.MeaningBook()
        rows = MachineEvent.objects.select_related("machine").order_by(
            "machine__asset_tag", "-is_active", "code", "pk"
        )
        return self.page(
            rows,
            EventOut,
            shaped=lambda event: events.EventSaid(
                event, book.of(event.code, event.base, event.machine.kind_id)
            ),
        )


class EventOccurrences(Doors):
    """What happened when, by the machine's own clock; latest told first."""

    described_by = EventOccurrence
    filterset_class = OccurrenceFilter

    @gives(OccurrenceOut, paged=True, summary="List what happened at machines")
    def list(self, request: Request) -> Response:
        return self.page(EventOccurrence.objects.order_by("-pk"), OccurrenceOut)


class EventMeanings(Doors):
    """Plain words for event codes, with the usual urgency and work; a kind may have its own."""

    described_by = EventMeaning
    filterset_class = MeaningFilter

    @gives(MeaningOut, paged=True, summary="List meanings")
    def list(self, request: Request) -> Response:
        return self.page(EventMeaning.objects.order_by("base", "pk"), MeaningOut)

    @gives(MeaningOut, tagged=True, summary="Look at a meaning")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(MeaningOut, gates.meaning_for(self.person, pk))

    @writes(MeaningIn, MeaningOut, status=201, tagged=True, summary="Add a meaning")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = meanings.save_meaning(changes=given, actor=self.person, now=self.now)
        return self.created(MeaningOut, gates.meaning_for(self.person, saved.pk))

    @writes(
        MeaningIn, MeaningOut, partial=True, tagged=True, matched=True, summary="Change a meaning"
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        meaning = self.matched(gates.meaning_for, pk, MeaningOut)
        meanings.save_meaning(meaning=meaning, changes=given, actor=self.person, now=self.now)
        return self.answer(MeaningOut, gates.meaning_for(self.person, pk))

    @writes(status=204, matched=True, summary="Delete a kind's own meaning")
    def destroy(self, request: Request, pk: int) -> Response:
        meaning = self.matched(gates.meaning_for, pk, MeaningOut)
        meanings.delete_meaning(meaning=meaning, actor=self.person, now=self.now)
        return nothing()
