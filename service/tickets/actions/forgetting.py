"""Who reported a fault is forgotten after a set time; the fault is not."""

import re
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from people import audit

from .. import writing
from ..models import Attachment, Refund, ServiceSettings, Ticket
from ..states import Verb

FORGOTTEN = "[forgotten]"
_REACHED = re.compile(r"\S+@\S+|[+(]?\d[\d\s().-]{5,}\d")
"""What in free words may be an address or a telephone number."""


def forget_contacts(*, now: datetime) -> int:
    """Forget the contacts, and the pictures that customers sent, of tickets that ended long enough
    ago; how many tickets. One whose refund is still to be paid is kept."""
    before = now - timedelta(days=ServiceSettings.the().keep_contact_days)
    due = (
        Ticket.objects.filter(
            state__in=Ticket.ENDED, closed_at__lt=before, contact_forgotten_at__isnull=True
        )
        .filter(
            ~Q(contact_name="")
            | ~Q(contact_reach="")
            | Q(source__in=[Ticket.Source.PUBLIC, Ticket.Source.HOST])
            | Q(refunds__isnull=False)
        )
        .exclude(refunds__state=Refund.State.ASKED)
        .order_by("pk")
        .distinct()
    )
    return sum(_forget(ticket, now) for ticket in due.iterator(chunk_size=500))


@transaction.atomic
def _forget(ticket: Ticket, now: datetime) -> int:
    row = writing.locked(ticket)
    if row.contact_forgotten_at is not None or row.is_open:
        return 0
    Refund.objects.filter(ticket=row).update(contact_digest="")
    for attachment in Attachment.objects.filter(ticket=row, added_by__isnull=True).defer("raw"):
        audit.record(
            actor=None,
            verb="forget attachment",
            row=attachment,
            now=now,
            before={"name": attachment.name},
        )
        attachment.delete()
    changes = {
        "contact_name": "",
        "contact_reach": "",
        "said": without_reach(row.said),
        "contact_forgotten_at": now,
    }
    writing.write(row, Verb.FORGET, changes, actor=None, now=now)
    return 1


def without_reach(words: str) -> str:
    """The words without what may be an address or a telephone number."""
    return _REACHED.sub(FORGOTTEN, words)
