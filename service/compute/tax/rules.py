"""Rules of sales tax as data: who and what they are for, how they measure, and where they stand.

A rule is one of a small set of shapes. Everything else about it (state, classes, prices, ways of
paying, premises, dates) only says which sales it is for. Of the rules that are for a sale the one
with the highest `rank` applies; two of equal rank are a contradiction, and the sale is left
unclassified rather than guessed at.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from itertools import pairwise
from typing import Any, Final

from .classes import FOOD, ClassCode, Status
from .rounding import inside_by_bracket
from .shapes import NEEDS_SHARE, RateKind, Shape, Takes

__all__ = [
    "ADVICE",
    "GROUPS",
    "BadRule",
    "Found",
    "RateKind",
    "Rule",
    "Rules",
    "Sale",
    "Shape",
    "Takes",
    "plain",
    "rule_from",
]

ADVICE: Final = (
    "This is no tax advice; each figure names its rule, its source and how far that was checked."
)


class BadRule(ValueError):
    """What is wrong with a rule, by field."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        super().__init__("; ".join(f"{name}: {said}" for name, said in faults.items()))
        self.faults = dict(faults)


@dataclass(frozen=True)
class Rule:
    """One rule of one state.

    Prices are of one unit as the customer pays it: the rule is for `over` < price <= `at_most`;
    `below` instead of `at_most` excludes its bound. `begins` is the first day, `ends` the first day
    no more. Shares and rates are fractions (0.33, 0.0625). `rate` replaces the jurisdictions'
    rates, `rate_added` is added to them. `highest_below` asks of the whole machine that nothing in
    it costs so much; `only_snacks` that it sells nothing but food and drink, candy included.
    `bulk` asks for machines that let goods out loose and unsorted, or for those that do not.
    `least_share` asks that so much of all receipts is at the rule's prices. `asks` is a question
    that no record answers: what the rule is for stays unclassified until somebody who knows edits
    the rule.
    """

    key: str
    state: str
    title: str
    shape: Shape
    citation: str
    status: Status
    classes: frozenset[ClassCode] = frozenset()
    premises: frozenset[str] = frozenset()
    takes: frozenset[Takes] = frozenset()
    carbonated: bool | None = None
    over: Decimal | None = None
    at_most: Decimal | None = None
    below: Decimal | None = None
    highest_below: Decimal | None = None
    only_snacks: bool = False
    bulk: bool | None = None
    least_share: Decimal | None = None
    asks: str = ""
    share: Decimal | None = None
    markup: Decimal | None = None
    rate: Decimal | None = None
    rate_added: Decimal = Decimal(0)
    rate_kind: RateKind = RateKind.GENERAL
    divisors: tuple[tuple[Decimal, Decimal], ...] = ()
    brackets: tuple[tuple[Decimal, Decimal], ...] = ()
    decal: Decimal | None = None
    rank: int = 0
    begins: date | None = None
    ends: date | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if faults := _faults(self):
            raise BadRule(faults)

    @property
    def asks_price(self) -> bool:
        return any(bound is not None for bound in (self.over, self.at_most, self.below))

    def is_on(self, day: date) -> bool:
        """Whether the rule is in force on a day."""
        return (self.begins is None or self.begins <= day) and (
            self.ends is None or day < self.ends
        )

    def is_for_price(self, price: Decimal) -> bool:
        return (
            (self.over is None or price > self.over)
            and (self.at_most is None or price <= self.at_most)
            and (self.below is None or price < self.below)
        )

    def by_brackets(self, price: Decimal) -> Decimal:
        """The tax that a price holds by the rule's table; whole dollars bear the last bracket's."""
        return inside_by_bracket(price, self.brackets)

    def divisor(self, rate: Decimal) -> Decimal | None:
        """The divisor of a total rate, None where the rule's table has none for it."""
        return dict(self.divisors).get(rate.normalize())


