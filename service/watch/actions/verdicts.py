"""Whether findings were true, as their tickets say when they end."""

from datetime import datetime

from django.db import transaction
from django.db.models import OuterRef, Subquery

from people import audit
from service.tickets.models import Cause, Ticket, WorkDone

from ..models import Finding, Verdict
from .findings import delay_days


@transaction.atomic
def take_verdicts(*, now: datetime) -> int:
    """Take the verdict on every finding whose ticket ended; how many.

    The cause that it was closed with says whether it was true, and is a case to learn from. A
    finding that still stands is over: what the numbers say from then on is another one.
    """
    _follow_joined()
    rows = list(
        Finding.objects.select_for_update(of=("self",), no_key=True, skip_locked=True)
        .filter(ticket__state__in=[Ticket.State.CLOSED, Ticket.State.DROPPED], verdict__isnull=True)
        .select_related("ticket", "machine", "column__position", "column__machine")
        .order_by("pk")
    )
    works = {
        work.ticket_id: work
        for work in WorkDone.objects.filter(
            ticket__in=[row.ticket_id for row in rows]
        ).select_related("cause")
    }
    for row in rows:
        work = works.get(row.ticket_id or 0)
        Verdict.objects.create(
            finding=row,
            said=_said(None if work is None else work.cause),
            by=Verdict.By.TICKET,
            cause=None if work is None else work.cause,
            at=now,
            delay_days=delay_days(row),
        )
        if row.state == Finding.State.TICKETED:
            _end(row, work, now)
    return len(rows)


def _follow_joined() -> None:
    """A ticket that was joined to another is answered for by that one."""
    into = Ticket.objects.filter(pk=OuterRef("ticket")).values("joined_to")
    Finding.objects.filter(ticket__state=Ticket.State.JOINED, verdict__isnull=True).update(
        ticket=Subquery(into)
    )


def _said(cause: Cause | None) -> str:
    if cause is None:
        return Verdict.Said.UNCLEAR
    if cause.nothing_wrong:
        return Verdict.Said.FALSE
    # "Other" says neither that something was wrong nor that nothing was.
    return Verdict.Said.UNCLEAR if cause.code == "other" else Verdict.Said.TRUE


def _end(row: Finding, work: WorkDone | None, now: datetime) -> None:
    before = audit.values(row)
    ended = "closed" if work is not None else "dropped"
    why = "" if work is None else f": {work.cause}"
    row.state, row.recovered_at = Finding.State.RECOVERED, now
    row.recovered_said = f"its ticket was {ended}{why}"[:200]
    row.save(update_fields=["state", "recovered_at", "recovered_said", "updated_at"])
    audit.record(
        actor=None,
        verb="finding ended with its ticket",
        row=row,
        now=now,
        before=before,
        after=audit.values(row),
    )
