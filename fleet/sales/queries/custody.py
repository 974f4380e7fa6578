"""Where cash is between a machine and the bank: nothing ends without a line."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final

from django.db.models import F, OuterRef, Subquery

from ..models import Bag, BagCount, BagStep, BankedBag, CashLimits
from .bags import COUNTED, MISSING, OPENED, RECEIVED, SEALED, bags_placed
from .bankings import bankings_whole

WAITS: Final = {
    SEALED: "sealed and not received",
    RECEIVED: "received and not counted",
    OPENED: "opened and not counted",
    COUNTED: "counted and not banked",
    MISSING: "said to be missing",
    "banked": "banked and not confirmed",
    "differs": "confirmed with another amount",
}
MOST_SHOWN: Final = 200


@dataclass(frozen=True, slots=True)
class Open:
    """A bag or a banking that waits, from when and how long. `amount` is None where not known."""

    state: str
    words: str
    bag_id: int | None
    banking_id: int | None
    label: str
    machine: str
    since: datetime
    days: int
    amount: Decimal | None
    late: bool


@dataclass(frozen=True, slots=True)
class Custody:
    """What waits, by state: how many, how much as far as counted, and how many of them too long.

    `shown` are those that wait too long, longest first, MOST_SHOWN at most.
    """

    waits: tuple["Waits", ...]
    shown: tuple[Open, ...]
    left_out: int


@dataclass(frozen=True, slots=True)
class Waits:
    state: str
    words: str
    number: int
    amount: Decimal
    late: int
    allowed_days: int


def open_custody(now: datetime, *, late_only: bool = True) -> Custody:
    """Everything between seal and bank that has not come to its end. Three queries."""
    allowed = allowed_days(CashLimits.the())
    every = [*_bags(now, allowed), *_bankings(now, allowed)]
    waits = []
    for state, words in WAITS.items():
        of = [one for one in every if one.state == state]
        waits.append(
            Waits(
                state,
                words,
                len(of),
                sum((one.amount or Decimal(0) for one in of), Decimal(0)),
                sum(one.late for one in of),
                allowed[state],
            )
        )
    listed = sorted(
        (one for one in every if one.late or not late_only), key=lambda one: (one.since, one.label)
    )
    return Custody(tuple(waits), tuple(listed[:MOST_SHOWN]), max(len(listed) - MOST_SHOWN, 0))


def allowed_days(limits: CashLimits) -> dict[str, int]:
    """Days after which what has not gone on is late, by state."""
    return {
        SEALED: limits.to_receive_days,
        RECEIVED: limits.to_count_days,
        OPENED: limits.opened_days,
        COUNTED: limits.to_bank_days,
        MISSING: 0,
        "banked": limits.to_confirm_days,
        "differs": 0,
    }


def _bags(now: datetime, allowed: Mapping[str, int]) -> list[Open]:
    counts = BagCount.objects.filter(bag=OuterRef("pk")).order_by("-pk")
    steps = BagStep.objects.filter(bag=OuterRef("pk")).order_by("-pk")
    rows = (
        bags_placed()
        .exclude(state="banked")
        .exclude(state=COUNTED, amount__lte=F("taken"))
        .annotate(
            stepped_at=Subquery(steps.values("at")[:1]),
            counted_at=Subquery(counts.values("counted_at")[:1]),
        )
        .values_list(
            *("pk", "seal_number", "machine__asset_tag", "state", "sealed_at", "stepped_at"),
            *("counted_at", "amount", "taken"),
        )
    )
    found = []
    for pk, seal, tag, state, sealed_at, stepped_at, counted_at, amount, taken in rows:
        since = {SEALED: sealed_at, COUNTED: counted_at}.get(state) or stepped_at or sealed_at
        left = None if amount is None else amount - taken
        found.append(_open(state, pk, None, seal, tag, since, left, now, allowed))
    return found


def _bankings(now: datetime, allowed: Mapping[str, int]) -> list[Open]:
    rows = bankings_whole().filter(taken_back_at__isnull=True).prefetch_related(None)
    found = []
    for row in rows.exclude(off=0) | rows.filter(off__isnull=True):
        state = "banked" if row.off is None else "differs"
        amount = row.amount if row.off is None else row.off
        found.append(
            _open(state, None, row.pk, row.slip_number, "", row.banked_at, amount, now, allowed)
        )
    return found


def _open(
    state: str,
    bag: int | None,
    banking: int | None,
    label: str,
    machine: str,
    since: datetime,
    amount: Decimal | None,
    now: datetime,
    allowed: Mapping[str, int],
) -> Open:
    late = now - since > timedelta(days=allowed[state])
    days = max((now - since).days, 0)
    return Open(state, WAITS[state], bag, banking, label, machine, since, days, amount, late)


@dataclass(frozen=True, slots=True)
class Happened:
    """A line of a bag's way. `who` are the people named, the one who wrote it first."""

    at: datetime
    recorded_at: datetime
    words: str
    who: tuple[str, ...]
    amount: Decimal | None
    note: str
    banking_id: int | None = None


def timeline(bag: Bag) -> list[Happened]:
    """All that happened to a bag of `bags_whole`, in the order of what people say, then written."""
    found = [Happened(bag.sealed_at, bag.recorded_at, "sealed", (bag.sealed_by.name,), None, "")]
    found += [_step(one) for one in bag.steps.all()]
    counts = sorted(bag.counts.all(), key=lambda one: one.pk)
    for number, one in enumerate(counts):
        who = tuple(each.name for each in (one.counted_by, one.second) if each is not None)
        words = "counted" if number == 0 else "counted again"
        found.append(Happened(one.counted_at, one.recorded_at, words, who, one.amount, one.note))
    for fill in bag.tube_fills.select_related("machine", "by"):
        words = f"change put into the tubes of {fill.machine}"
        found.append(
            Happened(fill.at, fill.recorded_at, words, (fill.by.name,), -fill.amount, fill.note)
        )
    for line in bag.float_lines.select_related("site", "by"):
        words = f"change brought to the host of {line.site}"
        found.append(
            Happened(line.at, line.recorded_at, words, (line.by.name,), -line.amount, line.note)
        )
    for on in BankedBag.objects.filter(bag=bag).select_related(
        "banking__by", "banking__taken_back_by"
    ):
        slip = on.banking
        words = f"banked on slip {slip.slip_number}"
        found.append(
            Happened(
                *(slip.banked_at, slip.recorded_at, words, (slip.by.name,)),
                *(on.amount, slip.note, slip.pk),
            )
        )
        if slip.taken_back_at is not None and slip.taken_back_by is not None:
            words = f"banking {slip.slip_number} taken back"
            found.append(
                Happened(
                    *(slip.taken_back_at, slip.taken_back_at, words, (slip.taken_back_by.name,)),
                    *(None, slip.taken_back_why, slip.pk),
                )
            )
        for told in slip.confirmations.select_related("by").order_by("pk"):
            words = f"the bank confirmed {told.amount:.2f} for the slip on {told.confirmed_on}"
            found.append(
                Happened(
                    *(told.recorded_at, told.recorded_at, words, (told.by.name,)),
                    *(None, told.note, slip.pk),
                )
            )
    return sorted(found, key=lambda one: (one.at, one.recorded_at))


def _step(one: BagStep) -> Happened:
    who = tuple(each.name for each in (one.by, one.second) if each is not None)
    return Happened(one.at, one.recorded_at, one.get_what_display(), who, None, one.note)
