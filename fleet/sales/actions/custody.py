"""The way of a bag between its seal and the count: received, opened, missing, found again."""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from people.errors import Unable, Unacceptable
from people.models import Business, Person
from people.rows import put

from ..locks import lock_bags
from ..models import Bag, BagStep
from ..queries.bags import BANKED, COUNTED, MISSING, SEALED
from .bags import AHEAD

What = BagStep.What


class OutOfTurn(Unable):
    """A bag cannot take this step from where it is."""

    code = "out_of_turn"


@transaction.atomic
def receive_bags(
    *,
    bags: Sequence[Bag],
    at: datetime,
    actor: Person,
    now: datetime,
    second: Person | None = None,
    note: str = "",
) -> list[BagStep]:
    """Bags came in from the road, all or none. Raises OutOfTurn, Unacceptable."""
    if not bags:
        message = "choose at least one bag"
        raise Unacceptable(f"bags: {message}", fields={"bags": message})
    return [
        _take(bag, What.RECEIVED, at, actor=actor, now=now, second=second, note=note)
        for bag in lock_bags(bags)
    ]


@transaction.atomic
def take_step(
    *,
    bag: Bag,
    what: str,
    at: datetime,
    actor: Person,
    now: datetime,
    second: Person | None = None,
    note: str = "",
) -> BagStep:
    """Write down what happened to a bag. Raises OutOfTurn, Unacceptable by field."""
    if what not in What.values:
        message = f"give one of {', '.join(What.values)}"
        raise Unacceptable(f"what: {message}", fields={"what": message})
    (held,) = lock_bags([bag])
    return _take(held, What(what), at, actor=actor, now=now, second=second, note=note)


def _take(
    bag: Bag,
    what: BagStep.What,
    at: datetime,
    *,
    actor: Person,
    now: datetime,
    second: Person | None,
    note: str,
) -> BagStep:
    _require_turn(bag, what)
    if at < bag.sealed_at:
        sealed = Business.the().clock_of(bag.sealed_at)
        message = f"bag {bag.seal_number} was sealed {sealed}; give a later time"
        raise Unacceptable(f"at: {message}", fields={"at": message})
    if at > now + AHEAD:
        message = "is in the future; give when it was"
        raise Unacceptable(f"at: {message}", fields={"at": message})
    if second is not None and second.pk == actor.pk:
        message = "name somebody other than yourself, or nobody"
        raise Unacceptable(f"second: {message}", fields={"second": message})
    if what is What.MISSING and not note.strip():
        message = "say what is known: where it was seen last, and who had it"
        raise Unacceptable(f"note: {message}", fields={"note": message})
    return put(
        BagStep(bag=bag, by=actor, recorded_at=now),
        {"what": what, "at": at, "second": second, "note": note.strip()},
        actor=actor,
        verb=f"{what.label} bag" if what is not What.MISSING else "miss bag",
        now=now,
    )


def _require_turn(bag: Bag, what: BagStep.What) -> None:
    state = bag.state
    allowed = {
        What.RECEIVED: state == SEALED,
        What.OPENED: state not in (MISSING, BANKED, COUNTED, "opened"),
        What.MISSING: state not in (MISSING, BANKED),
        What.FOUND: state == MISSING,
    }
    if not allowed[what]:
        raise OutOfTurn(f"bag {bag.seal_number} is {state}; it cannot be said to be {what.label}")
