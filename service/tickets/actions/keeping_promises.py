"""Promised times that come near or are over: who is told, once each.

Nothing that anybody decided changes here, so a page seen before stays good: the ticket keeps its
version.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q, QuerySet

from people import audit
from people.actions import notices
from people.models import Person
from people.roles import Role

from ...compute.hours import minutes_between
from .. import outgoing, writing
from ..calendar import hours_of_many
from ..models import ServiceSettings, Ticket
from ..states import Verb
from .errors import moment

RUNNING = (Ticket.State.NEW, Ticket.State.GIVEN, Ticket.State.ON_SITE)
"""States in which the clock runs; one that waits is neither warned of nor late."""
LOOKS_AHEAD = timedelta(days=30)
"""Most that a warning can come ahead by the calendar: 48 working hours over long holidays."""


def warn(*, now: datetime) -> int:
    """Tell of promises that run out within the set working minutes; of how many tickets.

    Told are who looks after the ticket, or else the dispatchers, and who is to go there.
    """
    ahead = ServiceSettings.the().warn_before_minutes
    near = Q(promised_at__gt=now, promised_at__lte=now + LOOKS_AHEAD)
    waiting = list(_running().filter(near, warned_at__isnull=True).select_related("site"))
    hours = hours_of_many({one.site for one in waiting}, year=now.year)
    left = [
        (one, minutes_between(now, one.promised_at, hours[one.site_id]))
        for one in waiting
        if one.promised_at is not None
    ]
    return sum(_warn(one, minutes, now=now) for one, minutes in left if minutes <= ahead)


def escalate(*, now: datetime) -> int:
    """Tell of promises that are over; of how many tickets. Told are the owners of the business and
    who looks after the ticket; webhooks hear of it."""
    over = _running().filter(promised_at__lte=now, escalated_at__isnull=True)
    return sum(_escalate(one, now=now) for one in over)


@transaction.atomic
def _warn(ticket: Ticket, left: int, *, now: datetime) -> bool:
    row = _claimed(ticket, "warned_at", now=now)
    if row is None:
        return False
    told = _at_work(row.owner) or _with(Role.DISPATCHER) or _with(Role.OWNER)
    _tell(
        row,
        Verb.WARN,
        people=told | _at_work(row.given_to),
        words=f"{left} working minute{'' if left == 1 else 's'} left",
        now=now,
    )
    return True


@transaction.atomic
def _escalate(ticket: Ticket, *, now: datetime) -> bool:
    row = _claimed(ticket, "escalated_at", now=now)
    if row is None:
        return False
    told = _with(Role.OWNER) | _at_work(row.owner)
    _tell(row, Verb.LATE, people=told, words="late", now=now)
    outgoing.tell(row, outgoing.Event.LATE, now=now)
    return True


def _running() -> "QuerySet[Ticket]":
    return Ticket.objects.filter(state__in=RUNNING).order_by("promised_at", "pk")


def _claimed(ticket: Ticket, mark: str, *, now: datetime) -> Ticket | None:
    """The ticket, locked and marked, unless it was marked, ended, paused or promised anew since it
    was seen. What somebody is at in this very moment is left for the next look."""
    row = (
        Ticket.objects.select_for_update(no_key=True, skip_locked=True, of=("self",))
        .select_related("machine", "site", "column__position", "symptom", "owner", "given_to")
        .filter(
            pk=ticket.pk,
            state__in=RUNNING,
            promised_at=ticket.promised_at,
            **{f"{mark}__isnull": True},
        )
        .first()
    )
    if row is not None:
        setattr(row, mark, now)
        row.save(update_fields=[mark])
    return row


def _tell(row: Ticket, verb: Verb, *, people: Iterable[Person], words: str, now: datetime) -> None:
    promised_at = row.promised_at or now  # by which it was chosen
    where = f" at {row.site}" if row.site else ""
    notices.tell(
        people=people,
        # A promise made anew is told of anew.
        key=f"ticket {row.pk} {verb} {promised_at.isoformat()}",
        subject=f"{words.capitalize()}: {row.symptom}, {row.machine}{where}",
        text=f"{row.reference}: {row.symptom}, {row.machine}{where}. Promised for "
        f"{moment(promised_at, row)}, {row.promised_by}. It is {row.get_state_display()}"
        f"{f' ({row.given_to})' if row.given_to else ''}.",
        address=outgoing.page_of(row),
        now=now,
    )
    names = sorted(str(one) for one in people)
    writing.event(row, verb, actor=None, now=now, said=f"{words}; told: {', '.join(names)}")
    audit.record(actor=None, verb=f"ticket: {verb}", row=row, now=now, reason=words)


def _with(role: Role) -> set[Person]:
    return set(Person.objects.filter(is_active=True, roles__contains=[role]))


def _at_work(person: Person | None) -> set[Person]:
    return {person} if person is not None and person.is_active else set()
