"""One machine's upkeep, and how reliable machines are."""

from datetime import datetime, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.queries.gates import machine_for
from office.doors import PersonRequest, sent, sent_as_file, tried
from office.drawing.upkeep import Mark, between_drawn, readings_drawn, year_drawn
from office.forms.upkeep import PeriodForm, ReadingForm
from people.models import Business
from service.compliance.actions import temperatures
from service.compute.reliability import DAYS_A_MONTH
from service.tickets.models import ServiceSettings
from service.upkeep import tables
from service.upkeep.models import DueWork, MaintenancePlan, Reading
from service.upkeep.queries import reliability as figures_of
from service.upkeep.queries.due import readings_of, turns_of, work_of
from service.upkeep.queries.turns import applies

from .upkeep import placed, today

SHOWN = 25
MACHINES_SHOWN = 100
YEAR = timedelta(days=365)
CHARTED = 60


def page(request: PersonRequest, pk: int) -> HttpResponse:
    return _page(request, pk, ReadingForm(units=Business.the().units))


def read(request: PersonRequest, pk: int) -> HttpResponse:
    """Write down a value read at the machine."""
    machine = machine_for(request.user, pk)
    now = timezone.now()
    form = ReadingForm(request.POST, units=Business.the().units)
    if form.is_valid():
        given = form.cleaned_data
        taken = tried(
            form,
            temperatures.take_reading,
            machine=machine,
            what=given["what"],
            value=given["value"],
            unit=given["unit"],
            at=form.moment("at", now),
            actor=request.user,
            now=now,
        )
        if taken:
            messages.success(request, f"{machine}: {taken}, written down.")
            return redirect("office:upkeep-machine", pk)
    return _page(request, pk, form)


def _page(request: PersonRequest, pk: int, form: ReadingForm) -> HttpResponse:
    machine = machine_for(request.user, pk)
    now = timezone.now()
    turns = list(turns_of(machine))
    done = list(work_of(machine)[:SHOWN])
    readings = list(readings_of(machine)[: CHARTED * 2])
    (raw,) = figures_of.of_machines(now - YEAR, now, machine=machine.pk) or (None,)
    figures = None if raw is None else figures_of.figures(raw)
    context = {
        "machine": machine,
        "place": placed(machine),
        "turns": turns,
        "year": year_drawn(_marks(turns, done), today(), ident="year"),
        "done": done,
        "readings": readings[:SHOWN],
        "charts": _charts(readings),
        "figures": figures,
        "drawn": _between(figures, ident="between"),
        "other_plans": [
            plan
            for plan in MaintenancePlan.objects.filter(active=True).select_related("kind")
            if applies(plan, machine) and plan.pk not in {one.plan_id for one in turns}
        ],
        "form": form,
        "today": today(),
        "week": today() + timedelta(days=7),
    }
    return render(request, "office/upkeep/machine.html", context, status=sent(form))


def reliability(request: PersonRequest) -> HttpResponse:
    """Time between failures, time to fix, first-time fixes and cost, by kind and by machine."""
    form, since, until, kind = _period(request)
    rows = figures_of.of_machines(since, until)
    labour = ServiceSettings.the().labour_per_hour
    kinds = [
        figures_of.figures(raw, labour_per_hour=labour, alike=alike)
        for raw, alike in figures_of.by_kind(rows)
    ]
    machines = [one for one in rows if kind is None or one.kind == kind]
    shown = [figures_of.figures(one, labour_per_hour=labour) for one in machines[:MACHINES_SHOWN]]
    most = max((one.between.days or 0 for one in [*kinds, *shown] if one.between), default=0)
    context = {
        "form": form,
        "since": since,
        "kinds": [(one, _between(one, f"kind-{one.of.key}", most)) for one in kinds],
        "machines": [(one, _between(one, f"machine-{one.of.key}", most)) for one in shown],
        "more": max(len(machines) - MACHINES_SHOWN, 0),
    }
    return render(request, "office/upkeep/reliability.html", context)


def export_reliability(request: PersonRequest) -> HttpResponse:
    """Every machine's figures as a file."""
    _, since, until, kind = _period(request)
    labour = ServiceSettings.the().labour_per_hour
    rows = figures_of.of_machines(since, until, kind=kind)
    made = (figures_of.figures(one, labour_per_hour=labour) for one in rows)
    return sent_as_file(request, tables.reliability(made, Business.the().time_zone))


def _period(request: PersonRequest) -> tuple[PeriodForm, datetime, datetime, int | None]:
    form = PeriodForm(request.GET if request.GET else {"months": 12})
    given: dict[str, Any] = form.cleaned_data if form.is_valid() else {}
    until = timezone.now()
    since = until - timedelta(days=round(DAYS_A_MONTH * (given.get("months") or 12)))
    return form, since, until, given["kind"].pk if given.get("kind") else None


def _between(figures: Any, ident: str, most: float = 0) -> Any:
    """Days between failures, drawn with their interval."""
    if figures is None or figures.between is None:
        return ""
    return between_drawn(figures.between, most=most, ident=ident, title=figures.of.label)


def _marks(turns: list[DueWork], done: list[Any]) -> list[Mark]:
    day_of = Business.the().day_of
    past = [
        Mark(one.plan.name, day_of(one.done_at), "done") for one in done if one.set_aside_at is None
    ]
    return past + [
        Mark(one.plan.name, one.day, "late" if one.day < today() else "due", one.latest_on)
        for one in turns
    ]


def _charts(readings: list[Reading]) -> list[Any]:
    """A small chart of each kind of reading of which there are several."""
    found = []
    for what in Reading.What:
        several = [one for one in readings if one.what == what][:CHARTED]
        if len(several) > 1:
            found.append(readings_drawn(several[::-1], ident=f"chart-{what.value}"))
    return found
