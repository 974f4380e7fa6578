"""Change that lies out: put into coin tubes, and kept by hosts for refunds."""

from datetime import datetime
from decimal import Decimal

from django.db import transaction

from fleet.machines.actions.holdings import require_money
from fleet.machines.models import Machine, Site
from people.errors import Unable, Unacceptable
from people.models import Person
from people.rows import put

from ..locks import lock_bags
from ..models import Bag, HostFloatLine, TubeFill
from ..queries.bags import COUNTED
from ..queries.floats import float_of
from .bags import AHEAD

Way, What = TubeFill.Way, HostFloatLine.What


class NotInTheBag(Unable):
    """A bag does not hold so much, or cannot be taken from."""

    code = "not_in_the_bag"


class NotInTheFloat(Unable):
    code = "not_in_the_float"


@transaction.atomic
def fill_tubes(
    *,
    machine: Machine,
    way: str,
    amount: Decimal,
    at: datetime,
    actor: Person,
    now: datetime,
    from_bag: Bag | None = None,
    note: str = "",
) -> TubeFill:
    """Change put into a machine's tubes by hand, or taken out. Raises NotInTheBag, Unacceptable."""
    _require(amount, at, now)
    _require_in_the_bag(from_bag, amount)
    if from_bag is not None and way != Way.PUT_IN:
        message = "change taken out of tubes goes into no counted bag; name none"
        raise Unacceptable(f"from_bag: {message}", fields={"from_bag": message})
    return put(
        TubeFill(machine=machine, by=actor, recorded_at=now),
        {"way": way, "amount": amount, "at": at, "from_bag": from_bag, "note": note.strip()},
        actor=actor,
        verb="fill tubes" if way == Way.PUT_IN else "empty tubes",
        now=now,
    )


@transaction.atomic
def move_float(
    *,
    site: Site,
    what: str,
    amount: Decimal,
    at: datetime,
    actor: Person,
    now: datetime,
    from_bag: Bag | None = None,
    reference: str = "",
    note: str = "",
) -> HostFloatLine:
    """Money brought to a host, paid out as a refund, taken back, or counted at the host's.

    `amount` is above zero, or what a count found. A refund may take the float below zero: then the
    host paid out of their own, and is owed it. Raises NotInTheBag, NotInTheFloat, Unacceptable.
    """
    if what not in What.values:
        message = f"give one of {', '.join(What.values)}"
        raise Unacceptable(f"what: {message}", fields={"what": message})
    if from_bag is not None and what != What.PUT_IN:
        message = "only what is brought to the host comes out of a bag; name none"
        raise Unacceptable(f"from_bag: {message}", fields={"from_bag": message})
    _require(amount, at, now, least=Decimal(0) if what == What.COUNTED else None)
    Site.objects.select_for_update(of=("self",), no_key=True).get(pk=site.pk)
    _require_in_the_bag(from_bag, amount)
    there = float_of(site)
    if what == What.TAKEN_BACK and amount > there:
        raise NotInTheFloat(
            f"{site}: by its lines the float holds {there:.2f}; count it before more is taken back"
        )
    adds = {
        What.PUT_IN: amount,
        What.REFUND: -amount,
        What.TAKEN_BACK: -amount,
        What.COUNTED: amount - there,
    }[What(what)]
    return put(
        HostFloatLine(site=site, by=actor, recorded_at=now),
        {
            "what": what,
            "amount": adds,
            "found": amount if what == What.COUNTED else None,
            "at": at,
            "from_bag": from_bag,
            "reference": reference.strip(),
            "note": note.strip(),
        },
        actor=actor,
        verb="move host's float",
        now=now,
    )


def _require(amount: Decimal, at: datetime, now: datetime, least: Decimal | None = None) -> None:
    if not amount.is_finite() or (amount <= 0 if least is None else amount < least):
        message = "give an amount above nothing" if least is None else "give nothing or more"
        raise Unacceptable(f"amount: {message}", fields={"amount": message})
    require_money(amount, "amount")
    if at > now + AHEAD:
        message = "is in the future; give when it was"
        raise Unacceptable(f"at: {message}", fields={"at": message})


def _require_in_the_bag(bag: Bag | None, amount: Decimal) -> None:
    if bag is None:
        return
    (held,) = lock_bags([bag])
    if held.state != COUNTED:
        raise NotInTheBag(
            f"bag {held.seal_number} is {held.state}; change is taken out of counted bags that are "
            "not banked"
        )
    left = held.amount - held.taken
    if amount > left:
        raise NotInTheBag(f"bag {held.seal_number} holds {left:.2f} yet, less than {amount:.2f}")
