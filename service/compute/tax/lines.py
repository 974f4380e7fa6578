"""What a report is made of and what it says: facts in, lines, totals and what is due out."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Final

from .classes import ClassCode, Status
from .rounding import Rounding
from .rules import ADVICE, Sale
from .split import ZERO, RateOf, Split


@dataclass(frozen=True)
class Fact:
    """Sales that are alike in everything a rule asks, added up.

    `receipts` in money with container deposits in it; `deposits` the part of them that the rule of
    the place keeps out of the base; `cost` of the goods, None where it is not known. `key` names
    where they come from; facts of one key and sale are added up. `machine` is what decals are
    counted by, the key where it is empty.
    """

    key: str
    sale: Sale
    rates: tuple[RateOf, ...]
    units: int
    receipts: Decimal
    cost: Decimal | None = None
    deposits: Decimal = ZERO
    why_class: str = ""
    machine: str = ""

    def __post_init__(self) -> None:
        if self.receipts < 0 or not 0 <= self.deposits <= self.receipts:
            raise ValueError(f"{self.key}: give receipts of nothing or more, deposits within them")

    @property
    def is_something(self) -> bool:
        return bool(self.units or self.receipts)


class NotAddedUp(ArithmeticError):
    """A report whose parts are not the receipts that went in; no figure of it may be shown."""


@dataclass(frozen=True)
class KeySum:
    """What facts of one key put into a line."""

    key: str
    receipts: Decimal
    deposits: Decimal
    cost: Decimal


@dataclass(frozen=True)
class Line:
    """One line of a report: a place, a class, a rule, and the split of what they hold."""

    state: str
    jurisdictions: tuple[str, ...]
    names: tuple[str, ...]
    code: ClassCode
    rule: str
    title: str
    citation: str
    status: Status | None
    units: int
    split: Split
    cost: Decimal | None
    of: tuple[KeySum, ...]
    first: date
    last: date

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(one.key for one in self.of)

    @property
    def is_classified(self) -> bool:
        return bool(self.rule) and not self.split.unclassified


@dataclass(frozen=True)
class Decal:
    """A flat yearly charge that stands for tax: how many machines, and what for each.

    `of` names the machines that sold something under the rule in the period.
    """

    state: str
    rule: str
    machines: int
    each: Decimal
    title: str = ""
    citation: str = ""
    status: Status | None = None
    of: tuple[str, ...] = ()

    @property
    def amount(self) -> Decimal:
        return self.machines * self.each


@dataclass(frozen=True)
class Totals:
    """Sums of lines, in money."""

    units: int = 0
    receipts: Decimal = ZERO
    exempt: Decimal = ZERO
    taxable: Decimal = ZERO
    tax_inside: Decimal = ZERO
    deposits: Decimal = ZERO
    measured_otherwise: Decimal = ZERO
    unclassified: Decimal = ZERO
    measure: Decimal = ZERO
    tax: Decimal = ZERO

    @property
    def parts(self) -> Decimal:
        return (
            self.exempt
            + self.taxable
            + self.tax_inside
            + self.deposits
            + self.measured_otherwise
            + self.unclassified
        )


SUMMED: Final = (
    "receipts",
    "exempt",
    "taxable",
    "tax_inside",
    "deposits",
    "measured_otherwise",
    "unclassified",
    "measure",
    "tax",
)


@dataclass(frozen=True)
class Report:
    """Lines in order, their totals, what is due to each jurisdiction, decals, what is left out."""

    lines: tuple[Line, ...]
    totals: Totals
    due: Mapping[str, Decimal]
    rounding: Rounding
    said: tuple[str, ...] = ()
    advice: str = field(default=ADVICE)
    decals: tuple[Decal, ...] = ()

    @property
    def unclassified(self) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.split.unclassified)


@dataclass(frozen=True)
class Part:
    """What of a report belongs to one key."""

    receipts: Decimal = ZERO
    tax: Decimal = ZERO
    deposits: Decimal = ZERO
    unclassified: Decimal = ZERO