def _faults(rule: Rule) -> dict[str, str]:
    faults: dict[str, str] = {}
    if not rule.key:
        faults["key"] = "give a key, such as nj-food"
    if len(rule.state) != 2 or not rule.state.isupper():
        faults["state"] = "give the two letters of a state, such as NJ"
    if not rule.citation.strip():
        faults["citation"] = "name the law, rule or bulletin"
    if rule.shape in NEEDS_SHARE and (rule.share is None or not 0 < rule.share <= 1):
        faults["share"] = "give a share above 0, at most 1, such as 0.33"
    if rule.shape is Shape.COST and (rule.markup is None or not 0 < rule.markup <= 10):
        faults["markup"] = "give what cost is multiplied by, such as 1.35"
    if rule.shape is Shape.DIVISOR and not rule.divisors:
        faults["divisors"] = "give a table of total rates and their divisors"
    if (rule.brackets or rule.shape is Shape.BRACKETS) and not _is_table(rule.brackets):
        faults["brackets"] = "give a table of rising prices and tax up to a price of 1"
    if rule.least_share is not None and not 0 < rule.least_share <= 1:
        faults["least_share"] = "give a share above 0, at most 1, such as 0.5"
    if rule.shape is Shape.DECAL and (rule.decal is None or rule.decal < 0):
        faults["decal"] = "give what the decal costs a machine and year"
    if rule.rate is not None and not 0 <= rule.rate < 1:
        faults["rate"] = "give a fraction, such as 0.06 for 6 %"
    if rule.begins and rule.ends and rule.ends <= rule.begins:
        faults["ends"] = "the first day no more comes after the first day"
    upper = rule.at_most if rule.at_most is not None else rule.below
    if rule.over is not None and upper is not None and upper <= rule.over:
        faults["over"] = "is not below the upper bound of the price"
    if ClassCode.UNKNOWN in rule.classes:
        faults["classes"] = "a rule cannot be for what has no class"
    return faults


def _is_table(brackets: Sequence[tuple[Decimal, Decimal]]) -> bool:
    """Whether prices rise to a whole dollar and tax never falls, nor passes its price."""
    return (
        bool(brackets)
        and brackets[-1][0] == 1
        and brackets[0][0] > 0
        and all(0 <= tax <= price for price, tax in brackets)
        and all(before[1] <= after[1] for before, after in pairwise(brackets))
    )


GROUPS: Final[dict[str, frozenset[ClassCode]]] = {"food": FOOD}
"""Words that stand for several classes in a file of rules."""


def rule_from(data: Mapping[str, Any]) -> Rule:
    """A rule from the plain data of a file or a form. Raises BadRule by field.

    Fractions and prices may be text ("0.33") or whole numbers, never binary fractions; dates are
    dates or ISO 8601 text; `divisors` maps total rates to divisors.
    """
    known = {one.name for one in fields(Rule)}
    faults = {name: "is no field of a rule" for name in data if name not in known}
    ready: dict[str, Any] = {}
    for name, value in data.items():
        if name not in known or value is None:
            continue
        try:
            ready[name] = _read(name, value)
        except (ValueError, InvalidOperation, TypeError) as error:
            faults[name] = str(error) or "cannot be read"
    for name in ("key", "state", "title", "shape", "citation", "status"):
        if name not in ready and name not in faults:
            faults[name] = "is missing"
    if faults:
        raise BadRule(faults)
    return Rule(**ready)


_DECIMALS: Final = frozenset(
    {
        "over",
        "at_most",
        "below",
        "highest_below",
        "share",
        "markup",
        "rate",
        "rate_added",
        "decal",
        "least_share",
    }
)


def _read(name: str, value: Any) -> Any:
    if name in _DECIMALS:
        return _decimal(value)
    match name:
        case "shape":
            return Shape(value)
        case "status":
            return Status(value)
        case "rate_kind":
            return RateKind(value)
        case "begins" | "ends":
            return value if isinstance(value, date) else date.fromisoformat(value)
        case "classes":
            return frozenset(
                code
                for one in value
                for code in (GROUPS[one] if one in GROUPS else frozenset({ClassCode(one)}))
            )
        case "takes":
            return frozenset(Takes(one) for one in value)
        case "premises":
            return frozenset(str(one) for one in value)
        case "divisors" | "brackets":
            pairs = value.items() if isinstance(value, Mapping) else value
            return tuple(sorted((_decimal(key).normalize(), _decimal(by)) for key, by in pairs))
        case "carbonated" | "only_snacks" | "bulk":
            if not isinstance(value, bool):
                raise ValueError("is true or false")
            return value
        case "rank":
            if not isinstance(value, int):
                raise ValueError("is a whole number")
            return value
        case _:
            return str(value)


def _decimal(value: Any) -> Decimal:
    if isinstance(value, float):
        raise ValueError('write it as text, such as "0.33": binary fractions are not exact')
    try:
        found = Decimal(str(value))
    except InvalidOperation as error:
        raise ValueError(f"{value!r} is no number") from error
    if not found.is_finite():
        raise ValueError("is no figure")
    return found


