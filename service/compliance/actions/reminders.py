"""Reminding people of duties that come due, once each turn, and of late ones, once more."""

from collections import defaultdict
from datetime import date, datetime, time, timedelta
from typing import Final

from django.db import transaction
from django.db.models import Q
from django.db.models.functions import Coalesce

from people.actions import notices
from people.models import Business, Person
from people.roles import Role

from ..models import Duty
from . import lock

NOT_BEFORE: Final = time(6)
"""By the business's clock; nobody is told at night."""
MOST_NOTICE: Final = timedelta(days=365)
NAMED: Final = 12
"""Duties named in one letter; of more it says how many."""


@transaction.atomic
def remind(*, now: datetime) -> int:
    """Tell whoever sees to them of duties that come due within their notice, and of late ones.

    One letter a person and time tells of all of them. How many duties were told of; asked again it
    tells of none twice.
    """
    local = now.astimezone(Business.the().time_zone)
    if local.time() < NOT_BEFORE:
        return 0
    lock.take()
    today = local.date()
    duties = [
        one
        for one in Duty.objects.filter(state=Duty.State.OPEN)
        .filter(
            Q(due_on__lt=today, late_told_at__isnull=True)
            | Q(due_on__gte=today, due_on__lte=today + MOST_NOTICE, reminded_at__isnull=True)
        )
        .select_related("owner", "site", "machine")
        .order_by("due_on", "title", "pk")
        if one.due_on <= today + timedelta(days=one.notice_days)
    ]
    owners = list(
        Person.objects.filter(is_active=True, roles__contains=[Role.OWNER]).order_by("pk")
    )
    late = [one for one in duties if one.due_on < today]
    soon = [one for one in duties if one.due_on >= today]
    for what, some in (("late", late), ("due", soon)):
        by_person: dict[Person, list[Duty]] = defaultdict(list)
        for one in some:
            for person in _told_of(one, owners, late=what == "late"):
                by_person[person].append(one)
        for person, theirs in by_person.items():
            _tell(person, what, theirs, today, now)
    Duty.objects.filter(pk__in=[one.pk for one in soon]).update(reminded_at=now)
    # Told that it is late, nobody needs the reminder any more.
    Duty.objects.filter(pk__in=[one.pk for one in late]).update(
        late_told_at=now, reminded_at=Coalesce("reminded_at", now)
    )
    return len(duties)


def _told_of(duty: Duty, owners: list[Person], *, late: bool) -> list[Person]:
    """Whoever sees to a duty, or the owners of the business; of a late one both."""
    if duty.owner is None or not duty.owner.is_active:
        return owners
    if late:
        return [duty.owner, *(one for one in owners if one.pk != duty.owner_id)]
    return [duty.owner]


def _tell(person: Person, what: str, duties: list[Duty], today: date, now: datetime) -> None:
    count = len(duties)
    if count == 1:
        subject = f"Duty {'late' if what == 'late' else 'due'}: {duties[0]}"
    else:
        subject = f"{count} duties {'are late' if what == 'late' else 'come due'}"
    lines = [f"{one.due_on:%Y-%m-%d}  {one}" for one in duties[:NAMED]]
    if count > NAMED:
        lines.append(f"and {count - NAMED} more")
    notices.tell(
        people=[person],
        # A turn is told of once in each of its two ways, so the first one names the letter.
        key=f"duty {what} {today:%Y-%m-%d} {duties[0].pk}",
        subject=subject,
        text="\n".join(lines),
        address="/compliance/duties/",
        now=now,
    )
