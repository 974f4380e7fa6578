"""Findings as a table for a file, the same at either door."""

from collections.abc import Iterable
from zoneinfo import ZoneInfo

from people.exports import Cell, Table

from .models import Finding


def findings(rows: Iterable[Finding], zone: ZoneInfo) -> Table:
    """Of `queries.gates.findings_whole`."""
    head = (
        *("machine", "column", "product", "what", "said", "strength", "likeliest cause"),
        *("how likely", "since", "opened at", "last seen at", "state", "ticket"),
        *("true or false", "dismissed because", "note", "recovered at"),
    )
    return Table("Findings", head, (_line(one) for one in rows), zone)


def _line(one: Finding) -> tuple[Cell, ...]:
    likeliest = one.causes[0] if one.causes else {}
    verdict = getattr(one, "verdict", None)
    return (
        one.machine.asset_tag,
        one.column.position.label if one.column else None,
        one.product.name if one.product else None,
        one.get_kind_display(),
        one.said,
        round(one.strength, 2),
        likeliest.get("words"),
        likeliest.get("weight"),
        one.since,
        one.opened_at,
        one.last_seen_at,
        one.get_state_display(),
        one.ticket.reference if one.ticket else None,
        verdict.get_said_display() if verdict else None,
        one.get_dismissed_reason_display() if one.dismissed_reason else None,
        one.dismissed_note or None,
        one.recovered_at,
    )
