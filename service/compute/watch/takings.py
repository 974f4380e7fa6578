"""What a column took against its price times what it vended. Money in minor units, exact.

Counters do not guess: where the audit counts each selection's vends and value, any difference
from the price is a price in the machine that is not the one on the record, a discount, or a
change of price in the interval. The difference is judged against a tolerance, not by chance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Self

import numpy as np
import numpy.typing as npt

from .arrays import Flags, Floats, counts, floats, refuse_where
from .suspicion import Kind, Suspicion, strength_over

#: Least difference a vend that is told, in minor units, and least vends it is judged on.
TOLERATED_MINOR: Final = 2.0
LEAST_VENDS: Final = 5


@dataclass(frozen=True, eq=False)
class Takings:
    """What each column took in an interval; [columns], money in minor units.

    paid_units      paid vends
    paid_minor      what was paid for them
    discount_minor  what discounts took off, which the price does not know of
    least_minor, most_minor  the lowest and the highest price that was right in the interval: of
                    cash and of cards, and before and after a change of price
    """

    paid_units: Floats
    paid_minor: Floats
    discount_minor: Floats
    least_minor: Floats
    most_minor: Floats

    @classmethod
    def of(
        cls,
        *,
        paid_units: npt.ArrayLike,
        paid_minor: npt.ArrayLike,
        least_minor: npt.ArrayLike,
        most_minor: npt.ArrayLike | None = None,
        discount_minor: npt.ArrayLike = 0,
    ) -> Self:
        """Checked arrays of one length; one price where `most_minor` is left out."""
        units = counts("paid_units", paid_units)
        n = len(units)
        least = counts("least_minor", least_minor, n)
        found = cls(
            units,
            counts("paid_minor", paid_minor, n),
            counts("discount_minor", discount_minor, n),
            least,
            least if most_minor is None else counts("most_minor", most_minor, n),
        )
        refuse_where("most_minor", found.most_minor < least, "must not be below the lowest price")
        return found

    def __len__(self) -> int:
        return len(self.paid_units)


@dataclass(frozen=True, eq=False)
class TakingsJudged:
    """[columns] `off_minor`: taken beyond what the prices allow, negative where short of it.

    `charged_minor` is the mean price charged, discounts added back; nan without a vend.
    """

    given: Takings
    charged_minor: Floats
    off_minor: Floats
    found: Flags
    tolerated_minor: float

    def suspicion(self, index: int, digits: int = 2) -> Suspicion:
        """One column's takings in words; `digits` after the point of the currency."""
        given = self.given
        units, off = int(given.paid_units[index]), float(self.off_minor[index])
        charged = float(self.charged_minor[index])
        a_vend = abs(off) / units if units else 0.0
        right = _money(float(given.least_minor[index]), digits)
        if given.most_minor[index] != given.least_minor[index]:
            right += f" to {_money(float(given.most_minor[index]), digits)}"
        way = "too much" if off > 0 else "too little"
        said = (
            f"{units} vends took {_money(abs(off), digits)} {way}: "
            f"{_money(charged, digits)} each where the record says {right}."
        )
        return Suspicion(
            kind=Kind.PRICE,
            p_value=None,
            strength=strength_over(a_vend, self.tolerated_minor),
            said=said,
            numbers={
                "paid_units": units,
                "paid_minor": int(given.paid_minor[index]),
                "discount_minor": int(given.discount_minor[index]),
                "least_price_minor": int(given.least_minor[index]),
                "most_price_minor": int(given.most_minor[index]),
                "charged_minor": charged,
                "off_minor": int(off),
                "one_price": bool(charged == round(charged)),
            },
        )


def judge(
    given: Takings, tolerated_minor: float = TOLERATED_MINOR, least_vends: int = LEAST_VENDS
) -> TakingsJudged:
    """Takings beyond units x price by more than `tolerated_minor` a vend."""
    gross = given.paid_minor + given.discount_minor
    with np.errstate(divide="ignore", invalid="ignore"):
        charged = np.where(given.paid_units > 0, gross / given.paid_units, np.nan)
    over = np.maximum(gross - given.paid_units * given.most_minor, 0)
    # Discounts that the machine takes off without counting them would be called a wrong price
    # only if no discount is known of: what it does count is added back above.
    under = np.minimum(gross - given.paid_units * given.least_minor, 0)
    off = over + under
    found = (given.paid_units >= least_vends) & (np.abs(off) > tolerated_minor * given.paid_units)
    return TakingsJudged(
        given, charged, off, found, floats("tolerated_minor", [tolerated_minor])[0]
    )


def _money(minor: float, digits: int) -> str:
    return f"{minor / 10**digits:.{digits}f}"
