"""Counted bags to the bank: on a slip, confirmed by the bank, or taken back."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from fleet.machines.actions.holdings import require_money
from people import audit
from people.errors import Unable, Unacceptable
from people.models import Business, Person
from people.rows import put

from ..locks import lock_bags
from ..models import Bag, BankedBag, Banking, BankingConfirmed
from ..queries.bags import COUNTED
from .bags import AHEAD


class UnableToBank(Unable):
    code = "unable_to_bank"


@transaction.atomic
def bank(
    *,
    bags: Sequence[Bag],
    slip_number: str,
    amount: Decimal,
    banked_at: datetime,
    actor: Person,
    now: datetime,
    note: str = "",
    held: Decimal | None = None,
) -> Banking:
    """Counted bags went to the bank on one slip. A slip that differs from them says why in `note`.

    `held` is what the person saw the bags hold; where that is no longer so, it is refused. Raises
    UnableToBank, Unacceptable.
    """
    if not bags:
        message = "choose at least one counted bag"
        raise Unacceptable(f"bags: {message}", fields={"bags": message})
    _require_amount(amount)
    rows = lock_bags(bags)
    for bag in rows:
        if bag.state != COUNTED:
            raise UnableToBank(
                f"bag {bag.seal_number} is {bag.state}; only counted bags that are not banked go "
                "to the bank",
                code="bag_not_counted",
            )
        if banked_at < bag.sealed_at:
            sealed = Business.the().clock_of(bag.sealed_at)
            message = f"bag {bag.seal_number} was sealed {sealed}; give a later time"
            raise Unacceptable(f"banked_at: {message}", fields={"banked_at": message})
    if banked_at > now + AHEAD:
        message = "is in the future; give when it was taken to the bank"
        raise Unacceptable(f"banked_at: {message}", fields={"banked_at": message})
    left = {bag.pk: bag.amount - bag.taken for bag in rows}
    for bag in rows:
        if left[bag.pk] < 0:
            raise UnableToBank(
                f"bag {bag.seal_number}: more change was taken out than its last count found; "
                "count it again",
                code="bag_overdrawn",
            )
    total = sum(left.values(), Decimal(0))
    if held is not None and held != total:
        raise UnableToBank(
            "a bag was counted again or change was taken out of it meanwhile; look again",
            code="changed_meanwhile",
        )
    banking = put(
        Banking(by=actor, recorded_at=now),
        {
            "slip_number": slip_number.strip(),
            "amount": amount,
            "held": total,
            "banked_at": banked_at,
            "note": note.strip(),
        },
        actor=actor,
        verb="bank bags",
        now=now,
    )
    BankedBag.objects.bulk_create(
        [BankedBag(banking=banking, bag=bag, amount=left[bag.pk]) for bag in rows]
    )
    return banking


@transaction.atomic
def confirm(
    *,
    banking: Banking,
    amount: Decimal,
    confirmed_on: date,
    actor: Person,
    now: datetime,
    reference: str = "",
    note: str = "",
) -> BankingConfirmed:
    """What the bank says it received. Told again, the last holds. Raises UnableToBank."""
    row = _held(banking)
    _require_amount(amount)
    zone = Business.the().time_zone
    if not row.banked_at.astimezone(zone).date() <= confirmed_on <= now.astimezone(zone).date():
        message = "give a day from the banking on, and not after today"
        raise Unacceptable(f"confirmed_on: {message}", fields={"confirmed_on": message})
    return put(
        BankingConfirmed(banking=row, by=actor, recorded_at=now),
        {
            "amount": amount,
            "confirmed_on": confirmed_on,
            "reference": reference.strip(),
            "note": note.strip(),
        },
        actor=actor,
        verb="confirm banking",
        now=now,
    )


@transaction.atomic
def take_back(*, banking: Banking, reason: str, actor: Person, now: datetime) -> Banking:
    """A banking written down by mistake: its bags are counted and not banked again.

    Raises UnableToBank once the bank confirmed it, Unacceptable without a reason.
    """
    if not reason.strip():
        message = "say why"
        raise Unacceptable(f"reason: {message}", fields={"reason": message})
    lock_bags(Bag.objects.filter(banked__banking=banking))
    row = _held(banking)
    if row.confirmations.exists():
        raise UnableToBank(
            f"{row}: the bank confirmed it; what is wrong is settled with the bank",
            code="banking_confirmed",
        )
    before = audit.values(row)
    row.taken_back_at, row.taken_back_by, row.taken_back_why = now, actor, reason.strip()
    row.save(update_fields=["taken_back_at", "taken_back_by", "taken_back_why"])
    row.banked.update(taken_back_at=now)
    audit.record(
        actor=actor,
        verb="take banking back",
        row=row,
        now=now,
        before=before,
        after=audit.values(row),
        reason=reason.strip(),
    )
    return row


def _held(banking: Banking) -> Banking:
    row = Banking.objects.select_for_update(of=("self",), no_key=True).get(pk=banking.pk)
    if row.taken_back_at is not None:
        raise UnableToBank(f"{row} was taken back: {row.taken_back_why}", code="taken_back")
    return row


def _require_amount(amount: Decimal) -> None:
    if not amount.is_finite() or amount < 0:
        message = "give nothing or more"
        raise Unacceptable(f"amount: {message}", fields={"amount": message})
    require_money(amount, "amount")
