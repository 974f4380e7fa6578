"""Webhooks at the desk of an owner: who hears of tickets, and the log of what was sent."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.views.decorators.cache import never_cache

from office.doors import PersonRequest, sent, tried
from office.forms.outgoing import WebhookForm
from people import audit
from service.tickets.actions import webhooks
from service.tickets.models import WebhookDelivery, WebhookTarget
from service.tickets.queries import outgoing

SHOWN = 100


@never_cache
def listing(request: PersonRequest) -> HttpResponse:
    """Who hears of tickets, and what was sent lately; a new one is added here."""
    form = WebhookForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            webhooks.save_target,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            return _secret(request, saved)
    context = {
        "targets": outgoing.targets(),
        "deliveries": outgoing.deliveries()[:SHOWN],
        "form": form,
    }
    return render(request, "office/webhooks/list.html", context, status=sent(form))


@never_cache
def page(request: PersonRequest, pk: int) -> HttpResponse:
    """One target, and all that was sent there lately."""
    target = outgoing.target_for(request.user, pk, write=True)
    form = WebhookForm(request.POST or None, row=target)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            webhooks.save_target,
            target=target,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:webhook", pk)
    context = {
        "target": target,
        "form": form,
        "deliveries": outgoing.deliveries().filter(target=target)[:SHOWN],
        "entries": audit.entries_of(target)[:20],
    }
    return render(request, "office/webhooks/target.html", context, status=sent(form))


@never_cache
def renew_secret(request: PersonRequest, pk: int) -> HttpResponse:
    target = outgoing.target_for(request.user, pk, write=True)
    renewed = webhooks.renew_secret(target=target, actor=request.user, now=timezone.now())
    return _secret(request, renewed)


def delivery(request: PersonRequest, pk: int) -> HttpResponse:
    """One message as it was signed and sent, and every try."""
    found = outgoing.delivery_for(request.user, pk)
    context = {
        "delivery": found,
        "attempts": [one | {"at": parse_datetime(one["at"])} for one in found.attempts],
        "given_up": found.state == WebhookDelivery.State.GIVEN_UP,
    }
    return render(request, "office/webhooks/delivery.html", context)


def send_again(request: PersonRequest, pk: int) -> HttpResponse:
    found = outgoing.delivery_for(request.user, pk, write=True)
    webhooks.try_again(delivery=found, actor=request.user, now=timezone.now())
    messages.success(request, "It is sent again within the minute.")
    return redirect("office:webhook-delivery", pk)


def _secret(request: PersonRequest, target: WebhookTarget) -> HttpResponse:
    return render(request, "office/webhooks/secret.html", {"target": target})
