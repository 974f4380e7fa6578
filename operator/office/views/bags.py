"""Bags of cash: which wait to be counted, and what was in the others."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.sales.actions import bags as counting
from fleet.sales.models import Bag
from fleet.sales.queries.bags import bag_for, bags_listed
from office.doors import PersonRequest, sent, tried
from office.forms.watch import BagCountForm, BagsForm
from office.paging import latest_of
from people import audit

WAITING = {"waiting": True, "counted": False}


def listing(request: PersonRequest) -> HttpResponse:
    form = BagsForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {"search": "", "which": ""}
    rows = bags_listed(waiting=WAITING.get(asked["which"]), search=asked["search"].strip())
    context = {
        "form": form,
        "page": latest_of(rows, request.GET, moment="sealed_at"),
        "waiting": Bag.objects.filter(counts__isnull=True).count(),
    }
    return render(request, "office/bags/bags.html", context)


def bag(request: PersonRequest, pk: int) -> HttpResponse:
    return _bag(request, bag_for(request.user, pk), BagCountForm(prefix="count"))


def count(request: PersonRequest, pk: int) -> HttpResponse:
    found = bag_for(request.user, pk, write=True)
    form = BagCountForm(request.POST, prefix="count")
    if form.is_valid():
        now = timezone.now()
        given = {**form.cleaned_data, "counted_at": form.moment("counted_at", now)}
        counted = tried(
            form,
            counting.count_bag,
            bag=found,
            actor=request.user,
            now=now,
            **given,
        )
        if counted:
            messages.success(request, f"{counted}: kept.")
            return redirect("office:bags")
    return _bag(request, found, form)


def _bag(request: PersonRequest, found: Bag, form: BagCountForm) -> HttpResponse:
    context = {"bag": found, "form": form, "entries": audit.entries_of(found)[:20]}
    return render(request, "office/bags/bag.html", context, status=sent(form))
