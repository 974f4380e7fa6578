"""Reminding people of duties that come due, once each turn, and of late ones, once more."""

from datetime import datetime
from typing import Final

from django.db import transaction

from people.actions import reminding
from people.models import Person
from people.roles import Role

from ..models import Duty
from . import lock

WORDS: Final = reminding.Words[Duty](
    kind="duty",
    one=lambda duty, is_late: f"Duty {'late' if is_late else 'due'}: {duty}",
    many=lambda count, is_late: f"{count} duties {'are late' if is_late else 'come due'}",
    line=lambda duty: f"{duty.due_on:%Y-%m-%d}  {duty}",
    address=lambda _person, _duty: "/compliance/duties/",
)


@transaction.atomic
def remind(*, now: datetime) -> int:
    """Tell whoever sees to them of duties that come due within their notice, and of late ones.

    How many duties were told of; asked again it tells of none twice.
    """
    if reminding.is_night(now):
        return 0
    lock.take()
    owners = list(
        Person.objects.filter(is_active=True, roles__contains=[Role.OWNER]).order_by("pk")
    )
    return reminding.remind(
        rows=Duty.objects.filter(state=Duty.State.OPEN)
        .select_related("owner", "site", "machine")
        .order_by("due_on", "title", "pk"),
        day="due_on",
        notice_days=lambda duty: duty.notice_days,
        told_of=lambda duty, is_late: _told_of(duty, owners, late=is_late),
        words=WORDS,
        now=now,
    )


def _told_of(duty: Duty, owners: list[Person], *, late: bool) -> list[Person]:
    """Whoever sees to a duty, or the owners of the business; of a late one both."""
    if duty.owner is None or not duty.owner.is_active:
        return owners
    if late:
        return [duty.owner, *(one for one in owners if one.pk != duty.owner_id)]
    return [duty.owner]
