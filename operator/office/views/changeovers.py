"""Changeovers: what is open, one sheet, and carrying it out."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.actions import changeovers as actions
from fleet.machines.actions.setups import record_as_found
from fleet.machines.geometry import units_of
from fleet.machines.models import Changeover, ChangeoverPlan
from fleet.machines.queries.fleet import changeovers_open
from fleet.machines.queries.gates import changeover_for, column_for, plan_for
from fleet.machines.queries.sheets import sheet
from office import glances
from office.columns import loaded_with
from office.doors import PersonRequest, sent, tried
from office.drawing.sections import NEAR, near, scale_said
from office.forms.changeovers import AbandonForm, AsFoundForm, AsLeftForm, Strays
from people import audit
from people.models import Business

SHOWN = 30


def listing(request: PersonRequest) -> HttpResponse:
    """What is planned and in hand by day, and what was ended lately."""
    found = list(changeovers_open())
    ended = (
        Changeover.objects.filter(ended_at__isnull=False)
        .select_related("plan", "column__machine", "column__position", "product", "ended_by")
        .order_by("-ended_at", "-pk")[:SHOWN]
    )
    places = glances.places({one.column.machine for one in found})
    context = {
        "open": [(one, places.get(one.column.machine_id)) for one in found],
        "ended": ended,
    }
    return render(request, "office/changeovers/list.html", context)


def plan(request: PersonRequest, pk: int) -> HttpResponse:
    """All changeovers planned in one go."""
    found: ChangeoverPlan = plan_for(request.user, pk)
    changeovers = list(found.changeovers.all())
    places = glances.places({one.column.machine for one in changeovers})
    context = {
        "plan": found,
        "lines": [(one, places.get(one.column.machine_id)) for one in changeovers],
    }
    return render(request, "office/changeovers/plan.html", context)


def page(request: PersonRequest, pk: int) -> HttpResponse:
    """The sheet: before and after to scale, the steps, the test vends, the blanks."""
    return _page(request, changeover_for(request.user, pk), AbandonForm())


def _page(request: PersonRequest, changeover: Changeover, form: AbandonForm) -> HttpResponse:
    whole = sheet(changeover)
    units = units_of(Business.the())
    before = changeover.from_set_up
    title_after = f"After: {changeover.product.name}, {changeover.deep} deep"
    context = {
        "changeover": changeover,
        "sheet": whole,
        "place": glances.places([changeover.column.machine]).get(changeover.column.machine_id),
        "scale": scale_said(NEAR),
        "before": near(
            whole.position,
            loaded_with(before, before.product.package) if before else None,
            ident="before",
            title=f"Before: {before.product.name}, {before.deep} deep" if before else "Before",
            units=units,
        ),
        "after": near(
            whole.position,
            loaded_with(changeover, changeover.product.package),
            ident="after",
            title=title_after,
            units=units,
        ),
        "form": form,
        "entries": audit.entries_of(changeover)[:SHOWN],
    }
    return render(request, "office/changeovers/sheet.html", context, status=sent(form))


def take(request: PersonRequest, pk: int) -> HttpResponse:
    changeover = changeover_for(request.user, pk, write=True)
    actions.take(changeover=changeover, actor=request.user, now=timezone.now())
    messages.success(request, "It is in your hand. Record how you leave it when it is done.")
    return redirect("office:changeover", pk)


def abandon(request: PersonRequest, pk: int) -> HttpResponse:
    changeover = changeover_for(request.user, pk, write=True)
    form = AbandonForm(request.POST)
    if form.is_valid() and tried(
        form,
        actions.abandon,
        changeover=changeover,
        reason=form.cleaned_data["reason"],
        actor=request.user,
        now=timezone.now(),
    ):
        messages.success(request, "It is abandoned; the column stays as it was.")
        return redirect("office:changeover", pk)
    return _page(request, changeover_for(request.user, pk), form)


def as_left(request: PersonRequest, pk: int) -> HttpResponse:
    """Record how the column was left: on a phone, at the machine."""
    changeover = changeover_for(request.user, pk, write=True)
    posted = request.POST if request.method == "POST" else None
    strays = Strays(posted)
    if posted and strays.asked:
        form = AsLeftForm(initial=posted.dict(), changeover=changeover)
    else:
        form = AsLeftForm(posted, changeover=changeover)
    before = changeover.from_set_up
    # Both are asked, so that each says what is wrong with it.
    valid = [form.is_valid(), strays.are_valid(before.product if before else None)]
    if all(valid):
        given = form.cleaned_data
        done = tried(
            form,
            actions.complete,
            changeover=changeover,
            as_left=form.as_left(),
            removed=[*form.removed(), *strays.removed()],
            test_vends_made=given["test_vends_made"],
            test_vends_passed=given["test_vends_passed"],
            picture_matches=given["picture_matches"],
            what_happened=given["what_happened"],
            mismatch_reason=given["mismatch_reason"],
            actor=request.user,
            now=timezone.now(),
        )
        if done:
            messages.success(request, f"{done.column}: the new set-up is in force.")
            return redirect("office:changeover", pk)
    context = {
        "changeover": changeover,
        "sheet": sheet(changeover),
        "form": form,
        "strays": strays,
    }
    status = sent(form, *strays.forms)
    return render(request, "office/changeovers/as_left.html", context, status=status)


def as_found(request: PersonRequest, pk: int) -> HttpResponse:
    """Record how a column was found set, outside of any changeover."""
    column = column_for(request.user, pk, write=True)
    form = AsFoundForm(request.POST or None, column=column)
    if request.method == "POST" and form.is_valid():
        now = timezone.now()
        recorded = tried(
            form,
            record_as_found,
            column=column,
            **form.cleaned_data,
            starts_at=now,
            actor=request.user,
            now=now,
        )
        if recorded:
            messages.success(request, f"{column}: recorded as found.")
            return redirect("office:column", pk)
    context = {"column": column, "form": form}
    return render(request, "office/changeovers/as_found.html", context, status=sent(form))
