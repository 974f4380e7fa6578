"""Lists of duties, dates and recalls as tables for a file, the same at either door."""

from collections.abc import Iterable
from zoneinfo import ZoneInfo

from people.exports import Cell, Table

from .models import Duty, Recall
from .queries.dates import Dated
from .queries.recalls import Held


def duties(rows: Iterable[Duty], zone: ZoneInfo) -> Table:
    """Of `queries.duties.duties_listed`."""
    head = (
        *("due", "duty", "kind", "about", "state", "owed to", "source", "checked"),
        *("owner", "why then", "done on", "valid until", "number"),
    )
    return Table("Duties", head, (_duty(one) for one in rows), zone)


def _duty(one: Duty) -> tuple[Cell, ...]:
    done = next((each for each in one.done.all() if each.set_aside_at is None), None)
    return (
        one.due_on,
        one.title,
        one.get_kind_display(),
        str(one.machine or one.site or "the business"),
        one.get_state_display(),
        one.authority,
        one.citation,
        one.get_status_display() if one.status else "",
        str(one.owner or ""),
        one.because,
        done.done_on if done else None,
        done.valid_until if done else None,
        done.number if done else "",
    )


def dated(rows: Iterable[Dated], zone: ZoneInfo) -> Table:
    """Of `queries.dates.dated`."""
    head = (
        *("best before", "stands", "machine", "site", "column", "product", "lot", "units"),
        *("next visit", "planned", "expected left"),
    )
    return Table(
        "Dates in machines",
        head,
        (
            (
                one.best_before,
                one.stands.words,
                one.machine.asset_tag,
                str(one.placement.site) if one.placement else None,
                one.position,
                str(one.product),
                one.lot,
                one.quantity,
                one.next_visit,
                one.is_planned,
                one.expected,
            )
            for one in rows
        ),
        zone,
    )


def recalled(recall: Recall, rows: Iterable[Held], zone: ZoneInfo) -> Table:
    """Of `queries.recalls.held`."""
    head = ("where", "kind", "machine", "site", "product", "lot", "units", "called back")
    return Table(
        f"Recall of {recall.product}",
        head,
        (
            (
                str(one.place),
                one.place.get_kind_display(),
                one.machine.asset_tag if one.machine else None,
                str(one.placement.site) if one.placement else None,
                str(recall.product),
                str(one.lot) if one.lot else "not known",
                one.quantity,
                one.called.value,
            )
            for one in rows
        ),
        zone,
    )
