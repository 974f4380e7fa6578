"""Cash on its way to the bank, change that lies out, and what is over or short."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.sales import cash_tables
from fleet.sales.actions import bankings as banking_actions
from fleet.sales.actions import floats as float_actions
from fleet.sales.actions.cash_limits import save_cash_limits
from fleet.sales.models import Banking, CashLimits
from fleet.sales.queries import floats as float_queries
from fleet.sales.queries.bankings import banking_for, bankings_whole
from fleet.sales.queries.differences import Differences, differences
from office.doors import PersonRequest, sent, sent_as_file, tried
from office.forms.cash import (
    BankForm,
    CashLimitsForm,
    ConfirmForm,
    DifferencesForm,
    HostFloatForm,
    ToBankForm,
    TubeFillForm,
)
from office.forms.stock import WhyForm
from office.paging import latest_of
from people import audit
from people.exports import within
from people.models import Business

USUAL_DAYS = 30
SHOWN = 50


def bankings(request: PersonRequest) -> HttpResponse:
    """What went to the bank, and the counted bags that are still here."""
    asked = ToBankForm(request.GET)
    every = request.GET.get("all") == "yes"
    return _bankings(request, asked, BankForm(looked=asked.looked(), every=every))


def bank(request: PersonRequest) -> HttpResponse:
    """Counted bags go to the bank on one slip."""
    asked = ToBankForm(request.GET)
    form = BankForm(request.POST, looked=asked.looked())
    if form.is_valid():
        now = timezone.now()
        bags, held = form.chosen()
        done = tried(
            form,
            banking_actions.bank,
            bags=bags,
            held=held,
            slip_number=form.cleaned_data["slip_number"],
            amount=form.cleaned_data["amount"],
            banked_at=form.moment("banked_at", now),
            note=form.cleaned_data["note"],
            actor=request.user,
            now=now,
        )
        if done:
            messages.success(request, f"{done}: kept.")
            return redirect("office:banking", done.pk)
    return _bankings(request, asked, form)


def _bankings(request: PersonRequest, asked: ToBankForm, form: BankForm) -> HttpResponse:
    context = {
        "asked": asked,
        "form": form,
        "nothing": Decimal(0),
        "page": latest_of(bankings_whole(), request.GET, moment="banked_at"),
    }
    return render(request, "office/bags/bankings.html", context, status=sent(asked, form))


def export_bankings(request: PersonRequest) -> HttpResponse:
    table = cash_tables.bankings(within(bankings_whole()), Business.the().time_zone)
    return sent_as_file(request, table)


def banking(request: PersonRequest, pk: int) -> HttpResponse:
    return _banking(request, banking_for(request.user, pk))


def confirm(request: PersonRequest, pk: int) -> HttpResponse:
    """What the bank says it received."""
    found = banking_for(request.user, pk, write=True)
    form = ConfirmForm(request.POST, prefix="confirm")
    if form.is_valid() and tried(
        form,
        banking_actions.confirm,
        banking=found,
        actor=request.user,
        now=timezone.now(),
        **form.cleaned_data,
    ):
        messages.success(request, f"{found}: confirmed.")
        return redirect("office:banking", pk)
    return _banking(request, found, confirming=form)


def take_back(request: PersonRequest, pk: int) -> HttpResponse:
    """A banking written down by mistake."""
    found = banking_for(request.user, pk, write=True)
    form = WhyForm(request.POST, prefix="back")
    if form.is_valid() and tried(
        form,
        banking_actions.take_back,
        banking=found,
        reason=form.cleaned_data["note"],
        actor=request.user,
        now=timezone.now(),
    ):
        messages.success(request, f"{found}: taken back. Its bags wait to be banked again.")
        return redirect("office:banking", pk)
    return _banking(request, found, backing=form)


def _banking(
    request: PersonRequest,
    found: Banking,
    *,
    confirming: ConfirmForm | None = None,
    backing: WhyForm | None = None,
) -> HttpResponse:
    first = {"amount": f"{found.amount.normalize():f}", "confirmed_on": _today()}
    confirming = confirming or ConfirmForm(prefix="confirm", initial=first)
    backing = backing or WhyForm(prefix="back")
    context = {
        "banking": found,
        "confirming": confirming,
        "backing": backing,
        "entries": audit.entries_of(found)[:20],
    }
    status = sent(confirming, backing)
    return render(request, "office/bags/banking.html", context, status=status)


def limits(request: PersonRequest) -> HttpResponse:
    """How long cash may wait at each step before it is late."""
    kept = CashLimits.the()
    form = CashLimitsForm(request.POST or None, units=Business.the().units, row=kept)
    if request.method == "POST" and form.is_valid():
        done = tried(
            form,
            save_cash_limits,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if done:
            messages.success(request, "Kept.")
            return redirect("office:bags-custody")
    context = {"form": form, "entries": audit.entries_of(kept)[:20]}
    return render(request, "office/bags/limits.html", context, status=sent(form))


def floats(request: PersonRequest) -> HttpResponse:
    """Change in tubes and with hosts."""
    return _floats(request)


def fill_tubes(request: PersonRequest) -> HttpResponse:
    """Change put into a machine's tubes by hand, or taken out."""
    form = TubeFillForm(request.POST, prefix="tubes")
    if form.is_valid():
        now = timezone.now()
        given = {**form.cleaned_data, "at": form.moment("at", now)}
        done = tried(form, float_actions.fill_tubes, actor=request.user, now=now, **given)
        if done:
            messages.success(request, f"{done}: kept.")
            return redirect("office:cash-floats")
    return _floats(request, tubes=form)


