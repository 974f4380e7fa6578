"""Dates of what machines hold, and recalls by lot."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import capfirst

from fleet.inventory.models import Lot, StockPlace
from fleet.machines.models import Machine
from office.doors import PersonRequest, sent, sent_as_file, tried
from office.forms.compliance import CloseForm, DatesFilter, RecallForm, SendForm, TakenOutForm
from people import audit
from people.models import Business
from service.compliance import duty_tables
from service.compliance.actions import recalls as actions
from service.compliance.models import Recall
from service.compliance.queries import dates as dated
from service.compliance.queries import gates
from service.compliance.queries import recalls as where
from service.compliance.queries.recalls import Called
from service.runs.models import Run

from .upkeep import today

SHOWN = 300


def dates(request: PersonRequest) -> HttpResponse:
    """What machines hold past its date, or will before anybody next comes."""
    form = DatesFilter(request.GET)
    rows = dated.dated(now=timezone.now(), all_of_them=_later(form))
    context = {
        "form": form,
        "rows": rows[:SHOWN],
        "more": max(len(rows) - SHOWN, 0),
        "counts": dated.counts(rows),
        "today": today(),
    }
    return render(request, "office/compliance/dates.html", context)


def export_dates(request: PersonRequest) -> HttpResponse:
    rows = dated.dated(now=timezone.now(), all_of_them=_later(DatesFilter(request.GET)))
    return sent_as_file(request, duty_tables.dated(rows, Business.the().time_zone))


def recalls(request: PersonRequest) -> HttpResponse:
    """Recalls, the open ones first."""
    context = {"recalls": where.recalls_listed()[:SHOWN]}
    return render(request, "office/compliance/recalls.html", context)


def recall(request: PersonRequest, pk: int) -> HttpResponse:
    return _recall(request, gates.recall_for(request.user, pk))


def export_recall(request: PersonRequest, pk: int) -> HttpResponse:
    found = gates.recall_for(request.user, pk)
    table = duty_tables.recalled(found, where.held(found), Business.the().time_zone)
    return sent_as_file(request, table)


def edit_recall(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    """Open a recall, or change an open one."""
    found = gates.recall_for(request.user, pk, write=True) if pk else None
    form = RecallForm(request.POST or None, units=Business.the().units, row=found)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            actions.save,
            recall=found,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{capfirst(str(saved))}: kept.")
            return redirect("office:recall", saved.pk)
    context = {"recall": found, "form": form}
    return render(request, "office/compliance/edit_recall.html", context, status=sent(form))


def send(request: PersonRequest, pk: int) -> HttpResponse:
    """Make machines stops that have to be gone to."""
    found = gates.recall_for(request.user, pk, write=True)
    form = _send_form(found, request.POST)
    if form.is_valid():
        told = tried(
            form,
            actions.send,
            recall=found,
            machines=list(form.cleaned_data["machines"]),
            day=form.cleaned_data["day"],
            run=form.cleaned_data["run"],
            actor=request.user,
            now=timezone.now(),
        )
        if told:
            if told.stops:
                messages.success(request, f"{len(told.stops)} machines have to be gone to now.")
            for one in told.not_sent:
                messages.error(request, f"{one.machine}: {one.why}")
            return redirect("office:recall", pk)
    return _recall(request, found, send_form=form)


def take_out(request: PersonRequest, pk: int) -> HttpResponse:
    """What was found at a place and taken out, with its proof."""
    found = gates.recall_for(request.user, pk)
    now = timezone.now()
    form = _taken_form(found, request.POST, request.FILES)
    if form.is_valid():
        given = form.cleaned_data
        written = tried(
            form,
            actions.remove,
            recall=found,
            place=given["place"],
            quantity=given["quantity"],
            lot=given["lot"],
            at=form.moment("at", now),
            note=given["note"],
            file=form.proof(),
            actor=request.user,
            now=now,
        )
        if written:
            messages.success(request, f"{written.place}: {written.quantity} written down.")
            return redirect("office:recall", pk)
    return _recall(request, found, taken_form=form)


def close(request: PersonRequest, pk: int) -> HttpResponse:
    found = gates.recall_for(request.user, pk, write=True)
    form = CloseForm(request.POST)
    given = {"recall": found, "actor": request.user, "now": timezone.now()}
    if form.is_valid() and tried(form, actions.close, **form.cleaned_data, **given):
        messages.success(request, f"{capfirst(str(found))}: ended.")
        return redirect("office:recall", pk)
    return _recall(request, found, close_form=form)


def _recall(request: PersonRequest, found: Recall, **forms: Any) -> HttpResponse:
    held = where.held(found)
    visits = where.to_visit(found, held)
    send_form = forms.get("send_form") or _send_form(found, None, visits)
    taken_form = forms.get("taken_form") or _taken_form(found, None, None)
    close_form = forms.get("close_form") or CloseForm()
    certain = sum(one.quantity for one in held if one.called is Called.YES)
    context = {
        "recall": found,
        "held": held,
        "visits": visits,
        "certain": certain,
        "perhaps": sum(one.quantity for one in held) - certain,
        "removed": where.removals_of(found),
        "sold": where.sold_from(found),
        "send_form": send_form,
        "taken_form": taken_form,
        "close_form": close_form,
        "entries": audit.entries_of(found)[:20],
    }
    status = sent(send_form, taken_form, close_form)
    return render(request, "office/compliance/recall.html", context, status=status)


def _send_form(found: Recall, data: Any, visits: list[where.ToVisit] | None = None) -> SendForm:
    asked = visits if visits is not None else where.to_visit(found)
    machines = Machine.objects.filter(pk__in=[one.machine.pk for one in asked]).order_by(
        "asset_tag", "pk"
    )
    runs = (
        Run.objects.filter(agreed=True, date__gte=today())
        .exclude(state=Run.State.ENDED)
        .select_related("driver")
        .order_by("date", "driver__name", "pk")
    )
    first = [one.machine.pk for one in asked if one.certain and one.stop is None]
    return SendForm(data, machines=machines, runs=runs, initial={"machines": first, "day": today()})


def _taken_form(found: Recall, data: Any, files: Any) -> TakenOutForm:
    keys = {one.place.pk for one in where.held(found)} | set(
        found.removals.values_list("place", flat=True)
    )
    places = StockPlace.objects.filter(pk__in=keys).order_by("kind", "name", "pk")
    lots = [
        lot.pk
        for lot in Lot.objects.filter(product=found.product_id)
        if where.called(found, lot) is not Called.NO
    ]
    # Where one lot is called back that is it: left out by oversight, the books would keep it there.
    first = {"lot": lots[0]} if len(lots) == 1 else {}
    offered = Lot.objects.filter(pk__in=lots)
    return TakenOutForm(data, files, places=places, lots=offered, initial=first)


def _later(form: DatesFilter) -> bool:
    return bool(form.is_valid() and form.cleaned_data["later"])
