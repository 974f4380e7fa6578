"""What the business says that an event code means."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from people import rows
from people.errors import Unable
from people.models import Person

from ..models import EventMeaning


def save_meaning(
    *,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
    meaning: EventMeaning | None = None,
) -> EventMeaning:
    """Add or change a meaning: base, kind (None: every kind), group, about, words, urgency, job.

    Group and about are taken from the code's group where a new one leaves them out. Raises
    Unacceptable.
    """
    changes = dict(changes)
    if meaning is None:
        general = EventMeaning.objects.filter(base=changes.get("base"), kind=None).first()
        if general is not None:
            changes = {"group": general.group, "about": general.about} | changes
    return rows.put(
        EventMeaning() if meaning is None else meaning,
        changes,
        actor=actor,
        verb="add event meaning" if meaning is None else "change event meaning",
        now=now,
    )


def delete_meaning(
    *, meaning: EventMeaning, actor: Person, now: datetime, reason: str = ""
) -> None:
    """Delete a kind's own meaning; the general one holds again. Raises Unable for a general one."""
    if meaning.kind_id is None:
        raise Unable(
            f"{meaning}: the meaning for every kind stays; change it instead",
            code="meaning_general",
        )
    rows.delete(meaning, actor=actor, verb="delete event meaning", now=now, reason=reason)
