"""The business's own settings, and the trail of what was done."""

from typing import Any

from django import forms
from django.apps import apps
from django_filters import Filter, FilterSet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Id
from api.shapes import RowShape
from people import queries
from people.actions import business
from people.models import AuditEntry, Business, Person


class BusinessOut(RowShape):
    class Meta:
        model = Business
        fields = (
            "name",
            "units",
            "currency",
            "currency_exponent",
            "time_zone",
            "least_play_mm",
            "most_play_mm",
            "side_clearance_mm",
            "test_vends_asked",
        )


class BusinessSettings(Doors):
    """Name, units, money, and the limits that columns are set by."""

    described_by = Business

    @gives(BusinessOut, tagged=True, summary="Look at the business's settings")
    def retrieve(self, request: Request) -> Response:
        return self.answer(BusinessOut, Business.the())

    @writes(
        BusinessOut,
        BusinessOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change the business's settings",
    )
    def partial_update(self, request: Request, given: dict[str, Any]) -> Response:
        self.matched(_the, 1, BusinessOut)
        changed = business.change(changes=given, actor=self.person, now=self.now)
        return self.answer(BusinessOut, changed)


def _the(person: Person, pk: int, *, write: bool = False) -> Business:
    return Business.the()


@extend_schema_field({"type": ["object", "null"], "additionalProperties": True})
class Values(serializers.JSONField):
    """A row's columns by name."""


class AuditEntryOut(RowShape):
    before = Values()
    after = Values()
    actor_name = serializers.CharField(
        source="actor.name", default=None, allow_null=True, read_only=True
    )

    class Meta:
        model = AuditEntry
        fields = (
            "id",
            "at",
            "actor",
            "actor_name",
            "verb",
            "object_type",
            "object_id",
            "object_said",
            "before",
            "after",
            "reason",
            "request_id",
        )


class _KeptField(forms.CharField):
    def clean(self, value: Any) -> str:
        label = super().clean(value)
        try:
            return apps.get_model(label.lower())._meta.label if label else ""
        except (LookupError, ValueError) as error:
            raise forms.ValidationError(
                f"{label}: unknown; `object_type` of an entry has them, as in machines.Changeover"
            ) from error


@extend_schema_field(
    {"type": "string", "description": "What the row is, as entries have it: machines.Changeover."}
)
class Kept(Filter):
    """A kind of row that the trail can speak of, whatever its capitals."""

    field_class = _KeptField


class EntryFilter(FilterSet):
    object_type = Kept(max_length=60)
    object_id = Id()
    actor = Id()


class AuditEntries(Doors):
    """Who did what to which row, when, with the values before and after; latest first."""

    described_by = AuditEntry
    filterset_class = EntryFilter

    @gives(AuditEntryOut, paged=True, summary="Read the audit trail")
    def list(self, request: Request) -> Response:
        return self.page(queries.entries_seen_by(self.person), AuditEntryOut)
