"""What the watch says of one column or machine: the kind, how strong it is, and on what figures."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, TypeAlias

Value: TypeAlias = float | int | str | bool | None

#: No p-value is told as smaller: beyond it the model of chance is the least sure thing.
MOST_STRENGTH: Final = 12.0


class Kind(StrEnum):
    """What can be suspected. Each value is kept with findings and is stable."""

    SILENT = "silent"
    TWO_FOR_ONE = "two_for_one"
    MISSING = "missing"
    PRICE = "price"
    CASH = "cash"
    WARM = "warm"
    POWER = "power"
    CLOCK = "clock"
    SOLD_OUT = "sold_out"
    EVENT = "event"


@dataclass(frozen=True, slots=True)
class Suspicion:
    """One thing suspected, in words for whoever acts on it.

    p_value   chance of seeing this, or worse, where nothing is wrong; None where the figures are
              exact and no chance is in them
    strength  orders of magnitude: -log10 of the p-value, or log10 of how many times the limit is
              exceeded where nothing is left to chance
    said      the evidence in a sentence or two
    numbers   the figures in the words, with units in their names
    """

    kind: Kind
    p_value: float | None
    strength: float
    said: str
    numbers: dict[str, Value] = field(default_factory=dict)

    @property
    def strength_said(self) -> str:
        """The strength in words. A chance is told as one in so many."""
        return chance_said(self.p_value) if self.p_value is not None else times_said(self.strength)


def strength_of(p_value: float) -> float:
    """-log10 of a p-value, 0 to MOST_STRENGTH."""
    if not p_value > 10**-MOST_STRENGTH:
        return MOST_STRENGTH
    return max(0.0, -math.log10(p_value))


def strength_over(value: float, limit: float) -> float:
    """log10 of how many times `limit` is exceeded, 0 to MOST_STRENGTH; a limit of 0 is exceeded
    by the value itself."""
    times = value / limit if limit > 0 else 1 + value
    return min(MOST_STRENGTH, max(0.0, math.log10(times))) if times > 0 else 0.0


def chance_said(p_value: float) -> str:
    """A p-value as people say it: `by chance once in 630`."""
    if p_value > 0.5:
        return "as often as not by chance"
    times = 1 / max(p_value, 10**-MOST_STRENGTH)
    if times >= 1e6:
        return "by chance less than once in a million"
    return f"by chance once in {_rounded(times)}"


def times_said(strength: float) -> str:
    """A strength of exact figures as people say it: `3.2 times the limit`."""
    times = float(10**strength)
    return f"{times:.1f} times the limit" if times < 10 else f"{times:.0f} times the limit"


def _rounded(times: float) -> str:
    digits = max(0, math.floor(math.log10(times)) - 1)
    return f"{round(times / 10**digits) * 10**digits:,}" if times >= 10 else f"{times:.0f}"
