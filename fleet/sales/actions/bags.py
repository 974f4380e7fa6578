"""Bags of cash: sealed at a machine, counted later."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final

from django.db import IntegrityError, transaction

from fleet.machines.actions.holdings import require_money
from fleet.machines.models import Machine
from people import audit, bulk
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Business, Person
from people.rows import put

from ..locks import lock_bags
from ..models import Bag, BagCount, BagCountLine
from ..queries.bags import BANKED, MISSING
from .counting import Counted, lines_of

#: How far a device's clock may be ahead of ours.
AHEAD: Final = timedelta(minutes=10)


class SealUsed(Unable):
    code = "seal_used"

    def __init__(self, seal_number: str, bag: Bag | None) -> None:
        where = "another bag" if bag is None else f"the bag of {bag.machine}"
        super().__init__(f"seal {seal_number} is on {where}; read the number again")


@transaction.atomic
def seal(
    *, seal_number: str, machine: Machine, sealed_at: datetime, actor: Person, now: datetime
) -> Bag:
    """Record the cash of a machine under a seal; no amount. Raises SealUsed, Unacceptable."""
    number = seal_number.strip()
    longest = Bag._meta.get_field("seal_number").max_length or 0
    if not 0 < len(number) <= longest or not number.isprintable():
        message = f"give the seal's number as printed, 1 to {longest} characters"
        raise Unacceptable(message, fields={"seal_number": message})
    bag = Bag(
        seal_number=number, machine=machine, sealed_at=sealed_at, recorded_at=now, sealed_by=actor
    )
    try:
        with transaction.atomic():
            bag.save(force_insert=True)
    except IntegrityError as error:
        used = Bag.objects.filter(seal_number=number).select_related("machine").first()
        raise SealUsed(number, used) from error
    audit.record(actor=actor, verb="seal bag", row=bag, now=now, after=audit.values(bag))
    return bag


class UnableToCount(Unable):
    code = "unable_to_count"


@transaction.atomic
def count_bag(
    *,
    bag: Bag,
    counted_at: datetime,
    actor: Person,
    now: datetime,
    amount: Decimal | None = None,
    lines: Sequence[Counted] = (),
    second: Person | None = None,
    note: str = "",
    after: int | None = None,
) -> BagCount:
    """Record what was in a bag. Counted again, it has another row, and the last holds.

    `lines` say it by denomination and add up to the amount; without them `amount` says it whole.
    `after` is the key of the last count that the person saw, 0 for none: where somebody else has
    counted since, the count is refused. Raises UnableToCount when it cannot have been counted then,
    Unacceptable by field.
    """
    rows = lines_of(lines)
    amount = _whole(amount, rows)
    if counted_at < bag.sealed_at:
        raise UnableToCount(
            f"bag {bag.seal_number} was sealed {Business.the().clock_of(bag.sealed_at)}; it cannot "
            "have been counted before",
            code="counted_before_sealed",
        )
    if counted_at > now + AHEAD:
        message = "is in the future; give when it was counted"
        raise Unacceptable(f"counted_at: {message}", fields={"counted_at": message})
    if second is not None and second.pk == actor.pk:
        message = "name somebody other than yourself, or nobody"
        raise Unacceptable(f"second: {message}", fields={"second": message})
    (held,) = lock_bags([bag])
    if held.state in (MISSING, BANKED):
        said = {
            MISSING: "is said to be missing; say first that it was found",
            BANKED: "went to the bank; take the banking back first",
        }
        raise UnableToCount(f"bag {bag.seal_number} {said[held.state]}", code=f"bag_{held.state}")
    last = bag.counts.order_by("-pk").values_list("pk", flat=True).first() or 0
    if after is not None and after != last:
        raise UnableToCount(
            f"bag {bag.seal_number} was counted by somebody else meanwhile; look at that count "
            "before you count again",
            code="changed_meanwhile",
        )
    count = put(
        BagCount(bag=bag, counted_by=actor, recorded_at=now),
        {"amount": amount, "counted_at": counted_at, "second": second, "note": note.strip()},
        actor=actor,
        verb="count bag",
        now=now,
    )
    for row in rows:
        row.count = count
    BagCountLine.objects.bulk_create(rows)
    return count


def _whole(amount: Decimal | None, rows: Sequence[BagCountLine]) -> Decimal:
    """The amount of a count, told or added up. Raises Unacceptable."""
    if not rows:
        if amount is None:
            message = "say what was in the bag, as one amount or line by line"
            raise Unacceptable(f"amount: {message}", fields={"amount": message})
        if amount.is_finite():
            require_money(amount, "amount")
        return amount
    places = Business.the().currency_exponent
    total = Decimal(sum(row.amount_minor for row in rows)).scaleb(-places)
    if amount is not None and amount != total:
        message = f"{amount} was told, and the lines come to {total:.{places}f}"
        raise Unacceptable(f"amount: {message}", fields={"amount": message})
    return total


@dataclass(frozen=True)
class PastCount:
    """What was found in a bag, as a counting book has it."""

    bag: Bag
    amount: Decimal
    counted_at: datetime
    counted_by: Person
    second: Person | None = None


@transaction.atomic
def write_down_counts(
    *, counts: Sequence[PastCount], actor: Person, now: datetime
) -> list[BagCount]:
    """Write down counts of the time before, all or none, in statements that do not grow with them.

    Raises Unacceptable by the number in the list.
    """
    wrong: dict[str, str] = {}
    for index, one in enumerate(counts):
        if not one.bag.sealed_at <= one.counted_at <= now:
            wrong[f"counts.{index}.counted_at"] = "counted after it was sealed, and before now"
        if one.amount < 0:
            wrong[f"counts.{index}.amount"] = "give nothing or more"
        if one.second is not None and one.second.pk == one.counted_by.pk:
            wrong[f"counts.{index}.second"] = "name somebody other than who counted, or nobody"
    if wrong:
        raise Unacceptable("; ".join(f"{k}: {v}" for k, v in wrong.items()), fields=wrong)
    rows = [
        BagCount(
            bag=one.bag,
            amount=one.amount,
            counted_at=one.counted_at,
            recorded_at=now,
            counted_by=one.counted_by,
            second=one.second,
        )
        for one in counts
    ]
    bulk.write(rows)
    bulk.write(
        [
            AuditEntry(
                **audit.entry_values(
                    actor=actor, verb="count bag", row=row, now=now, after=audit.values(row)
                )
            )
            for row in rows
        ]
    )
    return rows
