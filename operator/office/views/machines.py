"""One machine: its columns in section, what they sold, what was done to it."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.db.models import Sum
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.demand.queries.ahead import machine_ahead
from fleet.machines.actions import machines as actions
from fleet.machines.models import Changeover, Machine, Placement, Position
from fleet.machines.queries.fits import Bench
from fleet.machines.queries.fleet import columns_of, set_ups_of
from fleet.machines.queries.gates import machine_for
from fleet.sales.models import MachineInterval, SaleInterval
from fleet.sales.queries.gates import sees_takings
from fleet.sales.queries.reads import reads_of
from office import glances
from office.columns import Stock, standing, stock_of
from office.doors import PersonRequest, sent, tell, tried
from office.drawing.sections import WHOLE, scale_said
from office.forms.fleet import MachineForm, NewMachineForm, PlacementForm, WaysOfPayingForm
from office.forms.selections import WiringForm
from office.forms.tax import ReportForm
from people import audit
from people.errors import Unable
from people.models import Business
from people.refused import in_words
from service.compliance.queries.temperatures import holds
from service.compliance.queries.warnings import Warnings, warnings_at
from service.runs.queries.ahead import visits_ahead
from service.tickets.queries.history import machine_history
from service.upkeep.queries.due import turns_of
from service.watch.queries.gates import sees_findings
from service.watch.queries.listing import of_machine

SALES_OVER = timedelta(days=28)
# Whoever looks at a column wants to know of two weeks beyond the next visit whether it runs dry.
DAYS_AHEAD = 14
SHOWN = 20
READS_SHOWN = 5


def page(request: PersonRequest, pk: int) -> HttpResponse:
    machine = machine_for(request.user, pk)
    now = timezone.now()
    columns = list(columns_of(machine))
    bench = Bench.for_kinds([machine.kind_id])
    placements = machine.placements.select_related("site").order_by("-starts_at", "pk")
    stocks = _stocks(machine, now)
    standings = [standing(column, bench, stock=stocks.get(column.pk)) for column in columns]
    context = {
        "machine": machine,
        "standings": standings,
        "amiss": [one for one in standings if one.amiss],
        "changeovers_open": [
            one
            for column in columns
            for one in column.changeovers_open  # type: ignore[attr-defined]
        ],
        "scale": scale_said(WHOLE),
        "estimated": any(one.stock for one in standings),
        # A section of both sides of the beam, or of a long spiral, wants more room.
        "wide": any(
            one.position.style == Position.Style.SPIRAL
            or (one.position.front_depth_mm and one.position.rear_depth_mm)
            for one in columns
        ),
        "placements": placements,
        "place": next((one for one in placements if one.ends_at is None), None),
        "events": glances.active_events([machine]).get(machine.pk, []),
        **_taken(request, machine, now),
        "reads": reads_of(machine, request.user)[:READS_SHOWN],
        "set_ups": set_ups_of(machine)[:SHOWN],
        "changeovers": Changeover.objects.filter(column__machine=machine)
        .select_related("column__position", "product", "plan")
        .order_by("-created_at", "-pk")[:SHOWN],
        "upkeep_turns": turns_of(machine).prefetch_related(None)[:SHOWN],
        **_more(machine, [one for one in placements if one.ends_at is None]),
        "upkeep_today": timezone.localdate(now, Business.the().time_zone),
        "history": machine_history(machine, limit=SHOWN),
        "findings": of_machine(machine) if sees_findings(request.user) else [],
        "entries": audit.entries_of(machine)[:SHOWN],
    }
    return render(request, "office/machines/machine.html", context)


def _more(machine: Machine, places: Sequence[Placement]) -> dict[str, Any]:
    """What is warned of there, how one pays, and where the rest of it is found."""
    warned = warnings_at([machine.pk]).get(machine.pk, Warnings())
    state = places[0].site.state if places else ""
    asked = ReportForm.this_quarter() | {"state": state.upper()}
    return {
        "food_lock": warned.food_lock,
        "recalls_there": warned.recalls,
        "keeps_food": machine.pk in holds([machine.pk]),
        "paying": machine.ways_of_paying.order_by("-starts_on").first(),
        "tax_asked": urlencode(asked) if state else "",
    }


def _taken(request: PersonRequest, machine: Machine, now: datetime) -> dict[str, Any]:
    """What it sold of late and for how much, for those who see takings."""
    if not sees_takings(request.user):
        return {"sees_takings": False}
    since = now - SALES_OVER
    return {
        "sees_takings": True,
        "sales": sales_by_column(machine, since),
        "totals": sales_of(machine, since),
        "sales_days": SALES_OVER.days,
    }


def _stocks(machine: Machine, now: datetime) -> dict[int, Stock]:
    """What each column is taken to hold now and by the next visit, of those ever counted."""
    visit = visits_ahead([machine.pk], now=now)[machine.pk].on
    days = max((visit - Business.the().day_of(now)).days, 1)
    found = machine_ahead(machine, now=now, days=days + DAYS_AHEAD)
    stocks = {column: stock_of(ahead, visit) for column, ahead in found.items()}
    return {column: stock for column, stock in stocks.items() if stock is not None}


def sales_of(machine: Machine, since: datetime) -> Any:
    """Units and money of the machine in the intervals that ended since; None without any."""
    totals = (
        MachineInterval.objects.filter(machine=machine, ends_at__gte=since)
        .order_by()
        .values("currency", "exponent")
        .annotate(
            paid_units=Sum("paid_units"), paid_minor=Sum("paid_minor"), box=Sum("cash_to_box_minor")
        )
        .order_by("-paid_units")
    )
    return totals.first()


def sales_by_column(machine: Machine, since: datetime) -> list[Any]:
    """What each selection and column sold in the intervals that ended since."""
    return list(
        SaleInterval.objects.filter(interval__machine=machine, interval__ends_at__gte=since)
        .order_by()
        .values(
            "selection_code",
            "column",
            "column__position__label",
            "is_unassigned",
            "is_share",
            "interval__exponent",
        )
        .annotate(
            paid_units=Sum("paid_units"),
            paid_minor=Sum("paid_minor"),
            free_units=Sum("free_units"),
            test_units=Sum("test_units"),
            cash_units=Sum("cash_units"),
            cashless_units=Sum("cashless_units"),
        )
        .order_by("is_unassigned", "column__position__order", "selection_code")
    )


def change(request: PersonRequest, pk: int) -> HttpResponse:
    machine = machine_for(request.user, pk, write=True)
    form = MachineForm(request.POST or None, units=Business.the().units, row=machine)
    if (
        request.method == "POST"
        and form.is_valid()
        and tried(
            form,
            actions.change_machine,
            machine=machine,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
    ):
        messages.success(request, f"{machine}: kept.")
        return redirect("office:machine", pk)
    return _change_page(request, machine, form, PlacementForm(), WaysOfPayingForm())


def _change_page(
    request: PersonRequest,
    machine: Machine,
    form: MachineForm,
    place_form: PlacementForm,
    paying_form: WaysOfPayingForm,
) -> HttpResponse:
    context = {
        "machine": machine,
        "form": form,
        "place_form": place_form,
        "paying_form": paying_form,
        "ways_of_paying": machine.ways_of_paying.all(),
    }
    status = sent(form, place_form, paying_form)
    return render(request, "office/machines/change.html", context, status=status)


def add(request: PersonRequest) -> HttpResponse:
    form = NewMachineForm(request.POST or None, units=Business.the().units)
    if request.method == "POST" and form.is_valid():
        added = tried(
            form,
            actions.add_machine,
            kind=form.cleaned_data["kind"],
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if added:
            messages.success(request, f"{added} is added, with a column for every position.")
            return redirect("office:machine", added.pk)
    return render(request, "office/machines/add.html", {"form": form}, status=sent(form))


def wire(request: PersonRequest, pk: int) -> HttpResponse:
    """Which columns each selection draws on."""
    machine = machine_for(request.user, pk, write=True)
    form = WiringForm(request.POST or None, machine=machine, columns=list(columns_of(machine)))
    if request.method == "POST" and form.is_valid():
        try:
            with in_words():
                actions.wire_selections(
                    machine=machine,
                    selections=form.selections(machine),
                    actor=request.user,
                    now=timezone.now(),
                )
        except Unable as error:
            tell(form, error)
        else:
            messages.success(request, f"{machine}: the selections are wired so.")
            return redirect("office:machine", pk)
    context = {"machine": machine, "form": form}
    return render(request, "office/machines/wiring.html", context, status=sent(form))


def place(request: PersonRequest, pk: int) -> HttpResponse:
    """The machine moves to a site."""
    machine = machine_for(request.user, pk, write=True)
    with timezone.override(Business.the().time_zone):
        form = PlacementForm(request.POST)
        if form.is_valid() and tried(
            form,
            actions.place_machine,
            machine=machine,
            **form.cleaned_data,
            actor=request.user,
            now=timezone.now(),
        ):
            messages.success(request, f"{machine} stands at {form.cleaned_data['site']}.")
            return redirect("office:machine", pk)
    of_it = MachineForm(units=Business.the().units, row=machine)
    return _change_page(request, machine, of_it, form, WaysOfPayingForm())


def pay(request: PersonRequest, pk: int) -> HttpResponse:
    """Which payment the machine takes from a day on."""
    machine = machine_for(request.user, pk, write=True)
    form = WaysOfPayingForm(request.POST)
    if form.is_valid() and tried(
        form,
        actions.set_ways_of_paying,
        machine=machine,
        **form.cleaned_data,
        actor=request.user,
        now=timezone.now(),
    ):
        messages.success(request, f"{machine}: its ways of paying are kept.")
        return redirect("office:machine-change", pk)
    of_it = MachineForm(units=Business.the().units, row=machine)
    return _change_page(request, machine, of_it, PlacementForm(), form)
