"""Plans of maintenance, and machines' own terms of them."""

from datetime import timedelta

from django.contrib import messages
from django.db.models import Count, Min, Q
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from office.doors import PersonRequest, sent, tried
from office.forms.upkeep import OwnTermsForm, PlanForm
from people import audit
from people.models import Business
from service.upkeep.actions import plans
from service.upkeep.asked import asked_of
from service.upkeep.models import MaintenancePlan
from service.upkeep.queries import gates
from service.upkeep.queries.due import turns_listed

from .upkeep import today

SHOWN = 15


def listing(request: PersonRequest) -> HttpResponse:
    """Every plan, with how much of it is open and late."""
    now = today()
    rows = MaintenancePlan.objects.select_related("kind", "machine", "responsible").annotate(
        open=Count("due_work", filter=Q(due_work__state="open")),
        late=Count("due_work", filter=Q(due_work__state="open", due_work__day__lt=now)),
        soon=Count(
            "due_work",
            filter=Q(
                due_work__state="open",
                due_work__day__gte=now,
                due_work__day__lte=now + timedelta(days=28),
            ),
        ),
        next=Min("due_work__day", filter=Q(due_work__state="open")),
    )
    context = {"plans": rows.order_by("-active", "name", "pk"), "today": now}
    return render(request, "office/upkeep/plans.html", context)


def page(request: PersonRequest, pk: int) -> HttpResponse:
    return _page(request, gates.plan_for(request.user, pk), OwnTermsForm())


def _page(request: PersonRequest, plan: MaintenancePlan, form: OwnTermsForm) -> HttpResponse:
    turns = turns_listed(plan=plan.pk)
    context = {
        "plan": plan,
        "asked": asked_of(plan.readings_asked),
        "turns": turns[:SHOWN],
        "more": max(turns.count() - SHOWN, 0),
        "own_terms": plan.own_terms.select_related("machine"),
        "done": gates.done_whole().filter(plan=plan).order_by("-done_at", "-pk")[:SHOWN],
        "form": form,
        "today": today(),
        "entries": audit.entries_of(plan)[:20],
    }
    return render(request, "office/upkeep/plan.html", context, status=sent(form))


def edit(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    """Make a plan or change one."""
    plan = gates.plan_for(request.user, pk, write=True) if pk else None
    form = PlanForm(request.POST or None, units=Business.the().units, row=plan)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            plans.save_plan,
            plan=plan,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept; what is due is worked out anew.")
            return redirect("office:upkeep-plan", saved.pk)
    context = {"plan": plan, "form": form}
    return render(request, "office/upkeep/edit_plan.html", context, status=sent(form))


def own_terms(request: PersonRequest, pk: int) -> HttpResponse:
    """Give a machine its own interval, or leave it out."""
    plan = gates.plan_for(request.user, pk, write=True)
    form = OwnTermsForm(request.POST)
    if form.is_valid():
        given = dict(form.cleaned_data)
        machine = given.pop("machine")
        kept = tried(
            form,
            plans.save_own_terms,
            plan=plan,
            machine=machine,
            changes=given,
            actor=request.user,
            now=timezone.now(),
        )
        if kept:
            messages.success(request, f"{machine}: kept.")
            return redirect("office:upkeep-plan", pk)
    return _page(request, plan, form)


def remove_own_terms(request: PersonRequest, pk: int) -> HttpResponse:
    own = gates.own_terms_for(request.user, pk, write=True)
    plan, machine = own.plan_id, own.machine
    plans.remove_own_terms(own=own, actor=request.user, now=timezone.now())
    messages.success(request, f"{machine}: as the plan says again.")
    return redirect("office:upkeep-plan", plan)
