"""Settlements of cards: taken in, held against sales, and what lacks a machine."""

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.sales.actions import cards
from fleet.sales.models import SettlementMapping
from fleet.sales.queries.cards import TOLERANCE, files, matched
from office.doors import PersonRequest, sent, tried
from office.forms.commission import ColumnsForm, PeriodOfDaysForm, TakeInForm, TerminalForm
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
        changes=form.cleaned_data,
        actor=request.user,
        now=timezone.now(),
    ):
        messages.success(request, "Columns kept.")
        return redirect("office:settlements")
    return _page(request, columns=form)


def terminal(request: PersonRequest) -> HttpResponse:
    """In which machine a terminal hangs."""
    form = TerminalForm(request.POST, prefix="terminal")
    if form.is_valid() and tried(
        form,
        cards.hang_terminal,
        actor=request.user,
        now=timezone.now(),
        **form.cleaned_data,
    ):
        messages.success(request, "Terminal kept.")
        return redirect("office:settlements")
    return _page(request, terminal=form)


def _page(request: PersonRequest, **given: BaseForm) -> HttpResponse:
    today = timezone.now().astimezone(Business.the().time_zone).date()
    asked = {"since", "until"} & set(request.GET)
    first = {"since": today - timedelta(days=USUAL_DAYS), "until": today}
    period = PeriodOfDaysForm(request.GET if asked else first)
    shown: dict[str, Any] = {
        "taking": TakeInForm(prefix="file"),
        "columns": ColumnsForm(prefix="columns"),
        "terminal": TerminalForm(prefix="terminal", initial={"starts_on": today}),
    } | given
    context: dict[str, Any] = {**shown, "period": period, "files": files()[:SHOWN]}
    context["has_columns"] = SettlementMapping.objects.exists()
    if period.is_valid():
        told = period.cleaned_data["tolerance"]
        context["found"] = matched(
            period.cleaned_data["since"],
            period.cleaned_data["until"] + timedelta(days=1),
            tolerance=TOLERANCE if told is None else told,
        )
    status = sent(period, *shown.values())
    return render(request, "office/commission/settlements.html", context, status=status)
