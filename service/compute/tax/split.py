"""Receipts split by a rule into parts that add up to them exactly, and the tax that is due.

The figures are rounded once, for the sum of everything alike in a period, as the rules have it:
a hundred sales of 1.50 at 7 % are 140.19 together and 140.00 if each is rounded.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final

from .rounding import CENT, Rounding, half_up, share_out
from .rules import RateKind, Rule, Shape

ZERO: Final = Decimal(0)


@dataclass(frozen=True)
class RateOf:
    """A jurisdiction's rates on a day, as fractions. `food` None: no rate of its own for food.

    `known` is False where none is entered for the day: nothing can be reckoned with it then, for
    the rates of the others alone would be too low.
    """

    code: str
    name: str
    kind: str
    general: Decimal
    food: Decimal | None = None
    known: bool = True

    def rate(self, kind: RateKind) -> Decimal:
        if kind is RateKind.FOOD and self.food is not None:
            return self.food
        return self.general


def goes_by_table(rule: Rule | None, rounding: Rounding) -> bool:
    """Whether the tax is looked up for each sale: always, or where a table is chosen and given."""
    if rule is None:
        return False
    chosen = rounding is Rounding.BRACKETS and bool(rule.brackets)
    return rule.shape is Shape.BRACKETS or (rule.shape is Shape.INCLUDED and chosen)


@dataclass(frozen=True)
class DuePart:
    """What of a tax is due to one jurisdiction."""

    code: str
    name: str
    rate: Decimal
    tax: Decimal


@dataclass(frozen=True)
class Split:
    """Receipts in parts that add up to them, and what is due on them.

    `taxable`, `exempt`, `tax_inside` (tax that customers paid in the price), `deposits` (kept out),
    `measured_otherwise` (taxed by cost or by decal) and `unclassified` add up to `receipts`.
    `measure` is what the rate is applied to, `tax` what is due, `due` the same by jurisdiction.
    """

    receipts: Decimal
    exempt: Decimal = ZERO
    taxable: Decimal = ZERO
    tax_inside: Decimal = ZERO
    deposits: Decimal = ZERO
    measured_otherwise: Decimal = ZERO
    unclassified: Decimal = ZERO
    measure: Decimal = ZERO
    rate: Decimal = ZERO
    tax: Decimal = ZERO
    due: tuple[DuePart, ...] = ()
    why: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.parts != self.receipts:
            raise ArithmeticError(f"parts of {self.parts} for receipts of {self.receipts}")

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


def unclassified(receipts: Decimal, why: str, *, deposits: Decimal = ZERO) -> Split:
    """Receipts that no rule is for; nothing is assumed about them."""
    return Split(
        receipts=receipts,
        deposits=deposits,
        unclassified=receipts - deposits,
        why=(why,),
    )


def split(
    receipts: Decimal,
    rule: Rule,
    rates: Sequence[RateOf],
    *,
    rounding: Rounding = Rounding.AGGREGATED,
    cost: Decimal | None = None,
    deposits: Decimal = ZERO,
    by_table: Decimal | None = None,
    unit: Decimal = CENT,
) -> Split:
    """Receipts of a period, in money, that one rule and one set of rates are for.

    `deposits` is the part of receipts that is container deposit and kept out of the base. `cost` is
    what the goods cost, `by_table` the tax of each sale by a table of prices, for rules that go by
    it. What cannot be reckoned (no rate, no cost, no divisor for the rate) is unclassified and says
    why. Raises ValueError for negative receipts or for more deposit than receipts.
    """
    if receipts < 0 or not 0 <= deposits <= receipts:
        raise ValueError("give receipts of nothing or more, and no more deposit than that")
    gross = receipts - deposits

    def not_known(why: str) -> Split:
        return unclassified(receipts, why, deposits=deposits)

    if rule.shape is Shape.EXEMPT:
        return Split(receipts=receipts, deposits=deposits, exempt=gross, why=(rule.title,))
    if rule.shape is Shape.DECAL:
        why = f"a decal of {rule.decal} a machine and year stands for the tax"
        return Split(receipts=receipts, deposits=deposits, measured_otherwise=gross, why=(why,))
    parts = _rates(rule, rates)
    if parts is None:
        return not_known(f"no rate of {rule.state} is entered for that day")
    if rule.rate is None and not all(one.known for one in rates):
        names = " and ".join(one.name for one in rates if not one.known)
        return not_known(
            f"no rate of {names} is entered for that day; where there is none, enter 0"
        )
    rate = sum((one.rate for one in parts), ZERO)
    if goes_by_table(rule, rounding):
        if by_table is None:
            return not_known("the price of a unit is not known")
        due = _shared(by_table, parts, unit)
        if by_table > gross:
            return not_known("the prices do not go with the receipts: more tax than was paid")
        why = f"{by_table} of tax, of each sale by the table"
        taxable = gross - by_table
        return _inside(receipts, deposits, taxable, by_table, ZERO, rate, due, why)
    if rule.shape is Shape.COST:
        if cost is None:
            return not_known("what the goods cost is not known")
        markup = Decimal(1) if rule.markup is None else rule.markup
        measure = half_up(cost * markup, unit)
        tax, due = _tax(measure, parts, rounding, unit)
        return Split(
            receipts=receipts,
            deposits=deposits,
            measured_otherwise=gross,
            measure=measure,
            rate=rate,
            tax=tax,
            due=due,
            why=(f"{cost} of cost x {markup} = {measure}", _times(measure, rate, tax)),
        )
    found = _of_receipts(receipts, deposits, rule, parts, rate, rounding, unit)
    return replace(found, why=(*found.why, *_not_applied(rule, rates)))


def _of_receipts(
    receipts: Decimal,
    deposits: Decimal,
    rule: Rule,
    parts: Sequence[DuePart],
    rate: Decimal,
    rounding: Rounding,
    unit: Decimal,
) -> Split:
    gross = receipts - deposits
    share = rule.share if rule.share is not None else Decimal(1)
    if rule.shape in (Shape.INCLUDED, Shape.DIVISOR):
        by = 1 + rate
        if rule.shape is Shape.DIVISOR:
            found = rule.divisor(rate)
            if found is None:
                why = f"the table of {rule.citation} has no divisor for {percent(rate)}"
                return unclassified(receipts, why, deposits=deposits)
            by = found
        taxable = half_up(gross / by, unit)
        tax = gross - taxable
        due = _shared(tax, parts, unit)
        why = f"{gross} / {by} = {taxable}; the rest of {tax} is tax"
        return _inside(receipts, deposits, taxable, tax, ZERO, rate, due, why)
    if rule.shape is Shape.SHARE_INCLUDED:
        taxable = half_up(share * gross / (1 + share * rate), unit)
        tax, due = _tax(taxable, parts, rounding, unit)
        why = f"{share} x {gross} / (1 + {share} x {_fraction(rate)}) = {taxable}"
        rest = gross - taxable - tax
        if rest < 0:  # both were rounded up, and there is no untaxed part to take it from
            taxable, rest = taxable + rest, ZERO
        return _inside(
            receipts, deposits, taxable, tax, rest, rate, due, why, _times(taxable, rate, tax)
        )
    taxable = half_up(share * gross, unit)
    tax, due = _tax(taxable, parts, rounding, unit)
    whole = f"{share} x {gross} = {taxable}"
    if rule.shape is Shape.SHARE_FROM_EXEMPT:
        rest = gross - taxable - tax
        if rest < 0:
            return unclassified(
                receipts, "the tax is more than the part it is taken off", deposits=deposits
            )
        return _inside(
            receipts, deposits, taxable, tax, rest, rate, due, whole, _times(taxable, rate, tax)
        )
    return Split(
        receipts=receipts,
        deposits=deposits,
        taxable=taxable,
        exempt=gross - taxable,
        measure=taxable,
        rate=rate,
        tax=tax,
        due=due,
        why=(whole, _times(taxable, rate, tax)),
    )


def _inside(
    receipts: Decimal,
    deposits: Decimal,
    taxable: Decimal,
    tax: Decimal,
    exempt: Decimal,
    rate: Decimal,
    due: tuple[DuePart, ...],
    *why: str,
) -> Split:
    return Split(
        receipts=receipts,
        deposits=deposits,
        taxable=taxable,
        tax_inside=tax,
        exempt=exempt,
        measure=taxable,
        rate=rate,
        tax=tax,
        due=due,
        why=why,
    )


def _rates(rule: Rule, rates: Sequence[RateOf]) -> list[DuePart] | None:
    """The rates that a rule applies, without tax yet; None where there are none."""
    if rule.rate is not None:
        return [DuePart(rule.state, f"{rule.state}, by the rule", rule.rate, ZERO)]
    if not rates:
        return None
    found = [DuePart(one.code, one.name, one.rate(rule.rate_kind), ZERO) for one in rates]
    if rule.rate_added:
        found.append(DuePart(f"{rule.state}+", f"{rule.state}, added", rule.rate_added, ZERO))
    return found


def _not_applied(rule: Rule, rates: Sequence[RateOf]) -> tuple[str, ...]:
    """What the reader must know where a rule has a rate of its own and the place has others."""
    names = [one.name for one in rates if one.kind != "state" and one.rate(rule.rate_kind)]
    if rule.rate is None or not names:
        return ()
    return (f"the rule has a rate of its own: those of {', '.join(names)} are not in it",)


def _tax(
    measure: Decimal, parts: Sequence[DuePart], rounding: Rounding, unit: Decimal
) -> tuple[Decimal, tuple[DuePart, ...]]:
    if rounding is Rounding.BY_JURISDICTION:
        due = tuple(
            DuePart(one.code, one.name, one.rate, half_up(measure * one.rate, unit))
            for one in parts
        )
        return sum((one.tax for one in due), ZERO), due
    tax = half_up(measure * sum((one.rate for one in parts), ZERO), unit)
    return tax, _shared(tax, parts, unit)


def _shared(tax: Decimal, parts: Sequence[DuePart], unit: Decimal) -> tuple[DuePart, ...]:
    """A tax shared out by the rates, so that the jurisdictions' parts add up to it."""
    weights = [one.rate for one in parts]
    if not any(weights):
        weights = [Decimal(1) if n == 0 else ZERO for n in range(len(parts))]
    shares = share_out(tax, weights, unit)
    return tuple(
        DuePart(one.code, one.name, one.rate, share)
        for one, share in zip(parts, shares, strict=True)
    )


def _times(measure: Decimal, rate: Decimal, tax: Decimal) -> str:
    return f"{measure} x {percent(rate)} = {tax}"


def percent(rate: Decimal) -> str:
    """A rate in words: 0.0625 is `6.25 %`."""
    return f"{_fraction(rate * 100)} %"


def _fraction(value: Decimal) -> str:
    said = f"{value:f}"
    return said.rstrip("0").rstrip(".") if "." in said else said
