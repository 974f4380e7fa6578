"""Compliance of machines as they stand: calorie signs, access, energy."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.models import Machine
from fleet.machines.queries.gates import machine_for
from office.doors import PersonRequest, sent, tried
from office.drawing.energy import Bar, use_drawn
from office.forms.measured import AccessForm, EnergyForm, LabelSettingsForm
from people import audit
from people.models import Business
from people.papers import as_pdf
from service.compliance.actions import measured
from service.compliance.label_papers import signs
from service.compliance.models import AccessCheck, EnergyReading, LabelSettings
from service.compliance.queries import gates
from service.compliance.queries import labels as label_queries
from service.compliance.queries import measured as queries

SHOWN = 24


def labels(request: PersonRequest) -> HttpResponse:
    """Whether calories must be shown, and the signs of machines that hide the package."""
    return _labels(request, LabelSettingsForm(units=Business.the().units, row=LabelSettings.the()))


def keep_labels(request: PersonRequest) -> HttpResponse:
    """Keep whether the operator is registered, and whom signs name."""
    row = LabelSettings.the()
    form = LabelSettingsForm(request.POST, units=Business.the().units, row=row)
    if form.is_valid() and tried(
        form,
        measured.save_label_settings,
        changes=form.changes(),
        actor=request.user,
        now=timezone.now(),
    ):
        messages.success(request, "Kept.")
        return redirect("office:compliance-labels")
    return _labels(request, form)


def _labels(request: PersonRequest, form: LabelSettingsForm) -> HttpResponse:
    covered = label_queries.covered_now()
    sheets = label_queries.sheets_now(covered=covered)
    settings = LabelSettings.the()
    until = settings.registered_until if settings.registered else None
    today = timezone.localdate(timezone.now(), Business.the().time_zone)
    context = {
        "covered": covered,
        "settings": settings,
        "lapsed": until if until is not None and until < today else None,
        "sheets": sheets,
        "missing": len({one.pk for sheet in sheets for one in sheet.missing}),
        "form": form,
        "entries": audit.entries_of(LabelSettings.the())[:SHOWN],
    }
    return render(request, "office/measured/labels.html", context, status=sent(form))


def signs_page(request: PersonRequest) -> HttpResponse:
    """Signs to print: of one machine, or of all whose front hides the package."""
    sheets = label_queries.sheets_now(_machines(request))
    context = {"sheets": sheets, "settings": LabelSettings.the()}
    return render(request, "office/measured/signs.html", context)


def signs_file(request: PersonRequest) -> HttpResponse:
    """The same as a PDF."""
    sheets = label_queries.sheets_now(_machines(request))
    file = as_pdf(signs(sheets, LabelSettings.the().contact))
    return HttpResponse(file.content, content_type=file.media_type, headers=file.headers)


def _machines(request: PersonRequest) -> list[int] | None:
    """The machine that `?machine=` names, through its gate; None: every one that needs a sign."""
    named = request.GET.get("machine", "")
    if not named.isdecimal():
        return None
    return [machine_for(request.user, int(named)).pk]


def access(request: PersonRequest) -> HttpResponse:
    """Every machine where it stands, and whether people who sit can use it."""
    rows = queries.access_now()
    counts = {"change": 0, "open": 0}
    for one in rows:
        counts["change"] += one.state == "to change"
        counts["open"] += one.state == "not measured"
    return render(request, "office/measured/access.html", {"rows": rows, "counts": counts})


def access_machine(request: PersonRequest, pk: int) -> HttpResponse:
    machine = machine_for(request.user, pk)
    return _access_machine(request, machine, AccessForm(units=Business.the().units))


def measure_access(request: PersonRequest, pk: int) -> HttpResponse:
    """Write heights and forces down."""
    machine = machine_for(request.user, pk)
    now = timezone.now()
    form = AccessForm(request.POST, units=Business.the().units)
    if form.is_valid() and tried(
        form,
        measured.measure_access,
        machine=machine,
        parts=form.parts(),
        approach=form.cleaned_data["approach"],
        measured_at=form.moment("measured_at", now),
        note=form.cleaned_data["note"],
        actor=request.user,
        now=now,
        **form.obstruction(),
    ):
        messages.success(request, f"{machine}: what was measured is written down.")
        return redirect("office:compliance-access-machine", pk)
    return _access_machine(request, machine, form)


def _access_machine(request: PersonRequest, machine: Machine, form: AccessForm) -> HttpResponse:
    checks = queries.checks_whole().filter(placement__machine=machine)[:SHOWN]
    context = {
        "machine": machine,
        "place": machine.placements.filter(ends_at__isnull=True).select_related("site").first(),
        "checks": [(one, queries.reach_of(one)) for one in checks],
        "form": form,
    }
    return render(request, "office/measured/access_machine.html", context, status=sent(form))


def drop_access(request: PersonRequest, pk: int) -> HttpResponse:
    """Take back what was measured by mistake."""
    check = gates.access_check_for(request.user, pk)
    machine = check.placement.machine_id
    _set_aside(request, check)
    return redirect("office:compliance-access-machine", machine)


def energy(request: PersonRequest) -> HttpResponse:
    """Machines that cool, what they may use a day, and what they used."""
    return render(request, "office/measured/energy.html", {"rows": queries.use_now()})


def energy_machine(request: PersonRequest, pk: int) -> HttpResponse:
    return _energy_machine(request, machine_for(request.user, pk), EnergyForm())


def measure_energy(request: PersonRequest, pk: int) -> HttpResponse:
    """Write down what a machine used."""
    machine = machine_for(request.user, pk)
    now = timezone.now()
    form = EnergyForm(request.POST)
    if form.is_valid():
        given = form.cleaned_data
        kept = tried(
            form,
            measured.measure_energy,
            machine=machine,
            starts_at=given["starts_at"],
            ends_at=form.moment("ends_at", now),
            kwh=given["kwh"],
            meter_from=given["meter_from"],
            meter_until=given["meter_until"],
            note=given["note"],
            actor=request.user,
            now=now,
        )
        if kept:
            messages.success(request, f"{kept}, written down.")
            return redirect("office:compliance-energy-machine", pk)
    return _energy_machine(request, machine, form)


def _energy_machine(request: PersonRequest, machine: Machine, form: EnergyForm) -> HttpResponse:
    rows = list(queries.readings_whole().filter(machine=machine)[:SHOWN])
    cools, zone = bool(machine.kind.energy_class), Business.the().time_zone
    allowed = queries.allowed_of(machine.kind, machine.made_on) if cools else None
    limit = allowed.limit.kwh_per_day if allowed and allowed.limit else None
    readings = [(one, queries.energy_of(one), queries.a_day_of(one)) for one in rows]
    bars = [
        Bar(
            timezone.localdate(one.ends_at, zone),
            a_day,
            judged is not None and judged.within is False,
        )
        for one, judged, a_day in reversed(readings)
        if one.set_aside_at is None
    ]
    context = {
        "machine": machine,
        "place": machine.placements.filter(ends_at__isnull=True).select_related("site").first(),
        "allowed": allowed,
        "readings": readings,
        "chart": use_drawn(bars, limit, ident="energy") if bars else "",
        "form": form,
    }
    return render(request, "office/measured/energy_machine.html", context, status=sent(form))


def drop_energy(request: PersonRequest, pk: int) -> HttpResponse:
    """Take back a reading that was told by mistake."""
    reading = gates.energy_reading_for(request.user, pk)
    _set_aside(request, reading)
    return redirect("office:compliance-energy-machine", reading.machine_id)


def _set_aside(request: PersonRequest, row: AccessCheck | EnergyReading) -> None:
    """Raises Unacceptable without a reason, and NotAllowed; the page of the refusal says which."""
    measured.set_aside(
        row=row, why=request.POST.get("why", ""), actor=request.user, now=timezone.now()
    )
    messages.success(request, "Set aside; it counts for nothing any more.")
