"""How tickets are said: their reference, and how much time a promise leaves."""

from datetime import datetime, timedelta

from django import template

from service.tickets.models import Ticket
from service.tickets.states import Verb

register = template.Library()
SOON = timedelta(hours=4)


@register.filter
def in_halves(reference: str) -> str:
    """A reference as it is read out: `7K2M-9QTX`."""
    return f"{reference[:4]}-{reference[4:]}"


@register.filter
def left(ticket: Ticket, now: datetime) -> str:
    """How much of the promised time is left, in words; empty where nothing is promised."""
    if ticket.promised_at is None or not ticket.is_open:
        return ""
    if ticket.state == Ticket.State.WAITING:
        return "clock stands"
    away = ticket.promised_at - now
    return f"{_long(-away)} late" if away < timedelta(0) else f"in {_long(away)}"


@register.filter
def pressing(ticket: Ticket, now: datetime) -> str:
    """The class of a promise: late, soon, or nothing."""
    if ticket.promised_at is None or not ticket.is_open or ticket.state == Ticket.State.WAITING:
        return ""
    away = ticket.promised_at - now
    return "late" if away < timedelta(0) else "soon" if away < SOON else ""


@register.filter
def done_said(verb: str) -> str:
    """An act of the timeline in words."""
    try:
        return Verb(verb).words
    except ValueError:
        return verb.replace("_", " ")


def _long(span: timedelta) -> str:
    minutes = int(span.total_seconds() // 60)
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 24 * 60:
        return f"{minutes // 60} h {minutes % 60:02d} min"
    days, hours = divmod(minutes // 60, 24)
    return f"{days} day{'' if days == 1 else 's'}{f' {hours} h' if hours and days < 7 else ''}"
