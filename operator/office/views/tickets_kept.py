"""What tickets stand on, and the refunds that are to be paid."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db.models import Sum
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from office.doors import PersonRequest, sent, sent_as_file, tried
from office.forms.base import RowForm
from office.forms.tickets import PayForm
from office.forms.tickets_kept import CauseForm, ServiceSettingsForm, SymptomForm
from people import audit
from people.exports import within
from people.models import Business
from people.roles import Role
from service.tickets import tables
from service.tickets.actions import refunds as money
from service.tickets.actions import words
from service.tickets.models import Cause, Refund, ServiceSettings, Symptom
from service.tickets.queries import gates, listing

SHOWN = 30


@dataclass(frozen=True)
class Kept:
    """One kind of row: its words, form, gatekeeper and action."""

    added: str
    note: str
    form: type[RowForm]
    gate: Callable[..., Any]
    save: Callable[..., Any]
    argument: str


SYMPTOM = Kept(
    "Add what can be wrong",
    "In words that a customer understands. What to look at first stands one a line.",
    SymptomForm,
    gates.symptom_for,
    words.save_symptom,
    "symptom",
)
CAUSE = Kept(
    "Add a cause",
    "What turned out to be behind a fault. Such a cause teaches the watch what to look for first.",
    CauseForm,
    gates.cause_for,
    words.save_cause,
    "cause",
)


def kept(request: PersonRequest) -> HttpResponse:
    """The words and the settings."""
    context = {
        "symptoms": Symptom.objects.order_by("order", "words", "pk"),
        "causes": Cause.objects.order_by("order", "words", "pk"),
        "settings": gates.settings_for(request.user),
    }
    return render(request, "office/tickets/kept.html", context)


def edit_symptom(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    return _edit(request, SYMPTOM, pk)


def edit_cause(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    return _edit(request, CAUSE, pk)


def service_settings(request: PersonRequest) -> HttpResponse:
    """What service work costs, how long things count, and the limits of refunds."""
    row: ServiceSettings = gates.settings_for(request.user, write=True)
    form = ServiceSettingsForm(request.POST or None, units=Business.the().units, row=row)
    if request.method == "POST" and form.is_valid():
        given = {"changes": form.changes(), "actor": request.user, "now": timezone.now()}
        if tried(form, words.save_settings, **given):
            messages.success(request, "Kept.")
            return redirect("office:tickets-kept")
    note = "What was closed already keeps its cost."
    return _form(request, form, row, "Labour, times and limits", note)


def refunds(request: PersonRequest) -> HttpResponse:
    """Those that somebody still waits for, and what became of the others."""
    return _refunds(request)


def refunds_export(request: PersonRequest) -> HttpResponse:
    rows = gates.refunds_seen_by(request.user).order_by("-wanted_at", "-pk")
    return sent_as_file(request, tables.refunds(within(rows), Business.the().time_zone))


def end_refund(request: PersonRequest, pk: int) -> HttpResponse:
    """It is paid, or refused."""
    refund = gates.refund_for(request.user, pk, write=True)
    form = PayForm(request.POST, auto_id=f"refund-{pk}-%s")
    if form.is_valid():
        given = dict(form.cleaned_data)
        act: Callable[..., Any] = money.pay
        if request.POST.get("do") == "refuse":
            act = money.refuse
            given.pop("paid_out_by")
        done = tried(form, act, refund=refund, **given, actor=request.user, now=timezone.now())
        if done is not None:
            said = Business.the().currency
            messages.success(request, f"{done.amount:.2f} {said}: {done.get_state_display()}.")
            return redirect("office:refunds")
    return _refunds(request, pk, form)


def _refunds(
    request: PersonRequest, wrong: int | None = None, form: PayForm | None = None
) -> HttpResponse:
    rows = gates.refunds_seen_by(request.user)
    waiting = list(listing.unpaid(rows))
    context = {
        "unpaid": [
            (one, form if one.pk == wrong else PayForm(auto_id=f"refund-{one.pk}-%s"))
            for one in waiting
        ],
        "owed": listing.unpaid(rows).order_by().aggregate(owed=Sum("amount"))["owed"],
        "ended": rows.exclude(state=Refund.State.ASKED).order_by("-ended_at", "-pk")[:SHOWN],
        "sees_contact": request.user.has_role(Role.OWNER, Role.DISPATCHER),
    }
    status = 200 if form is None else sent(form)
    return render(request, "office/tickets/refunds.html", context, status=status)


def _edit(request: PersonRequest, kind: Kept, pk: int | None) -> HttpResponse:
    row = kind.gate(request.user, pk, write=True) if pk else None
    form = kind.form(request.POST or None, units=Business.the().units, row=row)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            kind.save,
            **{kind.argument: row},
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:tickets-kept")
    return _form(request, form, row, f"Change: {row}" if row else kind.added, kind.note)


def _form(request: PersonRequest, form: RowForm, row: Any, title: str, note: str) -> HttpResponse:
    context = {
        "form": form,
        "row": row,
        "title": title,
        "note": note,
        "entries": audit.entries_of(row)[:20] if row is not None else (),
    }
    return render(request, "office/tickets/keep.html", context, status=sent(form))
