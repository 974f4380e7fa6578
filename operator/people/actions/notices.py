"""Telling people what they should know: once each, on Today and by e-mail."""

from collections.abc import Iterable
from datetime import datetime
from functools import partial

from django.db import transaction

from people import rows, tasks
from people.errors import NotFound
from people.models import Notice, Person


@transaction.atomic
def tell(
    *,
    people: Iterable[Person],
    key: str,
    subject: str,
    text: str,
    now: datetime,
    address: str = "",
    by_mail: bool = True,
) -> list[Notice]:
    """Tell each of `people` once of what `key` names; whom it was told before, or who left, is
    passed over. The new notices, whose e-mail leaves when the transaction is kept.

    `address` leads to a page of the desk, as in `/tickets/7/`. A notice is a record of its own, so
    it leaves no audit entry. Raises Unacceptable.
    """
    new: list[Notice] = []
    # In one order, so that two that tell the same people at once do not wait for each other.
    for person in sorted({one for one in people if one.is_active}, key=lambda one: one.pk):
        wanted = Notice(
            person=person,
            key=key,
            # A line feed in a subject would begin another header of the letter.
            subject=" ".join(subject.split())[:200],
            text=text.strip(),
            address=address,
            at=now,
            by_mail=by_mail,
        )
        rows.check(wanted)
        facts = {
            name: getattr(wanted, name) for name in ("subject", "text", "address", "at", "by_mail")
        }
        # Of two at once the database lets one in, and the other finds it.
        notice, is_new = Notice.objects.get_or_create(person=person, key=key, defaults=facts)
        if is_new:
            new.append(notice)
            if by_mail:
                # Robust: what the broker does not take now is sent by the task that sweeps up.
                transaction.on_commit(partial(tasks.mail.delay, notice.pk), robust=True)
    return new


def see(*, person: Person, now: datetime, notice: int | None = None) -> int:
    """Take a person's notice as seen, or all of them; how many were not before.

    Raises NotFound for a notice that is not this person's.
    """
    theirs = Notice.objects.filter(person=person)
    if notice is not None:
        theirs = theirs.filter(pk=notice)
        if not theirs.exists():
            raise NotFound(f"there is no notice {notice}")
    return theirs.filter(seen_at__isnull=True).update(seen_at=now)
