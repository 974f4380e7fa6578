"""The report of a period: what was sold, by jurisdiction, class and rule, and the tax that is due.

Facts are sums of sales that are alike; the report adds them up, splits what one rule is for as one
sum, shares that out to the classes, and keeps what no rule is for in lines of its own. The same
facts in any order give the same report and the same digest.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final, NamedTuple

from .classes import ClassCode
from .frozen import canonical, digest, figures, inputs, line_figures, thawed
from .lines import SUMMED, Decal, Fact, KeySum, Line, NotAddedUp, Part, Report, Totals
from .rounding import CENT, Rounding, share_out
from .rules import ADVICE, Found, RateKind, Rule, Rules, Sale, Shape
from .sharing import shared
from .split import ZERO, RateOf, Split, goes_by_table, split, unclassified

__all__ = [
    "SUMMED",
    "Decal",
    "Fact",
    "KeySum",
    "Line",
    "NotAddedUp",
    "Part",
    "Report",
    "Totals",
    "by_key",
    "canonical",
    "digest",
    "due_of",
    "figures",
    "inputs",
    "line_figures",
    "report",
    "require_sums",
    "thawed",
    "totals",
]


UNKNOWN: Final = Decimal(-1)
"""Stands in a line's key for a rate that nobody entered, so that it is apart from one of 0."""


class _Key(NamedTuple):
    """What facts of one line have in common. `why` no rule applies; `lacking` a cost or a price
    that the rule goes by."""

    state: str
    rates: tuple[tuple[str, Decimal], ...]
    rule: str
    lacking: bool
    code: ClassCode
    why: str


def report(
    facts: Iterable[Fact],
    rules: Rules,
    *,
    rounding: Rounding = Rounding.AGGREGATED,
    unit: Decimal = CENT,
) -> Report:
    """What facts of a period come to under the rules of their days.

    Raises NotAddedUp rather than give a report that is not the receipts of its facts in parts.
    """
    sums: dict[_Key, _Sum] = {}
    chosen: dict[Sale, _Chosen] = {}
    decals: dict[tuple[str, str], tuple[Decimal, str, Rule]] = {}
    receipts = ZERO
    for fact in facts:
        receipts += fact.receipts
        if not (fact.is_something or fact.cost):
            continue
        one = chosen.get(fact.sale)
        if one is None:
            one = chosen[fact.sale] = _Chosen(rules.find(fact.sale), fact.sale, rounding)
        one.sum_of(fact, sums).add(fact)
        if one.rule and one.rule.decal is not None and fact.is_something:
            of_machine = fact.sale.state, fact.machine or fact.key
            decal = one.rule.decal, one.rule.key, one.rule
            decals[of_machine] = max(decals.get(of_machine, decal), decal, key=lambda its: its[:2])
    lines = _lines(sums, rounding, unit)
    charged = _decals(decals)
    summed, due = totals(lines), due_of(lines)
    require_sums(receipts, summed, due)
    return Report(
        lines=tuple(lines),
        totals=summed,
        due=due,
        rounding=rounding,
        said=tuple(_said(lines, charged, rounding)),
        decals=charged,
    )


class _Chosen:
    """The rule for sales that are alike, and the lines they have come to so far."""

    def __init__(self, found: Found, sale: Sale, rounding: Rounding) -> None:
        self.rule = found.rule
        self._sale, self._why = sale, "" if found.rule else found.why
        self._by_table = goes_by_table(found.rule, rounding)
        self._by_cost = found.rule is not None and found.rule.shape is Shape.COST
        self._lacks_price = self._by_table and sale.price is None
        self._held: dict[tuple[int, bool, str], tuple[_Sum, tuple[RateOf, ...]]] = {}

    def sum_of(self, fact: Fact, sums: "dict[_Key, _Sum]") -> "_Sum":
        """The line that a fact goes into. Rates are told apart by identity first: thousands of
        facts share one set of them, and comparing their figures would be most of the work."""
        lacking = self._lacks_price or (self._by_cost and fact.cost is None and fact.is_something)
        why = self._why
        if self.rule is None and fact.why_class and self._sale.code is ClassCode.UNKNOWN:
            why = fact.why_class
        quick = id(fact.rates), lacking, why
        known = self._held.get(quick)
        if known is None:
            kind = kind_of(self.rule)
            key = _Key(
                self._sale.state,
                tuple((one.code, one.rate(kind) if one.known else UNKNOWN) for one in fact.rates),
                self.rule.key if self.rule else "",
                lacking,
                self._sale.code,
                why,
            )
            if key not in sums:
                sums[key] = _Sum(self.rule, fact, self._by_table)
            # The rates are kept with it, so that no other object can come to their identity.
            known = self._held[quick] = sums[key], fact.rates
        return known[0]


