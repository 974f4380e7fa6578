"""The report of a period: what was sold, by jurisdiction, class and rule, and the tax that is due.

Facts are sums of sales that are alike; the report adds them up, splits each sum once, and keeps
what no rule is for in lines of its own. The same facts in any order give the same report and the
same digest.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Final

from .classes import ClassCode, Status
from .rounding import CENT, Rounding, share_out
from .rules import ADVICE, Found, RateKind, Rule, Rules, Sale, plain
from .split import ZERO, RateOf, Split, split, unclassified


@dataclass(frozen=True)
class Fact:
    """Sales that are alike in everything a rule asks, added up.

    `receipts` in money with container deposits in it; `deposits` the part of them that the rule of
    the place keeps out of the base; `cost` of the goods, None where it is not known. `key` names
    where they come from; facts of one key and sale are added up.
    """

    key: str
    sale: Sale
    rates: tuple[RateOf, ...]
    units: int
    receipts: Decimal
    cost: Decimal | None = None
    deposits: Decimal = ZERO
    why_class: str = ""

    def __post_init__(self) -> None:
        if self.receipts < 0 or not 0 <= self.deposits <= self.receipts:
            raise ValueError(f"{self.key}: give receipts of nothing or more, deposits within them")


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
    """A flat yearly charge that stands for tax: how many machines, and what for each."""

    state: str
    rule: str
    machines: int
    each: Decimal

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
    """Lines in order, their totals, what is due to each jurisdiction, and what was left out."""

    lines: tuple[Line, ...]
    totals: Totals
    due: Mapping[str, Decimal]
    rounding: Rounding
    said: tuple[str, ...] = ()
    advice: str = field(default=ADVICE)

    @property
    def unclassified(self) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.split.unclassified)


def report(
    facts: Iterable[Fact],
    rules: Rules,
    *,
    rounding: Rounding = Rounding.AGGREGATED,
    unit: Decimal = CENT,
) -> Report:
    """What facts of a period come to under the rules of their days."""
    sums: dict[tuple[Any, ...], _Sum] = {}
    chosen: dict[Sale, Found] = {}
    for fact in facts:
        found = chosen.get(fact.sale)
        if found is None:
            found = chosen[fact.sale] = rules.find(fact.sale)
        key = (
            fact.sale.state,
            tuple((one.code, one.rate(kind_of(found.rule))) for one in fact.rates),
            fact.sale.code,
            found.rule.key if found.rule else "",
            "" if found.rule else found.why,
        )
        held = sums.get(key)
        if held is None:
            held = sums[key] = _Sum(found, fact.rates, fact.sale)
        held.add(fact)
    lines = [_line(held, rounding, unit) for _, held in sorted(sums.items(), key=_order)]
    return Report(
        lines=tuple(lines),
        totals=totals(lines),
        due=due_of(lines),
        rounding=rounding,
        said=tuple(_said(lines, rounding)),
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

    def __init__(self, found: Found, rates: tuple[RateOf, ...], sale: Sale) -> None:
        self.found, self.rates, self.sale = found, rates, sale
        self.units, self.receipts, self.deposits = 0, ZERO, ZERO
        self.cost: Decimal | None = ZERO
        self.by_table: Decimal | None = ZERO
        self.by_key: dict[str, list[Decimal]] = {}
        self.first = self.last = sale.on

    def add(self, fact: Fact) -> None:
        self.units += fact.units
        self.receipts += fact.receipts
        self.deposits += fact.deposits
        unknown = fact.cost is None and bool(fact.units or fact.receipts)
        if self.cost is not None:
            self.cost = None if unknown else self.cost + (fact.cost or ZERO)
        self._add_by_table(fact)
        held = self.by_key.setdefault(fact.key, [ZERO, ZERO, ZERO])
        held[0] += fact.receipts
        held[1] += fact.deposits
        held[2] += fact.cost or ZERO
        self.first = min(self.first, fact.sale.on)
        self.last = max(self.last, fact.sale.on)

    def _add_by_table(self, fact: Fact) -> None:
        rule, price = self.found.rule, fact.sale.price
        if self.by_table is None or rule is None or not rule.brackets:
            return
        if price is None:
            self.by_table = None
        else:
            self.by_table += fact.units * rule.by_brackets(price)


def _line(held: _Sum, rounding: Rounding, unit: Decimal) -> Line:
    rule = held.found.rule
    if rule is None:
        parts = unclassified(held.receipts, held.found.why, deposits=held.deposits)
    else:
        parts = split(
            held.receipts,
            rule,
            held.rates,
            rounding=rounding,
            cost=held.cost,
            deposits=held.deposits,
            by_table=held.by_table,
            unit=unit,
        )
    return Line(
        state=held.sale.state,
        jurisdictions=tuple(one.code for one in held.rates),
        names=tuple(one.name for one in held.rates),
        code=held.sale.code,
        rule=rule.key if rule else "",
        title=rule.title if rule else "no rule",
        citation=rule.citation if rule else "",
        status=rule.status if rule else None,
        units=held.units,
        split=parts,
        cost=held.cost,
        of=tuple(KeySum(key, *sums) for key, sums in sorted(held.by_key.items())),
        first=held.first,
        last=held.last,
    )


def _order(item: tuple[tuple[Any, ...], _Sum]) -> tuple[Any, ...]:
    state, rates, code, rule, why = item[0]
    return state, rates, not rule, code, rule, why


def _said(lines: Sequence[Line], rounding: Rounding) -> list[str]:
    said = [ADVICE, f"Rounding: {rounding.words}."]
    left = sum((line.split.unclassified for line in lines), ZERO)
    if left:
        said.append(f"{left} of receipts are unclassified; nothing is assumed about them.")
    unread = sorted({line.rule for line in lines if line.status and not line.status.is_verified})
    if unread:
        said.append(f"Rules not verified: {', '.join(unread)}.")
    return said


@dataclass(frozen=True)
class Part:
    """What of a report belongs to one key."""

    receipts: Decimal = ZERO
    tax: Decimal = ZERO
    deposits: Decimal = ZERO
    unclassified: Decimal = ZERO


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


def canonical(data: Any) -> bytes:
    """Plain data as JSON in one way only: keys in order, no blanks, figures as text, UTF-8."""
    return json.dumps(
        data, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=_as_text
    ).encode()


def digest(data: Any) -> str:
    """SHA-256 of the canonical form, in hexadecimal."""
    return hashlib.sha256(canonical(data)).hexdigest()


def _as_text(value: Any) -> Any:
    match value:
        case Decimal():
            return f"{value:f}"
        case date():
            return value.isoformat()
        case _:
            raise TypeError(f"{type(value).__name__} has no canonical form")


def figures(found: Report) -> dict[str, Any]:
    """A report as plain data: what a filing freezes, and what its digest is of."""
    return {
        "rounding": str(found.rounding),
        "totals": {name: f"{getattr(found.totals, name):f}" for name in SUMMED}
        | {"units": found.totals.units},
        "due": {code: f"{tax:f}" for code, tax in found.due.items()},
        "lines": [line_figures(line) for line in found.lines],
        "said": list(found.said),
    }


def line_figures(line: Line) -> dict[str, Any]:
    """One line as plain data."""
    return {
        "state": line.state,
        "jurisdictions": list(line.jurisdictions),
        "names": list(line.names),
        "class": str(line.code),
        "rule": line.rule,
        "title": line.title,
        "citation": line.citation,
        "status": str(line.status) if line.status else "",
        "units": line.units,
        **{name: f"{getattr(line.split, name):f}" for name in SUMMED},
        "rate": f"{line.split.rate:f}",
        "cost": None if line.cost is None else f"{line.cost:f}",
        "due": [
            {"code": one.code, "name": one.name, "rate": f"{one.rate:f}", "tax": f"{one.tax:f}"}
            for one in line.split.due
        ],
        "why": list(line.split.why),
    }


def inputs(facts: Iterable[Fact], rules: Iterable[Rule]) -> dict[str, Any]:
    """Facts and rules as plain data, in an order of their own: what a filing keeps."""
    return {
        "facts": sorted((_fact(one) for one in facts), key=canonical),
        "rules": sorted((plain(one) for one in rules), key=canonical),
    }


def _fact(fact: Fact) -> dict[str, Any]:
    sale = fact.sale
    return {
        "key": fact.key,
        "state": sale.state,
        "on": sale.on.isoformat(),
        "class": str(sale.code),
        "price": None if sale.price is None else f"{sale.price:f}",
        "takes": str(sale.takes),
        "premises": sale.premises,
        "rates": [
            {
                "code": one.code,
                "general": f"{one.general:f}",
                "food": None if one.food is None else f"{one.food:f}",
            }
            for one in fact.rates
        ],
        "units": fact.units,
        "receipts": f"{fact.receipts:f}",
        "cost": None if fact.cost is None else f"{fact.cost:f}",
        "deposits": f"{fact.deposits:f}",
    }
