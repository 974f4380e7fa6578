"""What a host is owed for a period: percents by product class, steps, a minimum, by machine.

Amounts are Decimal in the currency's unit. The whole is rounded once, half up, and its parts are
cut from it by largest remainder, so that lines and machines always add up to what is paid. How
commission is agreed is common practice of the trade, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from enum import StrEnum
from typing import Final, TypeVar

EVERYTHING: Final = ""
"""The class code of whatever has no percent of its own."""
HUNDRED: Final = Decimal(100)
_Key = TypeVar("_Key")


class BadTerms(ValueError):
    """Terms that cannot be: which field, what is wrong with it, what would be right."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(f"{field}: {message}")
        self.field = field
        self.message = message


class Off(StrEnum):
    """What is taken off receipts before the percent."""

    TAX = "tax"
    DEPOSIT = "deposit"
    REFUNDS = "refunds"


class InPart(StrEnum):
    """What of an amount for a whole period is owed where an agreement covers a part of it."""

    DAYS = "days"
    """As many of its parts as days are covered."""
    WHOLE = "whole"


@dataclass(frozen=True, slots=True)
class Covered:
    """Days of a period that the agreement covers, and how many the whole period has."""

    days: int
    of: int

    def __post_init__(self) -> None:
        if not 0 < self.days <= self.of:
            raise ValueError(f"{self.days} days of {self.of}; give 1 to all of them")

    def part(self, amount: Decimal, places: int) -> Decimal:
        """An amount for the whole period, by days, rounded half up."""
        return _rounded(amount * self.days / self.of, places)


@dataclass(frozen=True, slots=True)
class Step:
    """From this much in the period on, this percent."""

    from_receipts: Decimal
    percent: Decimal


@dataclass(frozen=True, slots=True)
class Terms:
    """How a host is paid.

    `shares` is the percent by product class; `""` is the percent of every other class. `steps`
    stand in its place: what those classes took together in the period, less what `base` takes off,
    finds the step. `marginal` pays each step's percent on what lies within it only, otherwise the
    step reached is paid on all. `minimum` is what a period pays at least.

    In a period that the agreement covers only partly, `minimum_in_part` says whether the minimum
    is owed by days or whole, and `steps_in_part` whether steps are reached by days or as written.
    """

    shares: Mapping[str, Decimal] = field(default_factory=dict)
    steps: tuple[Step, ...] = ()
    marginal: bool = True
    minimum: Decimal = Decimal(0)
    base: frozenset[Off] = frozenset()
    minimum_in_part: InPart = InPart.DAYS
    steps_in_part: InPart = InPart.WHOLE

    def __post_init__(self) -> None:
        for code, percent in self.shares.items():
            _require_percent(f"shares.{code or 'everything'}", percent)
        last: Decimal | None = None
        for index, step in enumerate(self.steps):
            _require_percent(f"steps.{index}.percent", step.percent)
            place = f"steps.{index}.from_receipts"
            if not step.from_receipts.is_finite() or step.from_receipts < 0:
                raise BadTerms(place, f"{step.from_receipts}; give nothing or more")
            if last is not None and step.from_receipts <= last:
                raise BadTerms(place, f"{step.from_receipts} is not above the step before, {last}")
            last = step.from_receipts
        if self.steps and EVERYTHING in self.shares:
            raise BadTerms("steps", "give steps or one percent for everything, not both")
        if not self.minimum.is_finite() or self.minimum < 0:
            raise BadTerms("minimum", f"{self.minimum}; give nothing or more")


@dataclass(frozen=True, slots=True)
class MachineReceipts:
    """What customers paid for one product class at one machine, and what may be taken off."""

    machine: str
    product_class: str
    receipts: Decimal
    tax: Decimal = Decimal(0)
    deposit: Decimal = Decimal(0)
    refunds: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Line:
    """One machine and class: what commission is reckoned on, the percent it comes to, the amount.

    `percent` is None where no percent is agreed; under marginal steps it is the mean of the steps.
    """

    machine: str
    product_class: str
    receipts: Decimal
    taken_off: Decimal
    base: Decimal
    percent: Decimal | None
    amount: Decimal


@dataclass(frozen=True, slots=True)
class MachineShare:
    """What one machine earns its host; `minimum_added` is its part of making up the minimum."""

    machine: str
    receipts: Decimal
    base: Decimal
    commission: Decimal
    minimum_added: Decimal

    @property
    def amount(self) -> Decimal:
        return self.commission + self.minimum_added


