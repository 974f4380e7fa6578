"""The limits of the watch, and what becomes a ticket by itself."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from people import rows
from people.models import Person

from ..models import WatchLimits, WatchRule


def change_limits(*, changes: Mapping[str, Any], actor: Person, now: datetime) -> WatchLimits:
    """Change some of the limits; the next look holds to them. Raises Unacceptable."""
    return rows.put(
        WatchLimits.the(), changes, actor=actor, verb="change limits of the watch", now=now
    )


def save_rule(
    *, changes: Mapping[str, Any], actor: Person, now: datetime, rule: WatchRule | None = None
) -> WatchRule:
    """Add or change the rule for one kind of finding. Raises Unacceptable."""
    verb = "add rule of the watch" if rule is None else "change rule of the watch"
    return rows.put(rule or WatchRule(), changes, actor=actor, verb=verb, now=now)


def remove_rule(*, rule: WatchRule, actor: Person, now: datetime) -> None:
    """Findings of its kind wait for somebody again. Tickets that it made stay."""
    rows.delete(rule, actor=actor, verb="remove rule of the watch", now=now)