def plain(rule: Rule) -> dict[str, Any]:
    """A rule as plain data that `rule_from` reads back; what is usual is left out."""
    found: dict[str, Any] = {}
    for one in fields(Rule):
        value = getattr(rule, one.name)
        if value == one.default or (one.name != "key" and value in (None, "")):
            continue
        found[one.name] = _plain(value)
    return found


def _plain(value: Any) -> Any:
    match value:
        case frozenset():
            return sorted(str(one) for one in value)
        case tuple():
            return {f"{rate:f}": f"{by:f}" for rate, by in value}
        case Decimal():
            return f"{value:f}"
        case date():
            return value.isoformat()
        case StrEnum():
            return str(value)
        case _:
            return value


@dataclass(frozen=True)
class Sale:
    """What decides which rule applies to sales that are alike.

    `price` of one unit, None where it is not known. `highest_price` and `sells_other` say what else
    is in the machine, None where nobody knows. `low_share` is the share of all receipts that is at
    prices as low as those of a rule that asks for it.
    """

    state: str
    on: date
    code: ClassCode
    price: Decimal | None = None
    takes: Takes = Takes.ALL
    premises: str = ""
    carbonated: bool | None = None
    highest_price: Decimal | None = None
    sells_other: bool | None = None
    bulk: bool = False
    low_share: Decimal | None = None


@dataclass(frozen=True)
class Found:
    """The rule that applies, or why none does."""

    rule: Rule | None
    why: str


@dataclass(frozen=True)
class Rules:
    """Rules looked up by state, so that thousands of sales cost little."""

    by_state: Mapping[str, Sequence[Rule]] = field(default_factory=dict)

    @classmethod
    def of(cls, rules: Iterable[Rule]) -> "Rules":
        by_state: dict[str, list[Rule]] = {}
        for rule in rules:
            by_state.setdefault(rule.state, []).append(rule)
        return cls(
            {
                state: tuple(sorted(found, key=lambda rule: (-rule.rank, rule.key)))
                for state, found in by_state.items()
            }
        )

    def find(self, sale: Sale) -> Found:
        """The rule for a sale: of those that are for it, the one of highest rank."""
        if sale.code is ClassCode.UNKNOWN:
            return Found(None, "the product has no class: a fact about it is missing")
        if not sale.state:
            return Found(None, "the machine stood at no site, or its site has no state")
        ranked = self.by_state.get(sale.state, ())
        if not ranked:
            return Found(None, f"no rule of {sale.state} is entered")
        met: list[Rule] = []
        for rule in ranked:
            if met and rule.rank < met[0].rank:
                break
            fits, missing = _is_for(rule, sale)
            if missing and not (met and met[0].rank > rule.rank):
                return Found(None, f"{rule.title}: {missing}")
            if fits:
                met.append(rule)
        if not met:
            return Found(None, f"no rule of {sale.state} is for this on {sale.on}")
        if len(met) > 1:
            names = " and ".join(rule.key for rule in met)
            return Found(None, f"{names} both apply; give one of them a higher rank")
        return Found(met[0], met[0].title)


def _is_for(rule: Rule, sale: Sale) -> tuple[bool, str]:
    """Whether a rule is for a sale; or what must be known first to tell."""
    plainly = (
        rule.is_on(sale.on)
        and (not rule.classes or sale.code in rule.classes)
        and (not rule.premises or sale.premises in rule.premises)
        and (not rule.takes or sale.takes in rule.takes)
        and (rule.bulk is None or sale.bulk is rule.bulk)
    )
    if not plainly:
        return False, ""
    if rule.carbonated is not None:
        if sale.carbonated is None:
            return False, "nobody has written down whether it is carbonated"
        if sale.carbonated is not rule.carbonated:
            return False, ""
    if rule.asks_price:
        if sale.price is None:
            return False, "the price of a unit is not known"
        if not rule.is_for_price(sale.price):
            return False, ""
    if rule.highest_below is not None:
        if sale.highest_price is None:
            return False, "the highest price in the machine is not known"
        if sale.highest_price >= rule.highest_below:
            return False, ""
    if rule.only_snacks:
        if sale.sells_other is None:
            return False, "what else the machine sells is not known"
        if sale.sells_other:
            return False, ""
    if rule.least_share is not None:
        if sale.low_share is None:
            return False, "the share of all receipts at such prices is not known"
        if sale.low_share < rule.least_share:
            return False, ""
    return not rule.asks, rule.asks
