"""What is agreed about promised times: rules, the hours that count, closed days."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from itertools import pairwise
from typing import Any

from django.db import transaction

from fleet.machines.models import Site
from people import rows
from people.errors import Unacceptable
from people.models import Person

from ..models import ClosedDay, PromiseRule, ServiceHours

Window = tuple[int, time, time]
"""Weekday from Monday (0), opens, closes."""


def save_rule(
    *,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
    rule: PromiseRule | None = None,
) -> PromiseRule:
    """Add a rule or change one; tickets reported from then on follow it. Raises Unacceptable."""
    given = dict(changes)
    if given.get("kind") == PromiseRule.Kind.NONE:
        given["amount"] = 0
    verb = "add promise" if rule is None else "change promise"
    return rows.put(rule or PromiseRule(), given, actor=actor, verb=verb, now=now)


def remove_rule(*, rule: PromiseRule, actor: Person, now: datetime) -> None:
    """Remove a site's own rule, which then follows the one for everywhere.

    Raises Unacceptable for a rule for everywhere, which is switched off instead.
    """
    if rule.site_id is None:
        raise Unacceptable(
            "a rule for everywhere stays; let it promise nothing instead", code="kept_rule"
        )
    rows.delete(rule, actor=actor, verb="remove promise", now=now)


@transaction.atomic
def set_hours(*, windows: Sequence[Window], actor: Person, now: datetime) -> list[ServiceHours]:
    """Set the hours that count at sites without opening hours, all at once.

    Raises Unacceptable for windows that end before they begin or lap over, and for none at all.
    """
    wanted = sorted(windows)
    if not wanted:
        raise Unacceptable("give at least one window", fields={"windows": "give at least one"})
    for _, opens, closes in wanted:
        if closes <= opens:
            said = f"{opens:%H:%M} to {closes:%H:%M} ends before it begins"
            raise Unacceptable(said, fields={"windows": said})
    for (day, _, closes), (next_day, opens, _) in pairwise(wanted):
        if day == next_day and opens < closes:
            said = f"{opens:%H:%M} lies before {closes:%H:%M} of the same weekday is over"
            raise Unacceptable(said, fields={"windows": said})
    kept = {
        (row.weekday, row.opens, row.closes): row
        for row in ServiceHours.objects.select_for_update()
    }
    for window, row in kept.items():
        if window not in wanted:
            rows.delete(row, actor=actor, verb="remove service hours", now=now)
    for weekday, opens, closes in wanted:
        if (weekday, opens, closes) not in kept:
            changes = {"weekday": weekday, "opens": opens, "closes": closes}
            rows.put(ServiceHours(), changes, actor=actor, verb="add service hours", now=now)
    return list(ServiceHours.objects.all())


def close_day(
    *, day: date, why: str, actor: Person, now: datetime, site: Site | None = None
) -> ClosedDay:
    """Let a day count as closed at a site, or everywhere. Raises Unacceptable, Unable."""
    changes = {"site": site, "date": day, "why": why.strip()}
    return rows.put(ClosedDay(), changes, actor=actor, verb="close day", now=now)


def open_day(*, closed: ClosedDay, actor: Person, now: datetime) -> None:
    """Let a closed day count again. Tickets that were promised keep their promise."""
    rows.delete(closed, actor=actor, verb="open day", now=now)
