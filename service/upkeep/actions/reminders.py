"""Reminding people of what comes due, once each turn, and of what is late, once more."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from typing import Final

from django.db import transaction
from django.db.models import Q
from django.db.models.functions import Coalesce

from people.actions import notices
from people.models import Business, Person
from people.roles import Role

from ..models import DueWork
from . import lock

NOT_BEFORE: Final = time(6)
"""By the business's clock; nobody is told at night."""
MOST_NOTICE: Final = timedelta(days=365)
NAMED: Final = 12
"""Turns named in one letter; of more it says how many."""


@transaction.atomic
def remind(*, now: datetime) -> int:
    """Tell whoever does it of turns that come due within their plan's notice, and of late ones.

    One letter a person and time tells of all of them. How many turns were told of; asked again it
    tells of none twice.
    """
    local = now.astimezone(Business.the().time_zone)
    if local.time() < NOT_BEFORE:
        return 0
    lock.take()
    today = local.date()
    turns = [
        one
        for one in DueWork.objects.filter(state=DueWork.State.OPEN, plan__active=True)
        .filter(
            Q(day__lt=today, late_told_at__isnull=True)
            | Q(day__gte=today, day__lte=today + MOST_NOTICE, reminded_at__isnull=True)
        )
        .select_related("plan__responsible", "given_to", "machine")
        .order_by("day", "machine__asset_tag", "pk")
        if one.day <= today + timedelta(days=one.plan.notice_days)
    ]
    late = [one for one in turns if one.day < today]
    soon = [one for one in turns if one.day >= today]
    desk = _holding(Role.DISPATCHER) or _holding(Role.OWNER)
    for what, rows in (("late", late), ("due", soon)):
        by_person: dict[Person, list[DueWork]] = defaultdict(list)
        for one in rows:
            for person in told_of(one, desk, late=what == "late"):
                by_person[person].append(one)
        for person, theirs in by_person.items():
            _tell(person, what, theirs, today, now)
    DueWork.objects.filter(pk__in=[one.pk for one in soon]).update(reminded_at=now)
    # Told that it is late, nobody needs the reminder any more.
    DueWork.objects.filter(pk__in=[one.pk for one in late]).update(
        late_told_at=now, reminded_at=Coalesce("reminded_at", now)
    )
    return len(late) + len(soon)


def told_of(turn: DueWork, desk: Iterable[Person], *, late: bool) -> list[Person]:
    """Whoever does a turn, or the desk; of a late one both."""
    chosen = turn.given_to or turn.plan.responsible
    if chosen is None or not chosen.is_active:
        return list(desk)
    return [chosen, *(one for one in desk if one.pk != chosen.pk)] if late else [chosen]


def _tell(person: Person, what: str, turns: list[DueWork], today: date, now: datetime) -> None:
    count = len(turns)
    if count == 1:
        subject = f"Upkeep {'late' if what == 'late' else 'due'}: {turns[0]}"
    else:
        subject = f"Upkeep: {count} turns {'are late' if what == 'late' else 'come due'}"
    lines = [f"{one.day:%Y-%m-%d}  {one.machine}  {one.plan}" for one in turns[:NAMED]]
    if count > NAMED:
        lines.append(f"and {count - NAMED} more")
    notices.tell(
        people=[person],
        # A turn is told of once in each of its two ways, so the first one names the letter.
        key=f"upkeep {what} {today:%Y-%m-%d} {turns[0].pk}",
        subject=subject,
        text="\n".join(lines),
        address="/upkeep/?who=mine" if turns[0].given_to_id == person.pk else "/upkeep/",
        now=now,
    )


def _holding(role: Role) -> list[Person]:
    return list(Person.objects.filter(is_active=True, roles__contains=[role]).order_by("pk"))
