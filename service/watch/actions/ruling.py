"""Findings that become tickets by rule."""

from datetime import datetime

from service.tickets.models import Ticket

from ..models import Finding, Look, WatchRule
from .findings import to_ticket


def apply(*, look: Look, now: datetime) -> list[Ticket]:
    """Make tickets of the findings of a look that a rule is for. In the caller's transaction."""
    rules = {
        rule.kind: rule for rule in WatchRule.objects.filter(active=True).select_related("symptom")
    }
    if not rules:
        return []
    found = (
        Finding.objects.filter(look=look, state=Finding.State.OPEN, kind__in=list(rules))
        .select_related("machine", "column__position", "column__machine")
        .order_by("-strength", "pk")
    )
    return [
        to_ticket(
            finding=one,
            actor=None,
            now=now,
            symptom=rules[one.kind].symptom,
            urgency=rules[one.kind].urgency,
        )
        for one in found
        if one.strength >= rules[one.kind].strength and one.looks >= rules[one.kind].looks
    ]
