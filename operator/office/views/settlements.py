"""Settlements of cards: taken in, held against sales, and what lacks a machine."""

from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.models import Machine
from fleet.machines.queries.gates import machine_for
from fleet.sales import money_tables
from fleet.sales.actions import cards, terminals
from fleet.sales.models import SettlementMapping
from fleet.sales.queries.cards import TOLERANCE, Matched, files, mapping_for, matched
from office.doors import PersonRequest, sent, sent_as_file, tried
from office.forms.settlements import ColumnsForm, PeriodOfDaysForm, TakeInForm, TerminalForm
from people import audit
from people.models import Business

USUAL_DAYS = 30
SHOWN = 50


def listing(request: PersonRequest) -> HttpResponse:
    return _page(request)


def take_in(request: PersonRequest) -> HttpResponse:
    """A file as the processor gave it out."""
    form = TakeInForm(request.POST, request.FILES, prefix="file")
    if form.is_valid():
        file = form.cleaned_data["file"]
        made = tried(
            form,
            cards.take_in,
            name=file.name,
            raw=file.read(cards.LARGEST_BYTES + 1),
            mapping=form.cleaned_data["mapping"],
            actor=request.user,
            now=timezone.now(),
        )
        if made:
            messages.success(request, f"{made}: taken in.")
            return redirect("office:settlements")
    return _page(request, taking=form)


def columns(request: PersonRequest) -> HttpResponse:
    """Which column says what."""
    form = ColumnsForm(request.POST, prefix="columns")
    if form.is_valid() and tried(
        form,
        cards.save_mapping,
        mapping=None,
        changes=form.changes(),
        actor=request.user,
        now=timezone.now(),
    ):
        messages.success(request, "Columns kept.")
        return redirect("office:settlements")
    return _page(request, columns=form)


def mapping(request: PersonRequest, pk: int) -> HttpResponse:
    """One mapping, changed for later files."""
    row = mapping_for(request.user, pk, write=request.method == "POST")
    form = ColumnsForm(request.POST or None, instance=row)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            cards.save_mapping,
            mapping=row,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, "Columns kept; later files are read by them.")
            return redirect("office:settlements-mapping", pk)
    context = {
        "form": form,
        "mapping": mapping_for(request.user, pk),
        "files": files().filter(mapping=row)[:SHOWN],
        "entries": audit.entries_of(row)[:20],
    }
    return render(request, "office/commission/mapping.html", context, status=sent(form))


def machine(request: PersonRequest, pk: int) -> HttpResponse:
    """The days of one machine: what was settled, what it counted, and the fee."""
    row = machine_for(request.user, pk)
    period = _period(request)
    context: dict[str, Any] = {"machine": row, "period": period}
    if period.is_valid():
        found = _found(period, row)
        context["found"] = found.machines[0] if found.machines else None
        context["query"] = urlencode(period.asked())
    return render(
        request, "office/commission/settlements_machine.html", context, status=sent(period)
    )


def export(request: PersonRequest) -> HttpResponse:
    """Machines of a period as a file; `rows=days` their days, `rows=mismatches` what is off."""
    period = _period(request)
    if not period.is_valid():
        return _page(request)
    told = request.GET.get("machine", "")
    row = machine_for(request.user, int(told)) if told.isdecimal() else None
    found, zone = _found(period, row), Business.the().time_zone
    rows = request.GET.get("rows", "")
    if rows == "days":
        return sent_as_file(request, money_tables.days(found, zone))
    table = money_tables.matched(found, zone, mismatches=rows == "mismatches")
    return sent_as_file(request, table)


def terminal(request: PersonRequest) -> HttpResponse:
    """In which machine a terminal hangs."""
    form = TerminalForm(request.POST, prefix="terminal")
    if form.is_valid() and tried(
        form,
        terminals.hang_terminal,
        actor=request.user,
        now=timezone.now(),
        **form.cleaned_data,
    ):
        messages.success(request, "Terminal kept.")
        return redirect("office:settlements")
    return _page(request, terminal=form)


def _period(request: PersonRequest) -> PeriodOfDaysForm:
    asked = {"since", "until"} & set(request.GET)
    first = {"since": _today() - timedelta(days=USUAL_DAYS), "until": _today()}
    return PeriodOfDaysForm(request.GET if asked else first)


def _found(period: PeriodOfDaysForm, row: Machine | None = None) -> Matched:
    told = period.cleaned_data["tolerance"]
    return matched(
        period.cleaned_data["since"],
        period.cleaned_data["until"] + timedelta(days=1),
        tolerance=TOLERANCE if told is None else told,
        machine=row,
    )


def _page(request: PersonRequest, **given: BaseForm) -> HttpResponse:
    period = _period(request)
    shown: dict[str, Any] = {
        "taking": TakeInForm(prefix="file"),
        "columns": ColumnsForm(prefix="columns"),
        "terminal": TerminalForm(prefix="terminal", initial={"starts_on": _today()}),
    } | given
    context: dict[str, Any] = {
        **shown,
        "period": period,
        "files": files()[:SHOWN],
        "mappings": SettlementMapping.objects.all(),
    }
    if period.is_valid():
        context["found"] = _found(period)
        context["query"] = urlencode(period.asked())
    status = sent(period, *shown.values())
    return render(request, "office/commission/settlements.html", context, status=status)


def _today() -> date:
    return timezone.now().astimezone(Business.the().time_zone).date()