def move_float(request: PersonRequest) -> HttpResponse:
    """Money brought to a host, paid out, taken back or counted."""
    form = HostFloatForm(request.POST, prefix="float")
    if form.is_valid():
        now = timezone.now()
        given = {**form.cleaned_data, "at": form.moment("at", now)}
        done = tried(form, float_actions.move_float, actor=request.user, now=now, **given)
        if done:
            messages.success(request, f"{done}: kept.")
            return redirect("office:cash-floats")
    return _floats(request, hosts=form)


def _floats(
    request: PersonRequest,
    *,
    tubes: TubeFillForm | None = None,
    hosts: HostFloatForm | None = None,
) -> HttpResponse:
    tubes = tubes or TubeFillForm(prefix="tubes")
    hosts = hosts or HostFloatForm(prefix="float")
    context = {
        "tubes": tubes,
        "hosts": hosts,
        "floats": float_queries.floats(),
        "lines": float_queries.float_lines()[:SHOWN],
        "fills": float_queries.tube_fills()[:SHOWN],
    }
    return render(request, "office/bags/floats.html", context, status=sent(tubes, hosts))


def over_and_short(request: PersonRequest) -> HttpResponse:
    """Bags of a period against what they should hold, with what chance explains."""
    form = _period(request)
    context: dict[str, Any] = {"form": form}
    if form.is_valid():
        found = _found(form)
        context["found"] = found
        context["not_by_chance"] = [
            one
            for one in found.bags
            if one.judged is not None and (one.judged.short or one.judged.over)
        ]
        compared = [one.bag for one in found.bags if one.judged is not None]
        context["compared"] = len(compared)
        context["not_compared"] = len(found.bags) - len(compared)
        context["together"] = {
            "expected": sum(one.expected.amount for one in compared),
            "counted": sum(one.counted for one in compared),
            "difference": sum(one.difference for one in compared),
        }
    return render(request, "office/bags/differences.html", context, status=sent(form))


def export_over_and_short(request: PersonRequest) -> HttpResponse:
    """The same as a file: by subject, or with `?rows=bags` every bag."""
    form = _period(request)
    if not form.is_valid():
        return over_and_short(request)
    zone = Business.the().time_zone
    made = {"bags": cash_tables.bags_compared}.get(
        request.GET.get("rows", ""), cash_tables.over_and_short
    )
    return sent_as_file(request, made(_found(form), zone))


def _found(form: DifferencesForm) -> Differences:
    zone = Business.the().time_zone
    return differences(
        since=_midnight(form.cleaned_data["since"], zone),
        until=_midnight(form.cleaned_data["until"] + timedelta(days=1), zone),
        by=form.cleaned_data["by"] or "machine",
    )


def _period(request: PersonRequest) -> DifferencesForm:
    first = {"since": _today() - timedelta(days=USUAL_DAYS), "until": _today(), "by": "machine"}
    return DifferencesForm(request.GET if {"since", "until"} & set(request.GET) else first)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone)


def _today() -> date:
    return timezone.localdate(timezone.now(), Business.the().time_zone)