@dataclass(frozen=True, slots=True)
class Statement:
    """A period's commission: `amount` is `commission` and `minimum_added`, and parts add up."""

    lines: tuple[Line, ...]
    by_machine: tuple[MachineShare, ...]
    receipts: Decimal
    base: Decimal
    commission: Decimal
    minimum_added: Decimal
    amount: Decimal
    said: tuple[str, ...]


def statement(
    terms: Terms,
    lines: Sequence[MachineReceipts],
    *,
    places: int = 2,
    covered: Covered | None = None,
) -> Statement:
    """What these receipts of one period are worth to the host. The order of lines changes nothing.

    `covered` says how much of the period the agreement covers; None is all of it.

    Lines of the same machine and class are taken together. A machine or class may come out below
    nothing when more was refunded than taken; the whole never does.
    """
    gathered = _gathered(lines)
    said: list[str] = []
    bases = {key: one.receipts - _taken_off(terms, one) for key, one in gathered.items()}
    steps, whole_minimum = _for_days(terms, covered, places, said)
    percents = _percents(terms, steps, bases, said)
    exact = {
        key: bases[key] * percent / HUNDRED
        for key in gathered
        if (percent := percents[key]) is not None
    }
    commission = max(_rounded(sum(exact.values(), Decimal(0)), places), Decimal(0))
    if sum(exact.values(), Decimal(0)) < 0:
        said.append("more was refunded than taken; there is no commission, and none is owed back")
        exact = dict.fromkeys(exact, Decimal(0))
    amounts = _cut(commission, exact, Decimal(1).scaleb(-places))
    unpaid = sorted({key[1] for key in gathered if percents[key] is None})
    if unpaid:
        named = ", ".join(code or "everything else" for code in unpaid)
        said.append(f"no percent is agreed for {named}; it pays nothing")
    minimum = _rounded(whole_minimum, places)
    minimum_added = max(minimum - commission, Decimal(0))
    machines = sorted({key[0] for key in gathered})
    if minimum_added:
        said.append(
            f"the minimum of {minimum} is made up by {minimum_added}, shared over the machines "
            "by what they took"
        )
        if not machines:
            said.append("no machine took anything; the minimum stands alone")
    weights = {
        machine: max(sum((bases[k] for k in gathered if k[0] == machine), Decimal(0)), Decimal(0))
        for machine in machines
    }
    added = parts_of(minimum_added, weights, places=places) if machines else {}
    made = tuple(
        Line(
            key[0],
            key[1],
            one.receipts,
            one.receipts - bases[key],
            bases[key],
            _shown(percents[key]),
            amounts.get(key, Decimal(0)),
        )
        for key, one in gathered.items()
    )
    by_machine = tuple(
        MachineShare(
            machine,
            sum((line.receipts for line in made if line.machine == machine), Decimal(0)),
            sum((line.base for line in made if line.machine == machine), Decimal(0)),
            sum((line.amount for line in made if line.machine == machine), Decimal(0)),
            added.get(machine, Decimal(0)),
        )
        for machine in machines
    )
    return Statement(
        made,
        by_machine,
        sum((line.receipts for line in made), Decimal(0)),
        sum((line.base for line in made), Decimal(0)),
        commission,
        minimum_added,
        commission + minimum_added,
        tuple(said),
    )


def parts_of(
    total: Decimal, weights: Mapping[_Key, Decimal], *, places: int = 2
) -> dict[_Key, Decimal]:
    """A rounded total cut by weights into rounded parts that add up to it, by largest remainder.

    Weights are below zero for parts that are; where they sum to nothing the parts are even. Ties
    go by the key, so that the order in which things come changes nothing.
    """
    if not weights:
        return {}
    unit = Decimal(1).scaleb(-places)
    whole = sum(weights.values(), Decimal(0))
    even = whole == 0
    exact = {
        key: total / len(weights) if even else total * weight / whole
        for key, weight in weights.items()
    }
    return _cut(total, exact, unit)


