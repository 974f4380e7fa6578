"""Chart entries: settings known to work, typed from a label or measured by the business."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, nothing, writes
from api.filters import Id, Word
from api.shapes import Ref, RowShape
from fleet.machines.actions import charts
from fleet.machines.models import ChartEntry, Package, Position
from fleet.machines.queries import gates

ENTRY = ("source", "deep", "front_setting", "rear_setting", "note")


class ChartEntryChanges(RowShape):
    class Meta:
        model = ChartEntry
        fields = ENTRY


class ChartEntryIn(ChartEntryChanges):
    position = Ref(queryset=Position.objects.select_related("kind"))
    package = Ref(queryset=Package.objects.all())

    class Meta(ChartEntryChanges.Meta):
        fields = ("position", "package", *ENTRY)


class ChartEntryOut(RowShape):
    kind = serializers.IntegerField(source="position.kind_id")
    position_label = serializers.CharField(source="position.label")
    package_name = serializers.CharField(source="package.name")

    class Meta:
        model = ChartEntry
        fields = ("id", "kind", "position", "position_label", "package", "package_name", *ENTRY)


class EntryFilter(FilterSet):
    kind = Id("position__kind")
    position = Id()
    package = Id()
    source = Word(of=ChartEntry.Source)


class ChartEntries(Doors):
    """What is typed from labels or measured; what changeovers taught is computed, not kept here."""

    described_by = ChartEntry
    filterset_class = EntryFilter

    @gives(ChartEntryOut, paged=True, summary="List chart entries")
    def list(self, request: Request) -> Response:
        rows = ChartEntry.objects.select_related("position", "package").order_by("pk")
        return self.page(rows, ChartEntryOut)

    @gives(ChartEntryOut, tagged=True, summary="Look at a chart entry")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(ChartEntryOut, gates.chart_entry_for(self.person, pk))

    @writes(ChartEntryIn, ChartEntryOut, status=201, tagged=True, summary="Add a chart entry")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = charts.save_chart_entry(
            position=given.pop("position"),
            package=given.pop("package"),
            changes=given,
            actor=self.person,
            now=self.now,
        )
        return self.created(ChartEntryOut, gates.chart_entry_for(self.person, saved.pk))

    @writes(
        ChartEntryChanges,
        ChartEntryOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change an entry",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        entry = self.matched(gates.chart_entry_for, pk, ChartEntryOut)
        charts.save_chart_entry(
            entry=entry,
            position=entry.position,
            package=entry.package,
            changes=given,
            actor=self.person,
            now=self.now,
        )
        return self.answer(ChartEntryOut, gates.chart_entry_for(self.person, pk))

    @writes(status=204, matched=True, summary="Take an entry out of the chart")
    def destroy(self, request: Request, pk: int) -> Response:
        entry = self.matched(gates.chart_entry_for, pk, ChartEntryOut)
        charts.delete_chart_entry(entry=entry, actor=self.person, now=self.now)
        return nothing()