def require_sums(receipts: Decimal, summed: Totals, due: Mapping[str, Decimal]) -> None:
    """The parts are the receipts, and what is due is the tax; else the mistake is ours."""
    if not receipts == summed.receipts == summed.parts:
        raise NotAddedUp(f"parts of {summed.parts} for receipts of {receipts}")
    if sum(due.values(), ZERO) != summed.tax:
        raise NotAddedUp(f"{sum(due.values(), ZERO)} due for a tax of {summed.tax}")


def _decals(of_machines: dict[tuple[str, str], tuple[Decimal, str, Rule]]) -> tuple[Decal, ...]:
    """Decals by state and rule. A machine needs one, the dearest of what its goods ask for."""
    many: dict[tuple[str, str, Decimal], list[str]] = defaultdict(list)
    rules: dict[tuple[str, str, Decimal], Rule] = {}
    for (state, machine), (each, key, rule) in of_machines.items():
        many[state, key, each].append(machine)
        rules[state, key, each] = rule
    return tuple(
        Decal(
            state=at[0],
            rule=at[1],
            machines=len(machines),
            each=at[2],
            title=rules[at].title,
            citation=rules[at].citation,
            status=rules[at].status,
            of=tuple(sorted(machines)),
        )
        for at, machines in sorted(many.items())
    )


def kind_of(rule: Rule | None) -> RateKind:
    """Which of a jurisdiction's rates a rule goes by."""
    return rule.rate_kind if rule else RateKind.GENERAL


def totals(lines: Iterable[Line]) -> Totals:
    """Lines added up."""
    sums = dict.fromkeys(SUMMED, ZERO)
    units = 0
    for line in lines:
        units += line.units
        for name in SUMMED:
            sums[name] += getattr(line.split, name)
    return Totals(units=units, **sums)


def due_of(lines: Iterable[Line]) -> dict[str, Decimal]:
    """What is due to each jurisdiction, by its code."""
    due: dict[str, Decimal] = {}
    for line in lines:
        for part in line.split.due:
            due[part.code] = due.get(part.code, ZERO) + part.tax
    return dict(sorted(due.items()))


class _Sum:
    """Facts of one line, added up exactly before anything is rounded."""

    def __init__(self, rule: Rule | None, fact: Fact, by_table: bool) -> None:
        self.rule, self.rates = rule, fact.rates
        self.units, self.receipts, self.deposits = 0, ZERO, ZERO
        self.cost: Decimal | None = ZERO
        self.by_table: Decimal | None = ZERO if by_table else None
        self._tax_in: dict[Decimal, Decimal] = {}
        self.by_key: dict[str, list[Decimal]] = {}
        self.first = self.last = fact.sale.on

    def add(self, fact: Fact) -> None:
        self.units += fact.units
        self.receipts += fact.receipts
        self.deposits += fact.deposits
        unknown = fact.cost is None and fact.is_something
        if self.cost is not None:
            self.cost = None if unknown else self.cost + (fact.cost or ZERO)
        self._add_by_table(fact)
        held = self.by_key.get(fact.key)
        if held is None:
            held = self.by_key[fact.key] = [ZERO, ZERO, ZERO]
        held[0] += fact.receipts
        held[1] += fact.deposits
        held[2] += fact.cost or ZERO
        self.first = min(self.first, fact.sale.on)
        self.last = max(self.last, fact.sale.on)

    def _add_by_table(self, fact: Fact) -> None:
        if self.by_table is None or self.rule is None:
            return
        price = fact.sale.price
        if price is None:
            self.by_table = None if fact.is_something else self.by_table
            return
        if price not in self._tax_in:
            self._tax_in[price] = self.rule.by_brackets(price)
        self.by_table += fact.units * self._tax_in[price]

    def split(self, rule: Rule, rounding: Rounding, unit: Decimal) -> Split:
        return split(
            self.receipts,
            rule,
            self.rates,
            rounding=rounding,
            cost=self.cost,
            deposits=self.deposits,
            by_table=self.by_table,
            unit=unit,
        )

    def line(self, key: _Key, parts: Split) -> Line:
        rule = self.rule
        return Line(
            state=key.state,
            jurisdictions=tuple(one.code for one in self.rates),
            names=tuple(one.name for one in self.rates),
            code=key.code,
            rule=key.rule,
            title=rule.title if rule else "no rule",
            citation=rule.citation if rule else "",
            status=rule.status if rule else None,
            units=self.units,
            split=parts,
            cost=self.cost,
            of=tuple(KeySum(key, *sums) for key, sums in sorted(self.by_key.items())),
            first=self.first,
            last=self.last,
        )


