"""What tickets stand on: the words for faults and causes, and the settings of service work."""

from typing import Any

from django_filters import FilterSet
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Flag
from api.shapes import Money, RowShape
from service.tickets.actions import words
from service.tickets.models import Cause, ServiceSettings, Symptom
from service.tickets.queries import gates


class SymptomChange(RowShape):
    class Meta:
        model = Symptom
        fields = (
            "words",
            "urgency",
            "asks_column",
            "work_minutes",
            "first_checks",
            "cautions",
            "public_words",
            "order",
            "active",
        )


class SymptomIn(SymptomChange):
    class Meta(SymptomChange.Meta):
        fields = ("code", *SymptomChange.Meta.fields)


class SymptomOut(SymptomChange):
    class Meta(SymptomChange.Meta):
        fields = ("id", "code", *SymptomChange.Meta.fields, "updated_at")


class CauseChange(RowShape):
    class Meta:
        model = Cause
        fields = ("words", "nothing_wrong", "order", "active")


class CauseIn(CauseChange):
    class Meta(CauseChange.Meta):
        fields = ("code", *CauseChange.Meta.fields)


class CauseOut(CauseChange):
    class Meta(CauseChange.Meta):
        fields = ("id", "code", *CauseChange.Meta.fields, "updated_at")


class InUse(FilterSet):
    active = Flag()


class Symptoms(Doors):
    """What somebody sees that is wrong, with what to look at first."""

    described_by = Symptom
    filterset_class = InUse

    @gives(SymptomOut, paged=True, summary="List symptoms in the order they are offered")
    def list(self, request: Request) -> Response:
        return self.page(Symptom.objects.order_by("order", "words", "pk"), SymptomOut)

    @gives(SymptomOut, tagged=True, summary="Look at a symptom")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(SymptomOut, gates.symptom_for(self.person, pk))

    @writes(SymptomIn, SymptomOut, status=201, tagged=True, summary="Add a symptom")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = words.save_symptom(changes=given, actor=self.person, now=self.now)
        return self.created(SymptomOut, saved)

    @writes(
        SymptomChange,
        SymptomOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a symptom; its code stays",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        row = self.matched(gates.symptom_for, pk, SymptomOut)
        words.save_symptom(symptom=row, changes=given, actor=self.person, now=self.now)
        return self.answer(SymptomOut, gates.symptom_for(self.person, pk))


class Causes(Doors):
    """What turned out to be behind faults."""

    described_by = Cause
    filterset_class = InUse

    @gives(CauseOut, paged=True, summary="List causes in the order they are offered")
    def list(self, request: Request) -> Response:
        return self.page(Cause.objects.order_by("order", "words", "pk"), CauseOut)

    @gives(CauseOut, tagged=True, summary="Look at a cause")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(CauseOut, gates.cause_for(self.person, pk))

    @writes(CauseIn, CauseOut, status=201, tagged=True, summary="Add a cause")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = words.save_cause(changes=given, actor=self.person, now=self.now)
        return self.created(CauseOut, saved)

    @writes(
        CauseChange,
        CauseOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a cause; its code stays",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        row = self.matched(gates.cause_for, pk, CauseOut)
        words.save_cause(cause=row, changes=given, actor=self.person, now=self.now)
        return self.answer(CauseOut, gates.cause_for(self.person, pk))


MONEY = ("labour_per_hour", "refund_amount_contact", "refund_amount_machine")


class SettingsIn(RowShape):
    labour_per_hour = Money(min_value=0)
    refund_amount_contact = Money(min_value=0)
    refund_amount_machine = Money(min_value=0)

    class Meta:
        model = ServiceSettings
        fields = (
            *MONEY,
            "reopen_days",
            "repeat_days",
            "keep_contact_days",
            "refund_times_contact",
            "refund_times_machine",
            "warn_before_minutes",
        )


class SettingsOut(SettingsIn):
    class Meta(SettingsIn.Meta):
        fields = (*SettingsIn.Meta.fields, "updated_at")


class ServiceSettingsDoors(Doors):
    """Labour, times and limits of service work. One row."""

    described_by = ServiceSettings

    @gives(SettingsOut, tagged=True, summary="Look at the settings of service work")
    def retrieve(self, request: Request) -> Response:
        return self.answer(SettingsOut, gates.settings_for(self.person))

    @writes(
        SettingsIn,
        SettingsOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change the settings of service work",
    )
    def partial_update(self, request: Request, given: dict[str, Any]) -> Response:
        self.matched(_settings, 1, SettingsOut)
        words.save_settings(changes=given, actor=self.person, now=self.now)
        return self.answer(SettingsOut, gates.settings_for(self.person))


def _settings(person: Any, _: int, *, write: bool) -> ServiceSettings:
    return gates.settings_for(person, write=write)
