"""Bags of cash: where each one is, what was in it, and what waits between seal and bank."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.sales.actions import bags as counting
from fleet.sales.actions import custody
from fleet.sales.models import Bag, BagStep
from fleet.sales.queries.bags import (
    BANKED,
    COUNTED,
    MISSING,
    OPENED,
    SEALED,
    STATES,
    bag_for,
    bags_listed,
    bags_placed,
)
from fleet.sales.queries.custody import open_custody, timeline
from fleet.sales.queries.expected import expected_of
from office.doors import PersonRequest, sent, tried
from office.forms.cash import BagCountForm, BagsForm, BagStepForm, ReceiveForm
from office.paging import latest_of
from people import audit

WAITING = {"waiting": True, "has-count": False}
MOST_TO_RECEIVE = 200


def listing(request: PersonRequest) -> HttpResponse:
    """All bags, and how many wait to be counted."""
    form = BagsForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {"search": "", "which": ""}
    which = asked["which"]
    rows = bags_listed(
        waiting=WAITING.get(which),
        search=asked["search"].strip(),
        state=which if which in STATES else "",
    )
    context = {
        "form": form,
        "page": latest_of(rows, request.GET, moment="sealed_at"),
        "waiting": Bag.objects.filter(counts__isnull=True).count(),
    }
    return render(request, "office/bags/bags.html", context)


def waiting(request: PersonRequest) -> HttpResponse:
    """What has not gone on, from seal to bank, and bags to receive."""
    return _waiting(request, ReceiveForm())


def receive(request: PersonRequest) -> HttpResponse:
    """Sealed bags came in from the road."""
    form = ReceiveForm(request.POST)
    if form.is_valid():
        now = timezone.now()
        given = {**form.cleaned_data, "at": form.moment("at", now)}
        done = tried(form, custody.receive_bags, actor=request.user, now=now, **given)
        if done:
            messages.success(request, f"{len(done)} received.")
            return redirect("office:bags-custody")
    return _waiting(request, form)


def _waiting(request: PersonRequest, form: ReceiveForm) -> HttpResponse:
    sealed = bags_placed().filter(state=SEALED).select_related("machine", "sealed_by")
    context = {
        "form": form,
        "custody": open_custody(timezone.now()),
        "sealed": sealed.order_by("-sealed_at", "-pk")[:MOST_TO_RECEIVE],
        "chosen": request.POST.getlist("bags"),
    }
    return render(request, "office/bags/custody.html", context, status=sent(form))


def bag(request: PersonRequest, pk: int) -> HttpResponse:
    return _bag(request, bag_for(request.user, pk))


def count(request: PersonRequest, pk: int) -> HttpResponse:
    found = bag_for(request.user, pk, write=True)
    form = BagCountForm(request.POST, prefix="count")
    if form.is_valid():
        now = timezone.now()
        counted = tried(
            form,
            counting.count_bag,
            bag=found,
            lines=form.lines(),
            counted_at=form.moment("counted_at", now),
            actor=request.user,
            now=now,
            **form.given(),
        )
        if counted:
            messages.success(request, f"{counted}: kept.")
            return redirect("office:bags")
    return _bag(request, found, counts=form)


def step(request: PersonRequest, pk: int) -> HttpResponse:
    """Say that a bag was received, opened, is missing, or was found again."""
    found = bag_for(request.user, pk, write=True)
    form = BagStepForm(request.POST, prefix="step", choices=BagStep.What.choices)
    if form.is_valid():
        now = timezone.now()
        given = {**form.cleaned_data, "at": form.moment("at", now)}
        done = tried(form, custody.take_step, bag=found, actor=request.user, now=now, **given)
        if done:
            messages.success(request, f"{done}.")
            return redirect("office:bag", pk)
    return _bag(request, found, steps=form)


def _bag(
    request: PersonRequest,
    found: Bag,
    *,
    counts: BagCountForm | None = None,
    steps: BagStepForm | None = None,
) -> HttpResponse:
    every = list(found.counts.all())
    form = counts or BagCountForm(prefix="count", last=every[0].pk if every else 0)
    steps = steps or BagStepForm(prefix="step", choices=_next(found.state))
    told = expected_of(found)
    difference = None
    if found.amount is not None and told.amount is not None:
        difference = found.amount - told.amount
    context = {
        "bag": found,
        "form": form,
        "steps": steps,
        "may_count": found.state not in (BANKED, MISSING),
        "may_step": found.state != BANKED,
        "timeline": timeline(found),
        "expected": told,
        "difference": difference,
        "entries": audit.entries_of(found)[:20],
    }
    return render(request, "office/bags/bag.html", context, status=sent(form, steps))


def _next(state: str) -> list[tuple[str, str]]:
    """What can be said of a bag next. The action judges; a page offers no more than that."""
    what = BagStep.What
    offered = {
        MISSING: [what.FOUND],
        COUNTED: [what.MISSING],
        OPENED: [what.MISSING],
        SEALED: [what.RECEIVED, what.OPENED, what.MISSING],
    }.get(state, [what.OPENED, what.MISSING])
    return [(one.value, one.label) for one in offered]
