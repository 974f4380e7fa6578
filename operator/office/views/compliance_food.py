"""Food kept cold or hot: how each machine stands, its chart, its lock, and the limits."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.queries.gates import machine_for
from office.doors import PersonRequest, sent, tried
from office.drawing.food import course_drawn
from office.forms.compliance import FailureForm, LiftForm, LimitsForm, TemperatureForm
from people import audit
from people.errors import NotFound
from people.models import Business
from service.compliance.actions import temperatures
from service.compliance.queries import gates
from service.compliance.queries.temperatures import (
    courses,
    limits_by_state,
    locks_listed,
    open_locks,
)
from service.compute import food_code

READINGS_SHOWN = 30
LOCKS_SHOWN = 20


def listing(request: PersonRequest) -> HttpResponse:
    """Machines with food kept cold or hot, the locked ones first, and the limits by state."""
    rows = courses(timezone.now())
    rows.sort(key=lambda one: (one.lock is None, not one.standing.overdue))
    context = {
        "courses": rows,
        "locked": sum(one.lock is not None for one in rows),
        "unread": sum(one.last is None for one in rows),
        "own": list(limits_by_state().values()),
        "known": [food_code.USUAL_LIMITS, *food_code.STATE_LIMITS.values()],
        "locks": locks_listed()[:LOCKS_SHOWN],
    }
    return render(request, "office/compliance/temperatures.html", context)


def page(request: PersonRequest, pk: int) -> HttpResponse:
    return _page(request, pk)


def read(request: PersonRequest, pk: int) -> HttpResponse:
    """Write down a temperature; the food is judged by it at once."""
    machine = machine_for(request.user, pk)
    now = timezone.now()
    form = TemperatureForm(request.POST, units=Business.the().units)
    if form.is_valid():
        given = form.cleaned_data
        taken = tried(
            form,
            temperatures.take_reading,
            machine=machine,
            what=given["what"],
            value=given["value"],
            unit=given["unit"],
            at=form.moment("at", now),
            actor=request.user,
            now=now,
        )
        if taken:
            messages.success(request, f"{machine}: {taken}, written down.")
            return redirect("office:temperatures-machine", pk)
    return _page(request, pk, read_form=form)


def fail(request: PersonRequest, pk: int) -> HttpResponse:
    """Somebody found the power or the cooling failed: the machine is locked."""
    machine = machine_for(request.user, pk)
    now = timezone.now()
    form = FailureForm(request.POST)
    if form.is_valid():
        lock = tried(
            form,
            temperatures.lock_by_hand,
            machine=machine,
            what=form.cleaned_data["what"],
            at=form.moment("at", now),
            actor=request.user,
            now=now,
        )
        if lock:
            messages.success(request, f"{machine}: locked until it is serviced and restocked.")
            return redirect("office:temperatures-machine", pk)
    return _page(request, pk, fail_form=form)


def lift(request: PersonRequest, pk: int) -> HttpResponse:
    """A machine was serviced and restocked with safe food."""
    machine = machine_for(request.user, pk)
    now = timezone.now()
    lock = open_locks([machine.pk]).first()
    if lock is None:
        raise NotFound(f"{machine} is not locked")
    form = LiftForm(request.POST)
    if form.is_valid():
        lifted = tried(
            form,
            temperatures.lift,
            lock=lock,
            serviced_at=form.moment("serviced_at", now),
            restocked_at=form.moment("restocked_at", now),
            said=form.cleaned_data["said"],
            actor=request.user,
            now=now,
        )
        if lifted:
            messages.success(request, f"{machine}: it may sell again.")
            return redirect("office:temperatures-machine", pk)
    return _page(request, pk, lift_form=form)


def edit_limits(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    """Write down a state's limits, or change them."""
    found = gates.limits_for(request.user, pk, write=True) if pk else None
    usual = food_code.USUAL_LIMITS
    first = {
        "cold_most_c": usual.cold_c,
        "cold_minutes": usual.cold_minutes,
        "hot_least_c": usual.hot_c,
        "hot_minutes": usual.hot_minutes,
    }
    form = LimitsForm(
        request.POST or None,
        units=Business.the().units,
        row=found,
        initial={} if found else first,
    )
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            temperatures.save_limits,
            limits=found,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"Limits of {saved}: kept.")
            return redirect("office:temperatures")
    context = {
        "limits": found,
        "form": form,
        "entries": audit.entries_of(found)[:20] if found else [],
    }
    return render(request, "office/compliance/edit_limits.html", context, status=sent(form))


def remove_limits(request: PersonRequest, pk: int) -> HttpResponse:
    """A state goes by what is known of it again."""
    found = gates.limits_for(request.user, pk, write=True)
    said = str(found)
    temperatures.remove_limits(limits=found, actor=request.user, now=timezone.now())
    messages.success(request, f"Limits of {said}: taken away.")
    return redirect("office:temperatures")


def _page(request: PersonRequest, pk: int, **forms: Any) -> HttpResponse:
    machine = machine_for(request.user, pk)
    course = next(iter(courses(timezone.now(), [machine.pk])), None)
    read_form = forms.get("read_form") or TemperatureForm(units=Business.the().units)
    fail_form = forms.get("fail_form") or FailureForm(prefix=None)
    lift_form = forms.get("lift_form") or LiftForm()
    lock = course.lock if course else open_locks([machine.pk]).first()
    zone = Business.the().time_zone
    context = {
        "machine": machine,
        "course": course,
        "lock": lock,
        "caution": temperatures.CAUTION,
        "chart": course_drawn(course, zone, ident="course") if course else "",
        "readings": list(reversed(course.readings))[:READINGS_SHOWN] if course else [],
        "locks": locks_listed(machine=machine.pk)[:LOCKS_SHOWN],
        "read_form": read_form,
        "fail_form": fail_form,
        "lift_form": lift_form,
        "entries": audit.entries_of(lock)[:20] if lock else [],
    }
    status = sent(read_form, fail_form, lift_form)
    return render(request, "office/compliance/temperatures_machine.html", context, status=status)
