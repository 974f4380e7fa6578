"""By when tickets are promised: rules, the hours that count, days closed."""

from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from office.doors import PersonRequest, sent, tried
from office.forms.hours import said
from office.forms.outgoing import ClosedDayForm, HoursForm, RuleForm, SiteRuleForm
from people.models import Business
from service.tickets.actions import agreements
from service.tickets.models import Ticket
from service.tickets.queries import outgoing

DAYS_SHOWN = 60


def page(request: PersonRequest) -> HttpResponse:
    """Everything that promises are reckoned by."""
    return _page(request)


def add_rule(request: PersonRequest) -> HttpResponse:
    form = SiteRuleForm(request.POST, units="mm")
    if form.is_valid() and tried(
        form,
        agreements.save_rule,
        changes=form.changes(),
        actor=request.user,
        now=timezone.now(),
    ):
        messages.success(request, "Promised. Tickets reported from now on follow it.")
        return redirect("office:promises")
    return _page(request, rule_form=form)


def rule(request: PersonRequest, pk: int) -> HttpResponse:
    """Change one rule."""
    found = outgoing.rule_for(request.user, pk, write=True)
    form = RuleForm(request.POST or None, units="mm", row=found)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            agreements.save_rule,
            rule=found,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}. Tickets reported from now on follow it.")
            return redirect("office:promises")
    context = {"rule": found, "form": form}
    return render(request, "office/promises/rule.html", context, status=sent(form))


def remove_rule(request: PersonRequest, pk: int) -> HttpResponse:
    found = outgoing.rule_for(request.user, pk, write=True)
    agreements.remove_rule(rule=found, actor=request.user, now=timezone.now())
    messages.success(request, f"{found.site} follows the promise for everywhere from now on.")
    return redirect("office:promises")


def set_hours(request: PersonRequest) -> HttpResponse:
    form = HoursForm(request.POST)
    if form.is_valid() and tried(
        form,
        agreements.set_hours,
        windows=form.cleaned_data["hours"],
        actor=request.user,
        now=timezone.now(),
    ):
        messages.success(request, "The hours are kept.")
        return redirect("office:promises")
    return _page(request, hours_form=form)


def close_day(request: PersonRequest) -> HttpResponse:
    form = ClosedDayForm(request.POST)
    if form.is_valid() and tried(
        form, agreements.close_day, **form.cleaned_data, actor=request.user, now=timezone.now()
    ):
        messages.success(request, "The day does not count any more.")
        return redirect("office:promises")
    return _page(request, day_form=form)


def open_day(request: PersonRequest, pk: int) -> HttpResponse:
    closed = outgoing.closed_day_for(request.user, pk, write=True)
    agreements.open_day(closed=closed, actor=request.user, now=timezone.now())
    messages.success(request, "The day counts again.")
    return redirect("office:promises")


def _page(request: PersonRequest, **shown: BaseForm) -> HttpResponse:
    hours = outgoing.hours_for(request.user)
    forms: dict[str, Any] = {
        "rule_form": SiteRuleForm(units=Business.the().units),
        "hours_form": HoursForm(initial={"hours": said(hours)}),  # type: ignore[arg-type]
        "day_form": ClosedDayForm(),
    } | shown
    order = Ticket.Urgency.values  # the most urgent first
    rules = sorted(
        outgoing.rules(), key=lambda one: (str(one.site or ""), order.index(one.urgency))
    )
    context = {
        "everywhere": [one for one in rules if one.site is None],
        "own": [one for one in rules if one.site is not None],
        "hours": said(hours).splitlines(),  # type: ignore[arg-type]
        "days": outgoing.closed_days()[:DAYS_SHOWN],
        **forms,
    }
    return render(request, "office/promises/page.html", context, status=sent(*forms.values()))
