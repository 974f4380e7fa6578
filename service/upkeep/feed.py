"""Due work as a calendar to subscribe to (RFC 5545; its name and refreshing by RFC 7986)."""

from collections.abc import Iterable
from datetime import timedelta
from typing import Final

from icalendar import Calendar, Event, vDuration, vText, vUri

from people.models import Business

from .models import DueWork

REFRESH: Final = timedelta(hours=6)
MADE_BY: Final = "-//Colonnade//Upkeep//EN"


def calendar(
    turns: Iterable[DueWork], *, name: str, desk: str, more: Iterable[Event] = ()
) -> bytes:
    """A calendar of open turns, each an event of a whole day, and of `more` events, which those who
    know of more than maintenance have made.

    An event keeps its UID while its turn stands, and its SEQUENCE goes up when it moves, so that a
    program moves what it shows and adds nothing twice. It does not block the day. `desk` is where
    the desk is reached, as in `https://desk.example.org`.
    """
    business = Business.the()
    made = Calendar()
    made.add("prodid", MADE_BY)
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("name", vText(name))
    made.add("x-wr-calname", vText(name))
    made.add("description", vText(f"Planned maintenance and duties of {business}"))
    made.add("refresh-interval", vDuration(REFRESH), parameters={"VALUE": "DURATION"})
    for turn in turns:
        made.add_component(_event(turn, desk))
    for event in more:
        made.add_component(event)
    return bytes(made.to_ical())


def _event(turn: DueWork, desk: str) -> Event:
    plan, machine = turn.plan, turn.machine
    placed = next(iter(getattr(machine, "placements_now", [])), None)
    where = "" if placed is None else ", ".join(part for part in _place(placed) if part)
    event = Event()
    event.add("uid", f"upkeep-{turn.pk}@{desk.partition('://')[2] or desk}")
    # Of a calendar without a method this is when the event was changed last (RFC 5545, 3.8.7.2).
    event.add("dtstamp", turn.changed_at)
    event.add("last-modified", turn.changed_at)
    event.add("sequence", turn.sequence)
    event.add("dtstart", turn.day)
    event.add("dtend", turn.day + timedelta(days=1))
    event.add("summary", f"{plan.name}: {machine.asset_tag}")
    if where:
        event.add("location", where)
    event.add("description", _description(turn))
    event.add("categories", ["Upkeep"])
    event.add("transp", "TRANSPARENT")
    event.add("url", vUri(f"{desk}/upkeep/record/{plan.pk}/{machine.pk}/"))
    return event


def _place(placed: object) -> list[str]:
    site = placed.site  # type: ignore[attr-defined]
    return [site.name, site.street, site.city]


def _description(turn: DueWork) -> str:
    plan = turn.plan
    told = [turn.because[:1].upper() + turn.because[1:] + "."]
    if turn.put_off_to is not None:
        told.append(f"Moved here from {turn.due_on:%Y-%m-%d}: {turn.put_off_why}.")
    told.append(f"About {plan.minutes} minutes.")
    if plan.needs_skill:
        told.append(f"Needs the skill: {plan.needs_skill}.")
    if plan.checklist:
        told.append("\n".join(f"- {item}" for item in plan.checklist))
    if plan.cautions:
        told.append(plan.cautions)
    return "\n\n".join(told)
