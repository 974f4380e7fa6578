"""What is corrected or added while a ticket is open."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from people import rows
from people.errors import Unacceptable
from people.models import Person
from people.roles import Role

from .. import promises, writing
from ..models import Ticket
from ..states import Verb

DESK = (Role.OWNER, Role.DISPATCHER)
WORDS = {
    "column": "column",
    "symptom": "symptom",
    "urgency": "urgency",
    "priority": "priority",
    "owner": "looked after by",
}
"""What may be changed, and how the timeline says it."""


@transaction.atomic
def change(
    *,
    ticket: Ticket,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
    seen_version: int | None = None,
) -> Ticket:
    """Correct what a ticket is about, how urgent it is, or who looks after it.

    Raises IllegalMove, ChangedMeanwhile, NotYours, Unacceptable.
    """
    unknown = sorted(set(changes) - set(WORDS))
    if unknown:
        message = f"cannot be changed; {', '.join(WORDS)} can"
        raise Unacceptable(f"{unknown[0]}: {message}", fields={unknown[0]: message})
    row = writing.held(ticket, Verb.CHANGE, seen_version=seen_version)
    writing.require_holder(row, actor)
    differ = {name: value for name, value in changes.items() if getattr(row, name) != value}
    if not differ:
        return row
    _require_possible(row, differ)
    then = writing.with_changes(row, differ)
    rows.check(then)
    before = {name: _said(row, name) for name in differ}
    after = {name: _said(then, name) for name in differ}
    if "urgency" in differ:
        differ |= promises.changes(then, now=now)
    said = "; ".join(f"{WORDS[name]}: {before[name]} to {after[name]}" for name in before)
    data = {"before": before, "after": after}
    writing.write(row, Verb.CHANGE, differ, actor=actor, now=now, said=said, data=data)
    return row


@transaction.atomic
def note(
    *,
    ticket: Ticket,
    said: str,
    actor: Person,
    now: datetime,
    at: datetime | None = None,
    seen_version: int | None = None,
) -> Ticket:
    """Add a line to the timeline. Raises NotYours, ChangedMeanwhile, Unacceptable."""
    words = writing.require_said(said, "said", most=2000)
    row = writing.held(ticket, Verb.NOTE, seen_version=seen_version)
    writing.require_part(row, actor)
    when = writing.when(row, at, now=now)
    writing.write(row, Verb.NOTE, {}, actor=actor, now=now, at=when, said=words)
    return row


def _require_possible(row: Ticket, changes: Mapping[str, Any]) -> None:
    column = changes.get("column")
    if column is not None and column.machine_id != row.machine_id:
        message = f"{column} is not a column of {row.machine}"
        raise Unacceptable(message, fields={"column": message})
    owner = changes.get("owner")
    if owner is not None and not owner.has_role(*DESK):
        message = f"{owner} is not at the desk; an owner or a dispatcher looks after tickets"
        raise Unacceptable(message, fields={"owner": message})
    symptom = changes.get("symptom")
    if symptom is not None and not symptom.active:
        message = f"{symptom} is not in use any more; choose another symptom"
        raise Unacceptable(message, fields={"symptom": message})


def _said(row: Ticket, name: str) -> str:
    if name in {"urgency", "priority"}:
        return str(getattr(row, f"get_{name}_display")())
    if name == "column":
        return "none" if row.column is None else row.column.position.label
    return str(getattr(row, name) or "nobody")
