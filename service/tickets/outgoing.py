"""What goes out of the service about tickets: where they are at the desk, and webhook messages.

A message is written beside what it tells of, in the same transaction, so that neither is without
the other; the worker sends it afterwards.
"""

import json
import uuid
from datetime import datetime
from functools import partial
from typing import Any

from celery import current_app
from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction

from .models import Ticket, WebhookDelivery, WebhookTarget, WorkDone

Event = WebhookTarget.Event
SEND = "service.tickets.tasks.send_webhook"
"""By its name: the task imports the actions that write messages."""


def page_of(ticket: Ticket) -> str:
    """Where a ticket is found at the desk."""
    return f"/tickets/{ticket.pk}/"


def page_on_the_road(ticket: Ticket) -> str:
    """Where whoever goes there finds a ticket on the telephone."""
    return f"/road/tickets/{ticket.pk}/"


def tell(ticket: Ticket, event: str, *, now: datetime) -> list[WebhookDelivery]:
    """Write the message of an event for every target that hears of it. In a transaction."""
    targets = list(WebhookTarget.objects.filter(active=True, events__contains=[event]))
    if not targets:
        return []
    message = f"msg_{uuid.uuid4().hex}"
    body = json.dumps(
        {"type": event, "timestamp": now, "data": _said(ticket)},
        cls=DjangoJSONEncoder,
        separators=(",", ":"),
    )
    written = WebhookDelivery.objects.bulk_create(
        WebhookDelivery(
            target=target, message=message, event=event, body=body, made_at=now, next_at=now
        )
        for target in targets
    )
    # Robust: what the broker does not take now is handed out by the task that looks every minute.
    for one in written:
        transaction.on_commit(partial(current_app.send_task, SEND, args=[one.pk]), robust=True)
    return written


def _said(ticket: Ticket) -> dict[str, Any]:
    """What outsiders hear: nothing about who reported it, nor in whose words."""
    work = WorkDone.objects.filter(ticket=ticket).select_related("cause").first()
    return {
        "ticket": ticket.pk,
        "reference": ticket.reference,
        "address": settings.DESK_ADDRESS + page_of(ticket),
        "machine": ticket.machine.asset_tag,
        "site": None if ticket.site is None else ticket.site.name,
        "column": None if ticket.column is None else ticket.column.position.label,
        "symptom": ticket.symptom.code,
        "symptom_words": ticket.symptom.words,
        "urgency": ticket.urgency,
        "state": ticket.state,
        "source": ticket.source,
        "reported_at": ticket.reported_at,
        "promised_at": ticket.promised_at,
        "closed_at": ticket.closed_at,
        "cause": None if work is None else work.cause.code,
    }
