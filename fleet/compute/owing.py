"""What a host is due for a period once corrections and what is carried over are counted in.

What is due below nothing is not paid: it is carried over, once, and comes off what the next
statement pays. Amounts are Decimal in the currency's unit. Common practice of the trade, no
published source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class Left:
    """An earlier statement whose due is below nothing, and that due."""

    number: int
    due: Decimal

    def __post_init__(self) -> None:
        if not self.due < 0:
            raise ValueError(f"statement {self.number} is due {self.due}; only less is carried")


@dataclass(frozen=True, slots=True)
class Due:
    """`due` is `amount`, `corrections` and `carried_over` together; the last is never above 0."""

    amount: Decimal
    corrections: Decimal
    carried_over: Decimal
    said: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.carried_over > 0:
            raise ValueError(f"{self.carried_over} carried over; nothing or less is")

    @property
    def due(self) -> Decimal:
        return self.amount + self.corrections + self.carried_over

    @property
    def to_carry(self) -> Decimal:
        """What the next statement takes off: nothing, or less than nothing."""
        return min(self.due, NOTHING)


def due_of(
    amount: Decimal,
    *,
    corrections: Sequence[Decimal] = (),
    left: Sequence[Left] = (),
    minimum: Decimal = NOTHING,
    places: int = 2,
) -> Due:
    """What is due of a period's `amount`, which a `minimum` agreed has made up already.

    A minimum is of what the period earns. Corrections and what is carried over tell of earlier
    periods, come off after it, and may leave less than the minimum due, or less than nothing.
    """
    corrected = sum(corrections, NOTHING)
    carried = sum((one.due for one in left), NOTHING)
    found = Due(amount, corrected, carried)
    said = []
    if minimum > 0 and found.due < amount:
        said.append(
            "the minimum is of what this period earns; corrections and what is carried over tell "
            "of earlier periods and come off after it"
        )
    if found.due < 0:
        said.append(
            f"nothing is paid for this period; {found.due:.{places}f} is carried over to the next "
            "statement"
        )
    return Due(amount, corrected, carried, tuple(said))
