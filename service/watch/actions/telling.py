"""Findings that another part of the service tells of, where a rule is broken and nothing is left to
the numbers: opened and ended by it, seen and acted on like all others."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.machines.models import Machine
from people import audit

from ..models import Finding, WatchRule
from ..seen import LONGEST_SAID
from ..sifting import LIVE, TOLD_BY_OTHERS
from .findings import to_ticket


@transaction.atomic
def tell(
    *,
    machine: Machine,
    kind: str,
    said: str,
    since: datetime,
    strength: float,
    strength_said: str,
    numbers: Mapping[str, Any],
    chart: Mapping[str, Any],
    now: datetime,
) -> Finding:
    """Open the finding of a kind at a machine, or bring the one that is live up to date.

    `numbers` and `chart` are its evidence, as a look gives them. A rule of the watch for the kind
    makes it a ticket at once. Whoever tells of one machine twice at once waits for the other: the
    database lets one live finding of a kind in.
    """
    if kind not in TOLD_BY_OTHERS:
        raise ValueError(f"{kind} is found by looks; nobody else tells of it")
    Machine.objects.select_for_update(no_key=True).get(pk=machine.pk)
    row = Finding.objects.filter(machine=machine, kind=kind, state__in=LIVE).first()
    is_new = row is None
    if row is None:
        row = Finding(machine=machine, kind=kind, opened_at=now, since=since, looks=0)
    row.last_seen_at = max(now, row.opened_at)
    row.looks += 1
    row.strength, row.strength_said = strength, strength_said[:120]
    row.said = said[:LONGEST_SAID]
    row.evidence = {"numbers": dict(numbers), "chart": dict(chart)}
    row.save()
    if is_new:
        after = {"state": row.state, "strength": row.strength, "said": row.said}
        audit.record(actor=None, verb="find", row=row, now=now, after=after)
        _by_rule(row, now)
    return row


@transaction.atomic
def over(*, machine: Machine, kind: str, said: str, now: datetime) -> int:
    """End what is live of a kind at a machine; a ticket made of it goes on by itself. How many."""
    rows = list(
        Finding.objects.select_for_update(of=("self",))
        .filter(machine=machine, kind=kind, state__in=LIVE)
        .order_by("pk")
    )
    for row in rows:
        row.state, row.recovered_at, row.recovered_said = Finding.State.RECOVERED, now, said[:200]
        row.save(update_fields=["state", "recovered_at", "recovered_said", "updated_at"])
        after = {"state": row.state, "strength": row.strength, "said": row.said}
        audit.record(actor=None, verb="finding recovered", row=row, now=now, after=after)
    return len(rows)


def _by_rule(row: Finding, now: datetime) -> None:
    rule = WatchRule.objects.filter(active=True, kind=row.kind).select_related("symptom").first()
    if rule is not None and row.strength >= rule.strength and row.looks >= rule.looks:
        to_ticket(finding=row, actor=None, now=now, symptom=rule.symptom, urgency=rule.urgency)
        row.refresh_from_db()
