"""What runs stand on, as plain forms: depots, vehicles, drivers, days off, agreements."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from office.doors import PersonRequest, sent, tried
from office.forms.base import RowForm
from office.forms.runs_kept import (
    AgreementForm,
    AssumptionsForm,
    DayOffForm,
    DepotForm,
    DriverForm,
    VehicleForm,
    WorkingDayForm,
)
from people import audit
from people.models import Business
from people.rows import Row
from service.runs.actions import keeping
from service.runs.models import (
    DayOff,
    Depot,
    DriverProfile,
    RunAssumptions,
    ServiceAgreement,
    Vehicle,
    WorkingDay,
)
from service.runs.queries import gates

from .runs import today

BEHIND = timedelta(days=31)
AGREEMENTS_SHOWN = 300


@dataclass(frozen=True)
class Kept:
    """One kind of row: its words, form, gatekeeper and action."""

    noun: str
    form: type[RowForm]
    gate: Callable[..., Any]
    save: Callable[..., Any]
    argument: str
    note: str = ""


DEPOT = Kept(
    "depot", DepotForm, gates.depot_for, keeping.save_depot, "depot",
    "A warehouse of ours, with coordinates, from which runs leave.",
)  # fmt: skip
VEHICLE = Kept(
    "vehicle", VehicleForm, gates.vehicle_for, keeping.save_vehicle, "vehicle",
    "Each is a place of the stock too. What is left empty is no limit; the plate on the door "
    "frame and the maker's handbook say what it may carry.",
)  # fmt: skip
DRIVER = Kept(
    "driver", DriverForm, gates.driver_for, keeping.save_driver, "profile",
    "Nothing is planned for a driver without shifts or without a vehicle.",
)  # fmt: skip
AGREEMENT = Kept(
    "agreement", AgreementForm, gates.agreement_for, keeping.save_agreement, "agreement",
    "The machine is visited at least so often, whatever it sells.",
)  # fmt: skip


def listing(request: PersonRequest) -> HttpResponse:
    """All that planning stands on."""
    return _listing(request, DayOffForm(prefix="off"), WorkingDayForm(prefix="work"))


def _listing(request: PersonRequest, off: DayOffForm, work: WorkingDayForm) -> HttpResponse:
    since = today() - BEHIND
    agreements = ServiceAgreement.objects.select_related("machine")
    context = {
        "depots": Depot.objects.select_related("site"),
        "vehicles": Vehicle.objects.select_related("depot__site", "truck"),
        "drivers": DriverProfile.objects.select_related(
            "person", "depot__site", "vehicle"
        ).prefetch_related("shifts"),
        "days_off": DayOff.objects.filter(date__gte=since).select_related("profile__person"),
        "working_days": WorkingDay.objects.filter(date__gte=since),
        "agreements": agreements[:AGREEMENTS_SHOWN],
        "off_form": off,
        "work_form": work,
    }
    return render(request, "office/runs/kept.html", context, status=sent(off, work))


def edit_depot(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    return _edit(request, DEPOT, pk)


def edit_vehicle(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    return _edit(request, VEHICLE, pk)


def edit_driver(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    return _edit(request, DRIVER, pk)


def edit_agreement(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    return _edit(request, AGREEMENT, pk)


def remove_agreement(request: PersonRequest, pk: int) -> HttpResponse:
    found = gates.agreement_for(request.user, pk, write=True)
    keeping.remove_agreement(agreement=found, actor=request.user, now=timezone.now())
    messages.success(request, f"{found.machine}: no agreement holds any more.")
    return redirect("office:runs-kept")


def assumptions(request: PersonRequest) -> HttpResponse:
    """What planning assumes where nothing is measured."""
    row = gates.assumptions_for(request.user, RunAssumptions.the().pk, write=True)
    form = AssumptionsForm(request.POST or None, units=Business.the().units, row=row)
    if request.method == "POST" and form.is_valid():
        given = {"changes": form.changes(), "actor": request.user, "now": timezone.now()}
        if tried(form, keeping.save_assumptions, **given):
            messages.success(request, "Kept; the next plan goes by them.")
            return redirect("office:run-assumptions")
    noun = "what planning assumes"
    return _form(request, form, row, noun, "Times driven and times of visits are learned.")


def add_day_off(request: PersonRequest) -> HttpResponse:
    form = DayOffForm(request.POST, prefix="off")
    given = {"actor": request.user, "now": timezone.now()}
    if form.is_valid() and tried(form, keeping.add_day_off, **form.cleaned_data, **given):
        messages.success(request, "The day off is kept; plans made from now on go by it.")
        return redirect("office:runs-kept")
    return _listing(request, form, WorkingDayForm(prefix="work"))


def remove_day_off(request: PersonRequest, pk: int) -> HttpResponse:
    found = gates.day_off_for(request.user, pk, write=True)
    keeping.remove_day_off(day_off=found, actor=request.user, now=timezone.now())
    messages.success(request, f"{found.date}: a day like others again.")
    return redirect("office:runs-kept")


def add_working_day(request: PersonRequest) -> HttpResponse:
    form = WorkingDayForm(request.POST, prefix="work")
    given = {"actor": request.user, "now": timezone.now()}
    if form.is_valid() and tried(form, keeping.work_on, **form.cleaned_data, **given):
        messages.success(request, "The business works on that holiday.")
        return redirect("office:runs-kept")
    return _listing(request, DayOffForm(prefix="off"), form)


def remove_working_day(request: PersonRequest, pk: int) -> HttpResponse:
    found = gates.working_day_for(request.user, pk, write=True)
    keeping.do_not_work_on(working_day=found, actor=request.user, now=timezone.now())
    messages.success(request, f"{found.date}: a holiday like others again.")
    return redirect("office:runs-kept")


def _edit(request: PersonRequest, kept: Kept, pk: int | None) -> HttpResponse:
    row = kept.gate(request.user, pk, write=True) if pk else None
    form = kept.form(request.POST or None, units=Business.the().units, row=row)
    if request.method == "POST" and form.is_valid():
        given: dict[str, Any] = {kept.argument: row, "changes": form.changes()}
        if "shifts" in form.fields:
            given["shifts"] = form.cleaned_data["shifts"]
        saved = tried(form, kept.save, **given, actor=request.user, now=timezone.now())
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:runs-kept")
    return _form(request, form, row, kept.noun, kept.note)


def _form(
    request: PersonRequest, form: RowForm, row: Row | None, noun: str, note: str
) -> HttpResponse:
    context = {
        "form": form,
        "row": row,
        "noun": noun,
        "note": note,
        "entries": audit.entries_of(row)[:20] if row is not None else (),
    }
    return render(request, "office/runs/keep.html", context, status=sent(form))
