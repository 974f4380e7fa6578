"""What bags should hold, by the reads between them."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from django.db.models import OuterRef, Subquery

from fleet.compute.till import NEAR, Basis, Between, Expected, expected
from people.models import Business

from ..models import Bag, BagCount, MachineInterval, TubeFill

HISTORY: Final = timedelta(days=120)
"""How far back bags are read that tell what chance explains; about seventeen weekly bags."""


@dataclass(frozen=True, slots=True)
class Reckoned:
    """A bag beside what it should hold.

    Bags of a machine sealed within NEAR of each other are of one visit: they stand here as one,
    under the seal of the last, and `together` names the seals of all. `counted` is None until each
    of them is counted. `people` are keys: who sealed, and who counted, also along.
    """

    bag_id: int
    seal_number: str
    machine_id: int
    asset_tag: str
    sealed_at: datetime
    together: tuple[str, ...]
    counted: Decimal | None
    expected: Expected
    sealed_by: frozenset[int]
    counted_by: frozenset[int]

    @property
    def difference(self) -> Decimal | None:
        """Counted less expected; below zero is short."""
        if self.counted is None or self.expected.amount is None:
            return None
        return self.counted - self.expected.amount


def expected_of(bag: Bag) -> Expected:
    """What this bag should hold, and by what. Of one visit's bags the last says it for all."""
    around = (bag.sealed_at - timedelta(seconds=1), bag.sealed_at + NEAR)
    for one in reckoned(since=around[0], until=around[1], machines=[bag.machine_id]):
        if one.bag_id == bag.pk:
            return one.expected
        if bag.seal_number in one.together:
            said = (
                f"sealed at the same visit as bag {one.seal_number}; both are held together there"
            )
            return Expected(None, Basis.NONE, None, None, exact=False, said=said)
    return Expected(None, Basis.NONE, None, None, exact=False, said="nothing is known")


def reckoned(
    *, since: datetime, until: datetime, machines: Iterable[int] | None = None
) -> list[Reckoned]:
    """Visits whose bags were sealed in `[since, until)`, in order of time. Four queries."""
    # Wider by what may belong to the visits at either end.
    groups = _visits(since - NEAR, until + NEAR, machines)
    groups = [one for one in groups if since <= one[-1]["sealed_at"] < until]
    if not groups:
        return []
    keys = {one[0]["machine"] for one in groups}
    begins = [one[0]["before"] for one in groups if one[0]["before"] is not None]
    span = (min(begins, default=since) - NEAR, max(one[-1]["sealed_at"] for one in groups) + NEAR)
    business = Business.the()
    told = _told(keys, *span, business.currency)
    fills = _fills(keys, *span)
    found = []
    for bags in groups:
        last = bags[-1]
        machine = last["machine"]
        begin, end = bags[0]["before"], last["sealed_at"]
        window = [
            one
            for one in told[machine]
            if begin is not None and one.ends > begin - NEAR and one.starts < end + NEAR
        ]
        put_in = sum(
            (
                amount
                for at, amount in fills[machine]
                if begin is not None and begin + NEAR < at <= end + NEAR
            ),
            Decimal(0),
        )
        amounts = [one["amount"] for one in bags]
        found.append(
            Reckoned(
                bag_id=last["pk"],
                seal_number=last["seal_number"],
                machine_id=machine,
                asset_tag=last["machine__asset_tag"],
                sealed_at=end,
                together=tuple(one["seal_number"] for one in bags),
                counted=None if None in amounts else sum(amounts, Decimal(0)),
                expected=expected(
                    window, begin, end, put_in_tubes=put_in, places=business.currency_exponent
                ),
                sealed_by=frozenset(one["sealed_by"] for one in bags),
                counted_by=frozenset(
                    who
                    for one in bags
                    for who in (one["counted_by"], one["second"])
                    if who is not None
                ),
            )
        )
    return sorted(found, key=lambda one: (one.sealed_at, one.bag_id))


def _visits(
    since: datetime, until: datetime, machines: Iterable[int] | None
) -> list[list[dict[str, Any]]]:
    """Bags by machine and visit, and when the bag before each was sealed."""
    last = BagCount.objects.filter(bag=OuterRef("pk")).order_by("-pk")
    before = Bag.objects.filter(
        machine=OuterRef("machine"), sealed_at__lt=OuterRef("sealed_at")
    ).order_by("-sealed_at")
    rows = Bag.objects.filter(sealed_at__gte=since, sealed_at__lt=until)
    if machines is not None:
        rows = rows.filter(machine__in=list(machines))
    groups: list[list[dict[str, Any]]] = []
    for row in (
        rows.annotate(  # type: ignore[no-redef]
            amount=Subquery(last.values("amount")[:1]),
            counted_by=Subquery(last.values("counted_by")[:1]),
            second=Subquery(last.values("second")[:1]),
            before=Subquery(before.values("sealed_at")[:1]),
        )
        .order_by("machine", "sealed_at", "pk")
        .values(
            *("pk", "seal_number", "machine", "machine__asset_tag", "sealed_at", "sealed_by"),
            *("amount", "counted_by", "second", "before"),
        )
    ):
        near = groups and groups[-1][-1]
        if (
            near
            and near["machine"] == row["machine"]
            and row["sealed_at"] - near["sealed_at"] <= NEAR
        ):
            groups[-1].append(row)
        else:
            groups.append([row])
    return groups


def _told(
    machines: Iterable[int], since: datetime, until: datetime, currency: str
) -> dict[int, list[Between]]:
    """Intervals of the machines in the business's own currency, in order of time."""
    rows = (
        MachineInterval.objects.filter(
            machine__in=list(machines), ends_at__gt=since, starts_at__lt=until
        )
        .order_by("machine", "starts_at", "ends_at")
        .values_list(
            *("machine", "starts_at", "ends_at", "exponent", "cash_in_minor"),
            *("cash_to_tubes_minor", "cash_to_box_minor", "bills_in_minor", "cash_minor"),
            *("currency", "awaits_decision"),
        )
    )
    found: dict[int, list[Between]] = defaultdict(list)
    for machine, starts, ends, exponent, came, tubes, box, notes, sold, money, open_ in rows:
        known = not open_ and money in ("", currency)
        found[machine].append(
            Between(
                starts,
                ends,
                _amount(_boxed(came, tubes, box, notes), exponent) if known else None,
                _amount(sold, exponent) if known else None,
            )
        )
    return found


def _boxed(came: int | None, tubes: int | None, box: int | None, notes: int | None) -> int | None:
    """Coins to the box and notes to the stacker; the bag holds both."""
    if came is not None and tubes is not None:
        return came - tubes
    return None if box is None else box + (notes or 0)


def _amount(minor: int | None, exponent: int) -> Decimal | None:
    return None if minor is None else Decimal(minor).scaleb(-exponent)


def _fills(
    machines: Iterable[int], since: datetime, until: datetime
) -> dict[int, Sequence[tuple[datetime, Decimal]]]:
    """Change put into tubes by hand; what was taken out is below zero."""
    found: dict[int, list[tuple[datetime, Decimal]]] = defaultdict(list)
    rows = TubeFill.objects.filter(machine__in=list(machines), at__gt=since, at__lte=until)
    for machine, at, way, amount in rows.values_list("machine", "at", "way", "amount"):
        found[machine].append((at, amount if way == TubeFill.Way.PUT_IN else -amount))
    return defaultdict(list, found)
