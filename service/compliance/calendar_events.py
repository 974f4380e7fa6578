"""Duties as events of the calendar that a person subscribes to (RFC 5545)."""

from collections.abc import Iterable
from datetime import timedelta

from icalendar import Event, vUri

from .models import Duty


def events_of(duties: Iterable[Duty], *, desk: str) -> list[Event]:
    """An event of a whole day for each duty, for `service.upkeep.feed.calendar` to take in.

    An event keeps its UID while its turn stands, and its SEQUENCE goes up when it moves. `desk` is
    where the desk is reached, as in `https://desk.example.org`.
    """
    return [_event(duty, desk) for duty in duties]


def _event(duty: Duty, desk: str) -> Event:
    event = Event()
    event.add("uid", f"duty-{duty.pk}@{desk.partition('://')[2] or desk}")
    event.add("dtstamp", duty.changed_at)
    event.add("last-modified", duty.changed_at)
    event.add("sequence", duty.sequence)
    event.add("dtstart", duty.due_on)
    event.add("dtend", duty.due_on + timedelta(days=1))
    event.add("summary", str(duty))
    if duty.site is not None:
        event.add("location", ", ".join(part for part in _place(duty) if part))
    event.add("description", _description(duty))
    event.add("categories", ["Duty"])
    event.add("transp", "TRANSPARENT")
    event.add("url", vUri(f"{desk}/compliance/duties/{duty.pk}/"))
    return event


def _place(duty: Duty) -> list[str]:
    site = duty.site
    return [] if site is None else [site.name, site.street, site.city]


def _description(duty: Duty) -> str:
    told = [f"{duty.because[:1].upper()}{duty.because[1:]}."]
    if duty.rule is not None:
        told.append(duty.rule.said)
    if duty.authority:
        told.append(f"Owed to: {duty.authority}.")
    if duty.citation:
        status = f" ({duty.get_status_display()})" if duty.status else ""
        told.append(f"Source: {duty.citation}{status}.")
    return "\n\n".join(told)
