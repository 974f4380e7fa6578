"""What is done to a ticket at the desk: reported, each act, closed."""

from collections.abc import Callable, Mapping
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.models import Machine
from office.doors import PersonRequest, part_or_page, sent, tried
from office.forms.ticket_work import CloseForm
from office.forms.tickets import ACTS, ReportForm
from people.errors import NotFound
from people.models import Person
from service.tickets.actions import attachments, changes, closing, moves, refunds, reporting
from service.tickets.models import Attachment, Symptom, Ticket
from service.tickets.queries import gates
from service.tickets.queries.duplicates import same

from .tickets import about, ticket_page


@transaction.atomic
def _attach(
    *, ticket: Ticket, files: list[Any], seen_version: int | None, actor: Person, now: Any
) -> list[Attachment]:
    # A picture stands in nobody's way, so that it is put whatever happened meanwhile.
    del seen_version
    return [
        attachments.add(ticket=ticket, name=one.name, raw=one.read(), actor=actor, now=now)
        for one in files
    ]


def _detach(
    *,
    ticket: Ticket,
    attachment: int,
    reason: str,
    seen_version: int | None,
    actor: Person,
    now: Any,
) -> Ticket:
    del seen_version
    found = gates.attachment_for(actor, attachment, write=True)
    if found.ticket_id != ticket.pk:
        raise NotFound(f"there is no attachment {attachment} of {ticket}")
    attachments.remove(attachment=found, reason=reason, actor=actor, now=now)
    return ticket


DO: Mapping[str, Callable[..., Any]] = {
    "give": moves.give,
    "take": moves.take,
    "on_site": moves.on_site,
    "hand_back": moves.hand_back,
    "wait": moves.wait,
    "resume": moves.resume,
    "drop": moves.drop,
    "reopen": moves.reopen,
    "join": reporting.join,
    "change": changes.change,
    "note": changes.note,
    "refund": refunds.ask,
    "attach": _attach,
    "detach": _detach,
}
SAID = {
    "give": "It is given.",
    "take": "It is yours.",
    "on_site": "Work has begun.",
    "hand_back": "It is nobody's again.",
    "wait": "The clock of its promise stands.",
    "resume": "The clock runs again.",
    "drop": "It is dropped.",
    "reopen": "This goes on from the one that was closed.",
    "join": "It is joined; the other goes on.",
    "change": "Kept.",
    "note": "Noted.",
    "refund": "The refund stands among those to be paid.",
    "attach": "Put to the ticket.",
    "detach": "Taken away.",
}


def act(request: PersonRequest, pk: int, verb: str) -> HttpResponse:
    """One act; what refuses it stands beside its form on the ticket's page."""
    if verb not in ACTS:
        raise NotFound(f"there is no act {verb} on a ticket")
    ticket = gates.ticket_for(request.user, pk, write=True)
    form = ACTS[verb](request.POST, request.FILES, ticket=ticket)
    if form.is_valid():
        done = tried(
            form,
            DO[verb],
            ticket=ticket,
            **form.given(),
            actor=request.user,
            now=timezone.now(),
        )
        if done is not None:
            messages.success(request, SAID[verb])
            # Opened again, a closed one goes on as another.
            return redirect("office:ticket", done.pk if verb == "reopen" else pk)
    return ticket_page(request, gates.ticket_for(request.user, pk), form)


def report(request: PersonRequest) -> HttpResponse:
    """Report a fault. With the machine and what is wrong, the open ones like it are shown first."""
    posted = request.method == "POST"
    data = request.POST if posted else request.GET
    machine = _row(Machine.objects.select_related("kind"), data.get("machine", ""))
    symptom = _row(Symptom.objects.all(), data.get("symptom", ""))
    if posted:
        form = ReportForm(data, machine=machine)
    else:
        first = {name: data[name] for name in data if name in ReportForm.base_fields}
        form = ReportForm(initial=first, machine=machine)
    if posted and form.is_valid():
        into = _row(gates.tickets_seen_by(request.user), data.get("join", ""))
        made = tried(
            form,
            reporting.report,
            **form.given(),
            join=into,
            actor=request.user,
            now=timezone.now(),
        )
        if made is not None:
            shown = into if made.joined and into is not None else made.ticket
            said = "joined to the open one" if made.joined else "reported"
            messages.success(request, f"{made.ticket.reference}: {said}.")
            return redirect("office:ticket", shown.pk)
    context = {
        "form": form,
        "machine": machine,
        "symptom": symptom,
        "alike": same(machine, symptom) if machine and symptom else [],
        "now": timezone.now(),
    }
    if posted:
        return render(request, "office/tickets/report.html", context, status=sent(form))
    return part_or_page(
        request, "office/tickets/report_part.html", "office/tickets/report.html", context
    )


def close(request: PersonRequest, pk: int) -> HttpResponse:
    """The work that ends a ticket."""
    ticket = gates.ticket_for(request.user, pk, write=True)
    form = CloseForm(request.POST or None, ticket=ticket)
    if request.method == "POST" and form.is_valid():
        done = tried(
            form,
            closing.close,
            ticket=ticket,
            **form.given(),
            seen_version=form.cleaned_data["seen_version"],
            actor=request.user,
            now=timezone.now(),
        )
        if done is not None:
            messages.success(request, f"{ticket.reference}: closed.")
            return redirect("office:ticket", pk)
    context = {**about(ticket, request.user), "form": form}
    return render(request, "office/tickets/close.html", context, status=sent(form))


def _row(rows: Any, key: str) -> Any:
    return rows.filter(pk=int(key[:18])).first() if key.isascii() and key.isdecimal() else None
