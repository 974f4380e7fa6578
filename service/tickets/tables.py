"""Lists of tickets and refunds as tables for a file, the same at either door. Who reported is in
none of them: a file outlives the time for which that is kept."""

from collections.abc import Iterable
from zoneinfo import ZoneInfo

from people.exports import Table

from .models import Refund, Ticket


def tickets(rows: Iterable[Ticket], zone: ZoneInfo) -> Table:
    """Of `queries.gates.tickets_seen_by`."""
    head = (
        *("reference", "machine", "column", "site", "symptom", "state", "urgency", "priority"),
        *("source", "paid with", "said", "reported at", "promised by", "paused, working min"),
        *("looked after by", "given to", "work begun", "ended"),
    )
    return Table(
        "Tickets",
        head,
        (
            (
                one.reference,
                one.machine.asset_tag,
                one.column.position.label if one.column else None,
                one.site.name if one.site else None,
                one.symptom.words,
                one.get_state_display(),
                one.get_urgency_display(),
                one.get_priority_display(),
                one.get_source_display(),
                one.get_paid_how_display() if one.paid_how else None,
                one.said,
                one.reported_at,
                one.promised_at,
                one.paused_minutes,
                one.owner.name if one.owner else None,
                one.given_to.name if one.given_to else None,
                one.on_site_at,
                one.closed_at,
            )
            for one in rows
        ),
        zone,
    )


def refunds(rows: Iterable[Refund], zone: ZoneInfo) -> Table:
    """Of `queries.gates.refunds_seen_by`."""
    head = (
        *(
            "ticket",
            "machine",
            "site",
            "symptom",
            "amount",
            "how",
            "state",
            "wanted at",
            "ended at",
        ),
        *("by", "handed out by", "why", "limit passed"),
    )
    return Table(
        "Refunds",
        head,
        (
            (
                one.ticket.reference,
                one.ticket.machine.asset_tag,
                one.ticket.site.name if one.ticket.site else None,
                one.ticket.symptom.words,
                one.amount,
                one.get_method_display(),
                one.get_state_display(),
                one.wanted_at,
                one.ended_at,
                one.ended_by.name if one.ended_by else None,
                one.paid_out_by,
                one.reason,
                one.over_limit,
            )
            for one in rows
        ),
        zone,
        money=("amount",),
    )