def _cut(total: Decimal, exact: Mapping[_Key, Decimal], unit: Decimal) -> dict[_Key, Decimal]:
    """Parts rounded to the unit so that they add up to a total, which is their rounded sum."""
    parts = {key: value.quantize(unit, rounding=ROUND_FLOOR) for key, value in exact.items()}
    missing = int((total - sum(parts.values(), Decimal(0))) / unit)
    order = sorted(exact, key=lambda key: (parts[key] - exact[key], str(key)))
    for key in order[:missing]:
        parts[key] += unit
    return parts


def _gathered(lines: Sequence[MachineReceipts]) -> dict[tuple[str, str], MachineReceipts]:
    found: dict[tuple[str, str], MachineReceipts] = {}
    for one in lines:
        key = (one.machine, one.product_class)
        had = found.get(key)
        if had is None:
            found[key] = one
            continue
        found[key] = MachineReceipts(
            one.machine,
            one.product_class,
            had.receipts + one.receipts,
            had.tax + one.tax,
            had.deposit + one.deposit,
            had.refunds + one.refunds,
        )
    return dict(sorted(found.items()))


def _taken_off(terms: Terms, one: MachineReceipts) -> Decimal:
    amounts = {Off.TAX: one.tax, Off.DEPOSIT: one.deposit, Off.REFUNDS: one.refunds}
    return sum((amount for off, amount in amounts.items() if off in terms.base), Decimal(0))


def _for_days(
    terms: Terms, covered: Covered | None, places: int, said: list[str]
) -> tuple[tuple[Step, ...], Decimal]:
    """Steps and minimum for the days that are covered, and what the reader must know of it."""
    steps, minimum = terms.steps, terms.minimum
    if covered is None or covered.days == covered.of:
        return steps, minimum
    days = f"the agreement covers {covered.days} of the {covered.of} days of the period"
    if minimum and terms.minimum_in_part == InPart.DAYS:
        minimum = covered.part(minimum, places)
        said.append(f"{days}; the minimum of {terms.minimum} is {minimum} for them")
    elif minimum:
        said.append(f"{days}; the minimum of {minimum} is owed whole, as agreed")
    if steps and terms.steps_in_part == InPart.DAYS:
        steps = tuple(
            Step(covered.part(one.from_receipts, places), one.percent) for one in terms.steps
        )
        said.append(f"{days}; steps are reached by as many parts of what they are written for")
    elif steps:
        said.append(f"{days}; steps stand as they are written for a whole one")
    return steps, minimum


def _percents(
    terms: Terms,
    steps: Sequence[Step],
    bases: Mapping[tuple[str, str], Decimal],
    said: list[str],
) -> dict[tuple[str, str], Decimal | None]:
    """The percent of each line. Under steps all lines without one of their own share one."""
    general = terms.shares.get(EVERYTHING)
    if steps:
        stepped = sum(
            (base for key, base in bases.items() if key[1] not in terms.shares), Decimal(0)
        )
        general = _stepped_percent(steps, terms.marginal, stepped, said)
    return {key: terms.shares.get(key[1], general) for key in bases}


def _stepped_percent(
    steps: Sequence[Step], marginal: bool, base: Decimal, said: list[str]
) -> Decimal:
    reached = [step for step in steps if step.from_receipts <= base]
    if not reached:
        said.append(f"{base} does not reach the first step, {steps[0].from_receipts}")
        return Decimal(0)
    if not marginal:
        said.append(f"{base} reaches the step from {reached[-1].from_receipts}, paid on all of it")
        return reached[-1].percent
    earned = Decimal(0)
    for index, step in enumerate(reached):
        until = base if index == len(reached) - 1 else reached[index + 1].from_receipts
        part = until - step.from_receipts
        earned += part * step.percent
        said.append(f"{part} from {step.from_receipts} on at {step.percent} percent")
    return earned / base if base else Decimal(0)


def _shown(percent: Decimal | None) -> Decimal | None:
    if percent is None:
        return None
    return percent.quantize(Decimal("0.0001"), rounding=ROUND_HALF_UP)


def _rounded(amount: Decimal, places: int) -> Decimal:
    # The mean percent of steps may not end; what it is off by must not tip a half cent.
    amount = amount.quantize(Decimal(1).scaleb(-places - 8), rounding=ROUND_HALF_UP)
    return amount.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)


def _require_percent(place: str, percent: Decimal) -> None:
    if not percent.is_finite() or not 0 <= percent <= HUNDRED:
        raise BadTerms(place, f"{percent} percent; give a percent from 0 to 100")
