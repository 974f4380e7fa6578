"""What somebody does about a finding: make it a ticket, or dismiss it."""

from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from people import audit
from people.models import Person
from service.tickets.actions import reporting
from service.tickets.models import Symptom, Ticket
from service.tickets.queries.duplicates import same

from ..models import Finding, Verdict, WatchLimits
from .errors import UnableToDismiss, UnableToTicket

#: The symptom under which each kind of finding is reported, unless somebody says otherwise.
SYMPTOMS: Final = {
    Finding.Kind.SILENT: "silent",
    Finding.Kind.TWO_FOR_ONE: "two_for_one",
    Finding.Kind.MISSING: "other",
    Finding.Kind.PRICE: "wrong_price",
    Finding.Kind.CASH: "other",
    Finding.Kind.WARM: "warm",
    Finding.Kind.POWER: "dark",
    Finding.Kind.CLOCK: "other",
    Finding.Kind.SOLD_OUT: "other",
    Finding.Kind.EVENT: "other",
    Finding.Kind.FOOD: "warm",
}
#: What a dismissal says of whether the finding was true.
TOLD: Final = {
    Finding.Reason.NOTHING_WRONG: Verdict.Said.FALSE,
    Finding.Reason.EXPECTED: Verdict.Said.FALSE,
    Finding.Reason.COUNTED_WRONG: Verdict.Said.FALSE,
    Finding.Reason.KNOWN: Verdict.Said.TRUE,
    Finding.Reason.TOO_SMALL: Verdict.Said.UNCLEAR,
}


def to_ticket(
    *,
    finding: Finding,
    actor: Person | None,
    now: datetime,
    symptom: Symptom | None = None,
    urgency: str = "",
    said: str = "",
) -> Ticket:
    """Make a finding a ticket, or let it join the open one of the same machine and symptom.

    `actor` is None where a rule does it. Raises UnableToTicket when it is not open any more.
    """
    with transaction.atomic():
        row = _locked(finding)
        if row.state != Finding.State.OPEN:
            raise UnableToTicket(
                f"{row} is not open any more: it is {row.get_state_display()}", code="not_open"
            )
        under = symptom or _symptom(row)
        open_one = next(iter(same(row.machine, under, row.column)), None)
        reported = reporting.report(
            machine=row.machine,
            column=row.column,
            symptom=under,
            urgency=urgency or None,
            source=_source(row),
            said=said.strip() or _said_to_whoever_goes(row),
            because=_because(row),
            join=open_one,
            actor=actor,
            now=now,
        )
        before = audit.values(row)
        row.state = Finding.State.TICKETED
        # What was joined to another goes on there, and is answered for by what closes that one.
        row.ticket, row.ticketed_at = open_one or reported.ticket, now
        row.save(update_fields=["state", "ticket", "ticketed_at", "updated_at"])
        audit.record(
            actor=actor,
            verb="make finding a ticket",
            row=row,
            now=now,
            before=before,
            after=audit.values(row),
        )
    _mirror(finding, row)
    return row.ticket


def dismiss(
    *,
    finding: Finding,
    reason: str,
    actor: Person,
    now: datetime,
    note: str = "",
    teach: bool = True,
) -> Finding:
    """Dismiss a finding with a reason. The same is not found again for a while.

    With `teach`, the next one of the kind in the same place must be ten times as unlikely, and
    once more so with each dismissal. What is dismissed as known is true, and teaches nothing.
    Raises UnableToDismiss when it ended already or its ticket is open.
    """
    if reason not in Finding.Reason.values:
        raise UnableToDismiss(
            f"a reason is one of {', '.join(Finding.Reason.values)}, not {reason!r}",
            code="unknown_reason",
        )
    with transaction.atomic():
        row = _locked(finding)
        if row.state == Finding.State.TICKETED:
            raise UnableToDismiss(
                f"{row} has the ticket {row.ticket}; end that one", code="has_a_ticket"
            )
        if row.state != Finding.State.OPEN:
            raise UnableToDismiss(
                f"{row} is not open any more: it is {row.get_state_display()}", code="not_open"
            )
        before = audit.values(row)
        row.state = Finding.State.DISMISSED
        row.dismissed_at, row.dismissed_by = now, actor
        row.dismissed_reason, row.dismissed_note = reason, note.strip()
        row.teaches = teach and reason != Finding.Reason.KNOWN
        row.quiet_until = now + timedelta(days=WatchLimits.the().quiet_days)
        row.save()
        Verdict.objects.create(
            finding=row,
            said=TOLD[Finding.Reason(reason)],
            by=Verdict.By.DISMISSAL,
            at=now,
            delay_days=delay_days(row),
        )
        audit.record(
            actor=actor,
            verb="dismiss finding",
            row=row,
            now=now,
            before=before,
            after=audit.values(row),
            reason=f"{row.get_dismissed_reason_display()}. {row.dismissed_note}".strip(),
        )
    _mirror(finding, row)
    return finding


def delay_days(finding: Finding) -> float | None:
    """From when it went wrong until it was found, in days."""
    if finding.since is None:
        return None
    return max((finding.opened_at - finding.since).total_seconds() / 86_400, 0.0)


def _locked(finding: Finding) -> Finding:
    rows = Finding.objects.select_for_update(of=("self",), no_key=True)
    return rows.select_related("machine", "column__position", "column__machine", "ticket").get(
        pk=finding.pk
    )


def _mirror(finding: Finding, row: Finding) -> None:
    """Let the caller's row say what was written."""
    for field in row._meta.concrete_fields:
        setattr(finding, field.attname, getattr(row, field.attname))
    finding.ticket = row.ticket


def _symptom(finding: Finding) -> Symptom:
    return Symptom.objects.get(code=SYMPTOMS[Finding.Kind(finding.kind)])


def _source(finding: Finding) -> str:
    is_event = finding.kind == Finding.Kind.EVENT
    return Ticket.Source.EVENT if is_event else Ticket.Source.WATCH


def _said_to_whoever_goes(finding: Finding) -> str:
    """The finding in words for a ticket. A driver sees no takings, so amounts stay at the desk."""
    if finding.kind == Finding.Kind.CASH:
        return "Its bags do not agree with its meter; the desk has the amounts."
    return finding.said


def _because(finding: Finding) -> dict[str, object]:
    """What the ticket keeps of the finding, so that it stands alone."""
    return {
        "finding": finding.pk,
        "kind": finding.kind,
        "said": _said_to_whoever_goes(finding),
        "strength_said": finding.strength_said,
        "causes": finding.causes,
    }
