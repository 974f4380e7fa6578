"""Calorie signs, access and energy of machines."""

from typing import Any

from django_filters import FilterSet
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Flag, Id, Moment
from api.pagination import CursorPagination
from fleet.machines.models import Machine
from people.models import Person
from service.compliance.actions import measured
from service.compliance.actions.measured import PartMeasured
from service.compliance.models import AccessCheck, EnergyReading, LabelSettings
from service.compliance.queries import gates, labels
from service.compliance.queries import measured as queries

from . import measured_shapes as shapes


class LabelSettingsDoors(Doors):
    """Whether calories must be shown, and what signs say of the operator. One row."""

    described_by = LabelSettings

    @property
    def shown_with(self) -> dict[str, Any]:
        """Its shape needs to know whether calories must be shown."""
        return {**super().shown_with, "coverage": labels.covered_now()}

    @gives(shapes.LabelSettingsOut, tagged=True, summary="Look at whether calories must be shown")
    def retrieve(self, request: Request) -> Response:
        return self.answer(shapes.LabelSettingsOut, LabelSettings.the())

    @writes(
        shapes.LabelSettingsIn,
        shapes.LabelSettingsOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Say whether calories are registered by choice, and whom signs name",
    )
    def partial_update(self, request: Request, given: dict[str, Any]) -> Response:
        self.matched(_settings, 1, shapes.LabelSettingsOut)
        measured.save_label_settings(changes=given, actor=self.person, now=self.now)
        return self.answer(shapes.LabelSettingsOut, LabelSettings.the())


class SignFilter(FilterSet):
    machine = Id("pk")
    kind = Id()


class CalorieSigns(Doors):
    """What each machine's calorie sign says now."""

    described_by = Machine
    filterset_class = SignFilter

    @gives(shapes.SignOut, paged=True, summary="List the calorie signs of machines in service")
    def list(self, request: Request) -> Response:
        rows = Machine.objects.filter(status=Machine.Status.IN_SERVICE).order_by("asset_tag", "pk")
        pages = CursorPagination()
        page = pages.paginate_queryset(self.narrowed(rows, "limit", "cursor"), request, view=self)
        keys = [one.pk for one in page or ()]
        found = {one.machine.pk: one for one in labels.sheets_now(keys)}
        sheets = [found[key] for key in keys]
        return pages.get_paginated_response(self.shown(shapes.SignOut, sheets, many=True))

    @gives(shapes.SignOut, summary="Look at what a machine's calorie sign says now")
    def retrieve(self, request: Request, pk: int) -> Response:
        return Response(self.shown(shapes.SignOut, labels.sheet_for(self.person, pk)))


class AccessFilter(FilterSet):
    machine = Id("placement__machine")
    site = Id("placement__site")
    set_aside = Flag(method="aside")
    since = Moment("measured_at")
    until = Moment("measured_at", lookup_expr="lt")

    def aside(self, rows: Any, name: str, value: bool) -> Any:
        return rows.filter(set_aside_at__isnull=not value)


class AccessChecks(Doors):
    """Heights and forces measured at machines, beside what the standard allows."""

    described_by = AccessCheck
    filterset_class = AccessFilter

    @gives(shapes.AccessCheckOut, paged=True, summary="List access checks, the latest first")
    def list(self, request: Request) -> Response:
        rows = queries.checks_whole().order_by("-measured_at", "-pk")
        return self.page(rows, shapes.AccessCheckOut)

    @gives(shapes.AccessCheckOut, tagged=True, summary="Look at an access check")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.AccessCheckOut, gates.access_check_for(self.person, pk))

    @writes(
        shapes.AccessCheckIn,
        shapes.AccessCheckOut,
        status=201,
        tagged=True,
        key="required",
        summary="Write down heights and forces of a machine where it stood",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        parts = [PartMeasured(**one) for one in given.pop("parts")]
        row = measured.measure_access(parts=parts, actor=self.person, now=self.now, **given)
        return self.created(shapes.AccessCheckOut, gates.access_check_for(self.person, row.pk))

    @writes(
        shapes.TakenBackIn,
        shapes.AccessCheckOut,
        tagged=True,
        summary="Take back what was measured by mistake",
    )
    @action(detail=True, methods=["post"], url_path="set-aside", url_name="set-aside")
    def set_aside(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.access_check_for(self.person, pk)
        measured.set_aside(row=found, actor=self.person, now=self.now, **given)
        return self.answer(shapes.AccessCheckOut, gates.access_check_for(self.person, pk))


class EnergyFilter(FilterSet):
    machine = Id()
    kind = Id("machine__kind")
    set_aside = Flag(method="aside")
    since = Moment("ends_at")
    until = Moment("ends_at", lookup_expr="lt")

    def aside(self, rows: Any, name: str, value: bool) -> Any:
        return rows.filter(set_aside_at__isnull=not value)


class EnergyReadings(Doors):
    """What machines used, beside what they may use a day."""

    described_by = EnergyReading
    filterset_class = EnergyFilter

    @gives(shapes.EnergyReadingOut, paged=True, summary="List energy readings, the latest first")
    def list(self, request: Request) -> Response:
        rows = queries.readings_whole().order_by("-ends_at", "-pk")
        return self.page(rows, shapes.EnergyReadingOut)

    @gives(shapes.EnergyReadingOut, tagged=True, summary="Look at an energy reading")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.EnergyReadingOut, gates.energy_reading_for(self.person, pk))

    @writes(
        shapes.EnergyReadingIn,
        shapes.EnergyReadingOut,
        status=201,
        tagged=True,
        key="required",
        summary="Write down what a machine used",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        row = measured.measure_energy(actor=self.person, now=self.now, **given)
        return self.created(shapes.EnergyReadingOut, gates.energy_reading_for(self.person, row.pk))

    @writes(
        shapes.TakenBackIn,
        shapes.EnergyReadingOut,
        tagged=True,
        summary="Take back what was told by mistake",
    )
    @action(detail=True, methods=["post"], url_path="set-aside", url_name="set-aside")
    def set_aside(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.energy_reading_for(self.person, pk)
        measured.set_aside(row=found, actor=self.person, now=self.now, **given)
        return self.answer(shapes.EnergyReadingOut, gates.energy_reading_for(self.person, pk))


def _settings(person: Person, _: int, *, write: bool) -> LabelSettings:
    return LabelSettings.the()
