"""Demand at the desk: fits and how they fared, what a column sells and needs, the rules."""

from datetime import datetime, timedelta

from django.contrib import messages
from django.db.models import F, QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.demand import tables
from fleet.demand.actions import rules as keeping
from fleet.demand.actions import runs
from fleet.demand.models import ColumnDemand, ColumnNeed, DemandRules, FitRun, UnusualDay
from fleet.demand.queries import fits, gates
from fleet.demand.queries.ahead import ColumnAhead, column_ahead
from fleet.demand.sold import BELIEVED
from fleet.machines.models import Column, SetUp
from fleet.machines.queries.gates import column_for
from fleet.sales.models import SaleInterval
from office import glances
from office.doors import PersonRequest, part_or_page, sent, sent_as_file, tried
from office.drawing.demand import Ahead, SoldBar, fan, history
from office.forms.demand import DemandRulesForm, UnusualDayForm
from people import audit
from people.models import Business

RUNS_SHOWN = 30
NEEDS_SHOWN = 100
DAYS_AHEAD = 21
HISTORY_OVER = timedelta(days=120)
INTERVALS_SHOWN = 20


def listing(request: PersonRequest) -> HttpResponse:
    """The latest fits and how they fared; the one under way with its progress."""
    found = list(gates.runs_whole().order_by("-started_at", "-pk")[:RUNS_SHOWN])
    context = {
        "runs": [(run, fits.progress(run), fits.fared(run.chunks.all())) for run in found],
        "running": next((run for run in found if run.state == FitRun.State.RUNNING), None),
        "rolling": fits.rolling(),
    }
    return render(request, "office/demand/fits.html", context)


def run(request: PersonRequest, pk: int) -> HttpResponse:
    """One fit: its parts, how far each is, what it was fitted on, how it fared."""
    found = gates.run_for(request.user, pk)
    context = {
        "run": found,
        "progress": fits.progress(found),
        "fared": fits.fared(found.chunks.all()),
        "chunks": found.chunks.all(),
    }
    return part_or_page(request, "office/demand/progress.html", "office/demand/run.html", context)


def needs(request: PersonRequest) -> HttpResponse:
    """What columns hold and need, the soonest dry first."""
    rows = _needs()
    context = {
        "demands": rows[:NEEDS_SHOWN],
        "more": max(rows.count() - NEEDS_SHOWN, 0),
        "money": gates.sees_money(request.user),
    }
    return render(request, "office/demand/needs.html", context)


def export_needs(request: PersonRequest) -> HttpResponse:
    money = gates.sees_money(request.user)
    return sent_as_file(request, tables.needs(_needs(), Business.the().time_zone, money=money))


def export_fits(request: PersonRequest) -> HttpResponse:
    rows = gates.runs_whole().order_by("-started_at", "-pk")
    return sent_as_file(request, tables.fitted(rows, Business.the().time_zone))


def _needs() -> "QuerySet[ColumnDemand]":
    early = F("column__need__dry_early_days").asc(nulls_last=True)
    median = F("column__need__dry_median_days").asc(nulls_last=True)
    return gates.demands_whole().order_by(early, median, "pk")


def start(request: PersonRequest) -> HttpResponse:
    """Fit every column anew, now."""
    begun = runs.start(actor=request.user, now=timezone.now())
    messages.success(request, "Demand is being fitted anew.")
    return redirect("office:fit-run", begun.pk)