def _lines(sums: dict[_Key, _Sum], rounding: Rounding, unit: Decimal) -> list[Line]:
    """Lines in order. Classes under one rule and the same rates are split as one sum."""
    together: dict[tuple[Any, ...], list[_Key]] = defaultdict(list)
    for key in sorted(sums):
        together[key[:4] if key.rule else key].append(key)
    lines: dict[_Key, Line] = {}
    for keys in together.values():
        held = [sums[key] for key in keys]
        for key, one, parts in zip(keys, held, _parts(keys, held, rounding, unit), strict=True):
            lines[key] = one.line(key, parts)
    return [lines[key] for key in sorted(lines, key=_order)]


def _parts(
    keys: Sequence[_Key], held: Sequence[_Sum], rounding: Rounding, unit: Decimal
) -> list[Split]:
    rule = held[0].rule
    if rule is None:
        return [
            unclassified(one.receipts, key.why, deposits=one.deposits)
            for key, one in zip(keys, held, strict=True)
        ]
    by_itself = rule.shape in (Shape.EXEMPT, Shape.DECAL) or goes_by_table(rule, rounding)
    if by_itself or keys[0].lacking or len(held) == 1:
        return [one.split(rule, rounding, unit) for one in held]
    costs = [one.cost for one in held if one.cost is not None]
    whole = split(
        sum((one.receipts for one in held), ZERO),
        rule,
        held[0].rates,
        rounding=rounding,
        cost=sum(costs, ZERO) if len(costs) == len(held) else None,
        deposits=sum((one.deposits for one in held), ZERO),
        unit=unit,
    )
    if whole.unclassified:
        return [one.split(rule, rounding, unit) for one in held]
    return shared(
        whole,
        [one.receipts for one in held],
        [one.deposits for one in held],
        [one.cost or ZERO for one in held],
        unit,
    )


def _order(key: _Key) -> tuple[Any, ...]:
    return key.state, key.rates, not key.rule, key.code, key.rule, key.lacking, key.why


def _said(lines: Sequence[Line], decals: Sequence[Decal], rounding: Rounding) -> list[str]:
    said = [ADVICE, f"Rounding: {rounding.words}."]
    left = sum((line.split.unclassified for line in lines), ZERO)
    if left:
        said.append(f"{left} of receipts are unclassified; nothing is assumed about them.")
    said += [
        f"{one.rule}: {one.machines} machines at {one.each} a year, {one.amount} in all; "
        "no tax is reckoned for them, which is right only where the decals were bought."
        for one in decals
    ]
    unread = sorted({line.rule for line in lines if line.status and not line.status.is_verified})
    if unread:
        said.append(f"Rules not verified: {', '.join(unread)}.")
    return said


def by_key(found: Report, unit: Decimal = CENT) -> dict[str, Part]:
    """Receipts and tax of a report by the keys of its facts: the tax of each line is shared out by
    what it is reckoned from, receipts less deposits or the cost of goods, to the unit."""
    parts: dict[str, Part] = {}
    for line in found.lines:
        weights = [one.receipts - one.deposits for one in line.of]
        if not line.split.tax_inside and not line.split.taxable and any(o.cost for o in line.of):
            weights = [one.cost for one in line.of]
        shares = share_out(line.split.tax, weights, unit) if any(weights) else [ZERO] * len(weights)
        for one, tax in zip(line.of, shares, strict=True):
            was = parts.get(one.key, Part())
            left = one.receipts - one.deposits if line.split.unclassified else ZERO
            parts[one.key] = Part(
                was.receipts + one.receipts,
                was.tax + tax,
                was.deposits + one.deposits,
                was.unclassified + left,
            )
    return parts
