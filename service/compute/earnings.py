"""What something earned: receipts less what stands against them, each part known or said unknown.

Money as Decimal in the currency of the business. Parts are kept exact; whoever shows them rounds.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal
from typing import Final, TypeVar

ZERO: Final = Decimal(0)
#: In the order they are taken off.
COSTS: Final = (
    "refunds",
    "tax",
    "goods",
    "waste",
    "missing",
    "commission",
    "fees",
    "visits",
    "repairs",
    "upkeep",
    "overhead",
)
#: Parts that a product has of its own; the others are shared out over the products of a machine.
OF_A_PRODUCT: Final = frozenset({"tax", "goods", "waste", "missing"})
SMALLEST: Final = Decimal("0.000001")
Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Earned:
    """Receipts and costs, of anything or of several together.

    `costs` by the names of COSTS. `unknown` names the parts of which something, or all, is not
    known: `profit` then is at most what it says, and never more is claimed. `units` were sold or
    given away; `minutes` are those of drivers.
    """

    receipts: Decimal = ZERO
    units: Decimal = ZERO
    costs: Mapping[str, Decimal] = field(default_factory=dict)
    unknown: frozenset[str] = frozenset()
    minutes: Decimal = ZERO
    km: Decimal = ZERO
    visits: Decimal = ZERO

    @property
    def spent(self) -> Decimal:
        """All costs that are known."""
        return sum(self.costs.values(), ZERO)

    @property
    def profit(self) -> Decimal:
        """Receipts less the costs that are known."""
        return self.receipts - self.spent

    @property
    def margin(self) -> Decimal | None:
        """Profit as a part of receipts; None without receipts."""
        return self.profit / self.receipts if self.receipts else None

    @property
    def before_visits(self) -> Decimal:
        """What is left before the work of drivers is paid."""
        return self.profit + self.costs.get("visits", ZERO)

    def cost(self, name: str) -> Decimal | None:
        """One part; None where nothing of it is known."""
        if name in self.costs:
            return self.costs[name]
        return None if name in self.unknown else ZERO

    def __add__(self, other: Earned) -> Earned:
        return Earned(
            receipts=self.receipts + other.receipts,
            units=self.units + other.units,
            costs={
                name: self.costs.get(name, ZERO) + other.costs.get(name, ZERO)
                for name in COSTS
                if name in self.costs or name in other.costs
            },
            unknown=self.unknown | other.unknown,
            minutes=self.minutes + other.minutes,
            km=self.km + other.km,
            visits=self.visits + other.visits,
        )

    def only(self, names: Iterable[str]) -> Earned:
        """The same with these costs alone, and neither receipts nor units."""
        kept = set(names)
        return Earned(
            costs={name: amount for name, amount in self.costs.items() if name in kept},
            unknown=self.unknown & kept,
            minutes=self.minutes,
            km=self.km,
            visits=self.visits,
        )


def together(several: Iterable[Earned]) -> Earned:
    """All of them as one."""
    return sum(several, Earned())


def in_cents(cells: Mapping[Key, Earned], cent: Decimal) -> dict[Key, Earned]:
    """The money of cells in whole cents, so that they add up to their sum rounded once, half up.

    Each amount becomes the step which the rounded running sum takes in the order of the cells, and
    is so within a cent of what it was. Rounded one by one, a list would not add up to its total.
    """
    running: dict[str, Decimal] = defaultdict(lambda: ZERO)

    def step(name: str, amount: Decimal) -> Decimal:
        before = running[name]
        running[name] = after = before + amount
        return after.quantize(cent, ROUND_HALF_UP) - before.quantize(cent, ROUND_HALF_UP)

    return {
        key: replace(
            one,
            receipts=step("receipts", one.receipts),
            costs={name: step(name, amount) for name, amount in one.costs.items()},
        )
        for key, one in cells.items()
    }


def shared(whole: Earned, weights: Sequence[Decimal], *, cent: Decimal = SMALLEST) -> list[Earned]:
    """Something shared out by weights, receipts and all; the shares add up to it exactly.

    Money is shared in parts of a `cent`. Without any weight all share alike. Raises ValueError for
    no weights and for one below zero.
    """
    if not weights or min(weights) < 0:
        raise ValueError("give weights of zero or more, and at least one")
    even = not any(weights)
    by = [Decimal(1)] * len(weights) if even else list(weights)
    columns = {name: _parts(amount, by, cent) for name, amount in whole.costs.items()}
    plain = (whole.units, whole.minutes, whole.km, whole.visits)
    rest = [_parts(whole.receipts, by, cent), *(_parts(one, by, SMALLEST) for one in plain)]
    return [
        Earned(
            receipts=rest[0][at],
            units=rest[1][at],
            costs={name: parts[at] for name, parts in columns.items()},
            unknown=whole.unknown,
            minutes=rest[2][at],
            km=rest[3][at],
            visits=rest[4][at],
        )
        for at in range(len(by))
    ]


def _parts(amount: Decimal, weights: Sequence[Decimal], smallest: Decimal) -> list[Decimal]:
    """Shares of an amount; what rounding leaves goes to the greatest weight."""
    total = sum(weights, ZERO)
    parts = [
        (amount * weight / total).quantize(smallest, rounding=ROUND_DOWN) for weight in weights
    ]
    parts[weights.index(max(weights))] += amount - sum(parts, ZERO)
    return parts