def rules(request: PersonRequest) -> HttpResponse:
    the = DemandRules.the()
    form = DemandRulesForm(request.POST or None, units=Business.the().units, row=the)
    if request.method == "POST" and form.is_valid():
        changed = tried(
            form,
            keeping.change_rules,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if changed:
            messages.success(request, "The rules are kept; the next fit goes by them.")
            return redirect("office:demand-rules")
    return _rules(request, form, UnusualDayForm(prefix="day"))


def mark_day(request: PersonRequest) -> HttpResponse:
    form = UnusualDayForm(request.POST, prefix="day")
    if form.is_valid():
        marked = tried(
            form,
            keeping.mark_day,
            **form.cleaned_data,
            actor=request.user,
            now=timezone.now(),
        )
        if marked:
            messages.success(request, f"{marked}: kept.")
            return redirect("office:demand-rules")
    row = DemandRules.the()
    return _rules(request, DemandRulesForm(units=Business.the().units, row=row), form)


def unmark_day(request: PersonRequest, pk: int) -> HttpResponse:
    day = gates.unusual_day_for(request.user, pk, write=True)
    keeping.unmark_day(unusual_day=day, actor=request.user, now=timezone.now())
    messages.success(request, f"{day}: as usual again.")
    return redirect("office:demand-rules")


def _rules(request: PersonRequest, form: DemandRulesForm, day_form: UnusualDayForm) -> HttpResponse:
    since = timezone.now().astimezone(Business.the().time_zone).date() - timedelta(days=90)
    context = {
        "form": form,
        "day_form": day_form,
        "days": UnusualDay.objects.filter(day__gte=since).select_related("site"),
        "entries": audit.entries_of(DemandRules.the())[:20],
    }
    return render(request, "office/demand/rules.html", context, status=sent(form, day_form))


def column(request: PersonRequest, pk: int) -> HttpResponse:
    """What one column sold, will be asked for, and needs."""
    found = column_for(request.user, pk)
    now = timezone.now()
    ahead = column_ahead(found, now=now, days=DAYS_AHEAD)
    set_up = SetUp.objects.filter(column=found, ends_at__isnull=True).select_related("product")
    money = gates.sees_money(request.user)
    bars = _sold(found, now) if money else []  # what sold, beside its price, is takings
    context = {
        "column": found,
        "set_up": set_up.first(),
        "place": glances.places([found.machine]).get(found.machine_id),
        "ahead": ahead,
        "week": ahead.days[6] if ahead else None,
        "chart": _fan(ahead) if ahead else None,
        "history": history(bars, ident="history", title="Units a day by interval")
        if bars
        else None,
        "bars": bars[::-1][:INTERVALS_SHOWN],
        "sold_days": HISTORY_OVER.days,
        "demand": ColumnDemand.objects.filter(column=found)
        .select_related("product", "run")
        .first(),
        "need": ColumnNeed.objects.filter(column=found).first(),
        "money": money,
    }
    return render(request, "office/demand/column.html", context)


def _fan(ahead: ColumnAhead) -> object:
    """As far as twice the days until it is as likely dry as not, so that the crossing is seen."""
    until = (ahead.dry_median - ahead.days[0].day).days if ahead.dry_median else DAYS_AHEAD
    shown = ahead.days[: max(7, 2 * until + 2)]
    days = [Ahead(one.day, one.asked, one.bands) for one in shown]
    return fan(
        days,
        held=ahead.stock,
        dry=ahead.dry_median,
        ident="ahead",
        title="Units asked for from now on",
    )


def _sold(column: Column, now: datetime) -> list[SoldBar]:
    """What the column sold of what it holds now, in the intervals of the last months."""
    rows = (
        SaleInterval.objects.filter(
            column=column,
            interval__ends_at__gt=now - HISTORY_OVER,
            paid_units__isnull=False,
            set_up__product__set_ups__column=column,
            set_up__product__set_ups__ends_at__isnull=True,
        )
        .order_by("interval__ends_at", "pk")
        .values_list(
            "interval__starts_at", "interval__ends_at", "paid_units", "free_units", "ran_dry"
        )
    )
    zone = Business.the().time_zone
    return [
        SoldBar(starts.astimezone(zone), ends.astimezone(zone), paid + (free or 0), dry in BELIEVED)
        for starts, ends, paid, free, dry in rows
        if ends > starts
    ]
