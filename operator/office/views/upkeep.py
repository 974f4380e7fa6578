"""Planned maintenance: what is due, who does it, and what was done."""

from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.models import Machine, Placement
from fleet.machines.queries.fleet import placements_now
from fleet.machines.queries.gates import machine_for
from office.doors import PersonRequest, sent, sent_as_file, tried
from office.forms.upkeep import (
    DueFilter,
    GiveForm,
    PutOffForm,
    RecordForm,
    WhyForm,
    until_of,
)
from people import audit
from people.exports import within
from people.models import Business
from people.roles import Role
from service.upkeep import tables
from service.upkeep.actions import due, work
from service.upkeep.models import DueWork, MaintenanceDone
from service.upkeep.queries import gates
from service.upkeep.queries.due import counts, turns_listed, work_of

SHOWN = 200
BEFORE = 5


def today() -> date:
    return timezone.localdate(timezone.now(), Business.the().time_zone)


def listing(request: PersonRequest) -> HttpResponse:
    """What is due, the latest first; a driver sees the own work unless asking for more."""
    form = DueFilter(request.GET if request.GET else _first(request))
    found = _turns(request, form)
    rows = list(found[: SHOWN + 1])
    context = {
        "form": form,
        "turns": rows[:SHOWN],
        "more": found.count() - SHOWN if len(rows) > SHOWN else 0,
        "counts": counts(today()),
        "mine": counts(today(), request.user),
        "today": today(),
        "week": today() + timedelta(days=7),
    }
    return render(request, "office/upkeep/list.html", context)


def export(request: PersonRequest) -> HttpResponse:
    """The list as a file, narrowed as its page is."""
    rows = _turns(request, DueFilter(request.GET if request.GET else _first(request)))
    return sent_as_file(request, tables.due(within(rows), Business.the().time_zone))


def turn(request: PersonRequest, pk: int) -> HttpResponse:
    return _turn(request, gates.due_for(request.user, pk), PutOffForm(), None)


def put_off(request: PersonRequest, pk: int) -> HttpResponse:
    """Move a turn to another day."""
    found = gates.due_for(request.user, pk, write=True)
    form = PutOffForm(request.POST)
    given = {"due": found, "actor": request.user, "now": timezone.now()}
    if form.is_valid():
        moved = tried(form, due.put_off, **form.cleaned_data, **given)
        if moved:
            messages.success(request, f"{found}: now for {moved.day:%a} {moved.day:%d %b}.")
            return redirect("office:upkeep-turn", pk)
    return _turn(request, gates.due_for(request.user, pk), form, None)


def give(request: PersonRequest, pk: int) -> HttpResponse:
    """Say who does a turn."""
    found = gates.due_for(request.user, pk, write=True)
    form = GiveForm(request.POST)
    given = {"due": found, "actor": request.user, "now": timezone.now()}
    if form.is_valid() and tried(form, due.give, to=form.cleaned_data["to"], **given):
        whom = form.cleaned_data["to"] or "whoever the plan names"
        messages.success(request, f"{found}: with {whom}.")
        return redirect("office:upkeep-turn", pk)
    return _turn(request, gates.due_for(request.user, pk), PutOffForm(), form)


def _turn(
    request: PersonRequest, found: DueWork, put_off_form: PutOffForm, give_form: GiveForm | None
) -> HttpResponse:
    if give_form is None:
        give_form = GiveForm(initial={"to": found.given_to_id})
    context = {
        "turn": found,
        "place": placed(found.machine),
        "today": today(),
        "put_off_form": put_off_form,
        "give_form": give_form,
        "before": work_of(found.machine).filter(plan=found.plan)[:BEFORE],
        "entries": audit.entries_of(found)[:20],
    }
    status = sent(put_off_form, give_form)
    return render(request, "office/upkeep/turn.html", context, status=status)


def record(request: PersonRequest, plan: int, machine: int) -> HttpResponse:
    """Write down that a plan's work was done at a machine."""
    found, where = gates.plan_for(request.user, plan), machine_for(request.user, machine)
    now = timezone.now()
    form = RecordForm(
        request.POST or None,
        plan=found,
        units=Business.the().units,
        initial={"minutes": found.minutes},
    )
    if request.method == "POST" and form.is_valid():
        written = tried(
            form,
            work.done,
            plan=found,
            machine=where,
            answers=form.answers(),
            readings=form.taken(),
            at=form.moment("at", now),
            minutes=form.cleaned_data["minutes"],
            note=form.cleaned_data["note"],
            actor=request.user,
            now=now,
        )
        if written:
            messages.success(request, f"{found} at {where}: written down.")
            return redirect("office:upkeep-done", written.pk)
    context = {
        "plan": found,
        "machine": where,
        "place": placed(where),
        "turn": DueWork.objects.filter(plan=found, machine=where, state="open").first(),
        "last": work_of(where).filter(plan=found, set_aside_at__isnull=True).first(),
        "form": form,
        "today": today(),
    }
    return render(request, "office/upkeep/record.html", context, status=sent(form))


def done(request: PersonRequest, pk: int) -> HttpResponse:
    return _done(request, gates.done_for(request.user, pk), WhyForm())


def set_aside(request: PersonRequest, pk: int) -> HttpResponse:
    """Take back what was written down by mistake."""
    found = gates.done_for(request.user, pk, write=True)
    form = WhyForm(request.POST)
    given = {"done": found, "actor": request.user, "now": timezone.now()}
    if form.is_valid() and tried(form, work.set_aside, why=form.cleaned_data["why"], **given):
        messages.success(request, "It is taken back and counts for nothing.")
        return redirect("office:upkeep-done", pk)
    return _done(request, gates.done_for(request.user, pk), form)


def _done(request: PersonRequest, found: MaintenanceDone, form: WhyForm) -> HttpResponse:
    following = DueWork.objects.filter(plan=found.plan, machine=found.machine, state="open").first()
    context = {
        "done": found,
        "tickets": gates.tickets_from(found),
        "following": following,
        "form": form,
        "may_take_back": found.by_id == request.user.pk
        or request.user.has_role(Role.OWNER, Role.DISPATCHER),
        "entries": audit.entries_of(found)[:20],
    }
    return render(request, "office/upkeep/done.html", context, status=sent(form))


def placed(machine: Machine) -> Placement | None:
    """Where a machine stands now."""
    return placements_now().filter(machine=machine).first()


def _turns(request: PersonRequest, form: DueFilter) -> "QuerySet[DueWork]":
    given: dict[str, Any] = form.cleaned_data if form.is_valid() else {}
    since, until = until_of(given.get("within") or "28", today())
    return turns_listed(
        since=since,
        until=until,
        plan=given["plan"].pk if given.get("plan") else None,
        kind=given["kind"].pk if given.get("kind") else None,
        given_to=request.user if given.get("who") == "mine" else None,
        unassigned=given.get("who") == "nobody",
        search=given.get("search", ""),
    )


def _first(request: PersonRequest) -> dict[str, str]:
    """What a person sees first: the own work where there is any."""
    mine = sum(counts(today(), request.user).values())
    return {"within": "7", "who": "mine" if mine else ""}
