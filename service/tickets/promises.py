"""By when a ticket is promised: the rule of its site and urgency, in that site's working hours."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import F, Q

from fleet.machines.models import Site

from ..compute.hours import Hours, NeverOpen, add, end_of_working_day, minutes_between
from .calendar import hours_of
from .models import PromiseRule, Ticket


@dataclass(frozen=True)
class Promise:
    """When it is due, None where nothing is promised, and the rule in words."""

    due: datetime | None
    said: str


def promised(*, site: Site | None, urgency: str, at: datetime, paused_minutes: int = 0) -> Promise:
    """The promise for what is reported at a site (None: nowhere) at a moment.

    `paused_minutes` are working minutes for which the clock stood; they push it back.
    """
    rule = rule_for(site, urgency)
    if rule is None or rule.kind == PromiseRule.Kind.NONE:
        return Promise(None, "nothing is promised")
    where = "" if rule.site_id is None else f", as agreed for {site}"
    try:
        due = _due(rule, at, paused_minutes, hours_of(site, year=at.year))
    except NeverOpen:
        return Promise(None, f"{rule.said}{where}, but no hours are open"[:200])
    stood = f", and {paused_minutes} working minutes that it waited" if paused_minutes else ""
    return Promise(due, f"{rule.said}{where}{stood}"[:200])


def changes(ticket: Ticket, *, now: datetime) -> dict[str, Any]:
    """The columns of a ticket that follow from its urgency, site and pauses as they are now.

    A promise that lies ahead again is warned of and escalated anew.
    """
    promise = promised(
        site=ticket.site,
        urgency=ticket.urgency,
        at=ticket.reported_at,
        paused_minutes=ticket.paused_minutes,
    )
    found: dict[str, Any] = {"promised_at": promise.due, "promised_by": promise.said}
    if promise.due is None or promise.due > now:
        found |= {"warned_at": None, "escalated_at": None}
    return found


def paused_for(ticket: Ticket, *, until: datetime) -> int:
    """Working minutes for which the clock of a waiting ticket stood, `until` it goes on; 0 for
    one that does not wait."""
    if ticket.paused_at is None:
        return 0
    hours = hours_of(ticket.site, year=ticket.paused_at.year)
    return minutes_between(ticket.paused_at, until, hours)


def rule_for(site: Site | None, urgency: str) -> PromiseRule | None:
    """The site's own rule, else the one for everywhere; None where there is none in use."""
    return (
        PromiseRule.objects.filter(
            Q(site__isnull=True) | Q(site=site), urgency=urgency, active=True
        )
        .order_by(F("site").asc(nulls_last=True))
        .first()
    )


def _due(rule: PromiseRule, at: datetime, paused_minutes: int, hours: Hours) -> datetime:
    if rule.kind == PromiseRule.Kind.WORKING_HOURS:
        return add(at, rule.amount * 60 + paused_minutes, hours)
    # The clock stood for working time, so it is pushed back by working time.
    return add(end_of_working_day(at, rule.amount, hours), paused_minutes, hours)
