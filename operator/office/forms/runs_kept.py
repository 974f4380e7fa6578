"""What runs stand on: depots, vehicles, drivers, days off, agreements, assumptions."""

from types import SimpleNamespace
from typing import Any

from django import forms

from fleet.machines.models import Machine, Site
from people.models import Person
from people.roles import Role
from service.runs.models import (
    Depot,
    DriverProfile,
    RunAssumptions,
    ServiceAgreement,
    Vehicle,
)

from . import hours
from .base import RowForm
from .changeovers import DayInput


def only(form: forms.Form, field: str, rows: Any) -> None:
    """Let a field offer these rows alone."""
    form.fields[field].queryset = rows  # type: ignore[attr-defined]


class DepotForm(RowForm):
    model = Depot
    columns = ("site", "loading_minutes", "unloading_minutes", "active")
    labels = {"active": "Runs leave from here"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        only(self, "site", Site.objects.filter(purpose=Site.Purpose.WAREHOUSE).order_by("name"))


class VehicleForm(RowForm):
    model = Vehicle
    columns = ("name", "depot", "volume_l", "weight_kg", "cases", "active")
    labels = {
        "volume_l": "Load space (l)",
        "weight_kg": "Payload (kg)",
        "cases": "Cases",
        "active": "In use",
    }


class DriverForm(RowForm):
    model = DriverProfile
    columns = ("person", "depot", "vehicle", "skills", "active")
    labels = {
        "skills": "Skills, with commas",
        "vehicle": "Usual vehicle",
        "active": "Is planned for",
    }

    def __init__(self, *args: Any, row: DriverProfile | None = None, **kwargs: Any) -> None:
        shifts = hours.said(_as_windows(row)) if row is not None else ""
        kwargs["initial"] = {"shifts": shifts, **kwargs.get("initial", {})}
        super().__init__(*args, row=row, **kwargs)
        only(self, "person", Person.objects.filter(is_active=True, roles__contains=[Role.DRIVER]))
        self.fields["shifts"] = forms.CharField(
            label="Shifts",
            required=False,
            widget=forms.Textarea(attrs={"rows": 3}),
            help_text="A line for each: Mon-Fri 7:00-15:30, where the depot is.",
        )

    def clean_shifts(self) -> list[dict[str, Any]]:
        try:
            found = hours.windows_of(self.cleaned_data["shifts"])
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error
        return [
            {"weekday": one["weekday"], "starts": one["opens"], "ends": one["closes"]}
            for one in found
        ]


def _as_windows(profile: DriverProfile) -> Any:
    return [
        SimpleNamespace(weekday=one.weekday, opens=one.starts, closes=one.ends)
        for one in profile.shifts.all()
    ]


class AgreementForm(RowForm):
    model = ServiceAgreement
    columns = ("machine", "every_days", "needs_skill", "note")
    labels = {"every_days": "At least every (days)", "needs_skill": "Skill it asks for"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Machine.objects.exclude(status=Machine.Status.RETIRED).order_by("asset_tag", "pk")
        only(self, "machine", rows)


class AssumptionsForm(RowForm):
    model = RunAssumptions
    columns = tuple(
        column.name
        for column in RunAssumptions._meta.concrete_fields
        if column.name not in {"id", "updated_at"}
    )
    labels = {
        "circuity": "Road over great circle",
        "town_speed_kmh": "Speed in town (km/h)",
        "open_road_speed_kmh": "Speed outside (km/h)",
        "town_leg_km": "In town, of each leg (km)",
        "minutes_per_stop": "A stop (minutes)",
        "visit_minutes": "A visit (minutes)",
        "minutes_per_column": "A column (minutes)",
        "visits_to_learn": "Visits to learn from",
        "cost_per_hour": "Cost of an hour",
        "cost_per_km": "Cost of a kilometre",
        "cost_per_run": "Cost of a run",
        "load_service_level": "Enough on the truck",
        "effort": "Rounds of the search",
        "fresh_read_hours": "A read is fresh for (hours)",
        "clock_off_minutes": "A clock is off beyond (minutes)",
        "overtime_minutes": "Overtime (minutes)",
        "holidays_country": "Public holidays of",
        "holidays_part": "and of its part",
    }


class DayOffForm(forms.Form):
    profile = forms.ModelChoiceField(
        DriverProfile.objects.filter(active=True).select_related("person"),
        label="Who",
        required=False,
        empty_label="everybody: the business is closed",
    )
    date = forms.DateField(label="Day", widget=DayInput())
    why = forms.CharField(max_length=120)


class WorkingDayForm(forms.Form):
    date = forms.DateField(label="Public holiday", widget=DayInput())
    why = forms.CharField(max_length=120)
