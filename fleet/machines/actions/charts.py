"""Chart entries: settings typed from a label or measured by us."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from people import rows
from people.errors import Unacceptable
from people.models import Person

from ..models import ChartEntry, Package, Position


def save_chart_entry(
    *,
    position: Position,
    package: Package,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
    entry: ChartEntry | None = None,
) -> ChartEntry:
    """Add or change an entry. Raises Unacceptable for a notch that its rail does not have."""
    for side in ("front", "rear"):
        notch, notches = changes.get(f"{side}_setting"), getattr(position, f"{side}_notches") or 0
        if notch is not None and not 0 <= notch < notches:
            message = (
                f"the {side} rail has the notches 0 to {notches - 1}"
                if notches
                else f"position {position.label} has no {side} half"
            )
            raise Unacceptable(message, fields={f"{side}_setting": message})
    return rows.put(
        entry or ChartEntry(position=position, package=package),
        changes,
        actor=actor,
        verb="add to chart" if entry is None else "change in chart",
        now=now,
    )


def delete_chart_entry(*, entry: ChartEntry, actor: Person, now: datetime) -> None:
    """Take an entry out of the chart; the audit trail keeps it."""
    rows.delete(entry, actor=actor, verb="remove from chart", now=now)
