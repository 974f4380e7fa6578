"""`compute tax`: the tax on receipts by a rule of a pack or of your own, and where it stands."""

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Final

from pydantic.dataclasses import dataclass as checked

from fleet.compute.units import BadMeasure
from service.compliance.packs import packs, rule_by_key
from service.compute.tax.classes import Attributes, ClassCode, Classed, Form, Water, classify
from service.compute.tax.rounding import Rounding, half_up
from service.compute.tax.rules import ADVICE, BadRule, Rule, Rules, Sale, Takes, rule_from
from service.compute.tax.split import RateOf, Split, goes_by_table, split, unclassified

from .asking import ASKED_STRICTLY, BadQuestion, Computation, Fault

MOST: Final = Decimal(1_000_000_000_000)
"""More than any business takes, and few enough digits that no sum of them loses a cent."""


@checked(frozen=True, config=ASKED_STRICTLY)
class RateAsked:
    """One jurisdiction's rates, as fractions in text: "0.0625"."""

    name: str
    general: Decimal
    food: Decimal | None = None
    kind: str = "state"

    def __post_init__(self) -> None:
        for said, rate in (("general", self.general), ("food", self.food)):
            if rate is not None and not 0 <= rate < 1:
                raise BadMeasure(f"rate.{said}", f"{rate} is no fraction below 1; {_meant(rate)}")


def _meant(rate: Decimal) -> str:
    if 1 <= rate < 100:
        return f"give {rate / 100} for {rate} %"
    return "give 0.0625 for 6.25 %"


@checked(frozen=True, config=ASKED_STRICTLY)
class ProductAsked:
    """What is known of the product; null where it is not."""

    form: Form
    sweetened: bool | None = None
    juice_percent: int | None = None
    contains_milk: bool | None = None
    carbonated: bool | None = None
    contains_flour: bool | None = None
    needs_refrigeration: bool | None = None
    heated: bool = False
    supplement_facts: bool = False
    water: Water = Water.NONE


@checked(frozen=True, config=ASKED_STRICTLY)
class TaxQuestion:
    """Receipts of one kind of sale in a period, under one set of rates.

    `rule` is the key of a rule of the packs, or a rule as plain data; without it the rule is found
    by the state, the product, the price, the payment and the date. Money is in text. `units`
    sold at that price are asked for only by a rule that looks each sale's tax up in a table.
    """

    receipts: Decimal
    on: date
    state: str = ""
    rule: str | dict[str, Any] | None = None
    rates: tuple[RateAsked, ...] = ()
    product: ProductAsked | None = None
    cost: Decimal | None = None
    deposits: Decimal = Decimal(0)
    price: Decimal | None = None
    takes: Takes = Takes.ALL
    premises: str = ""
    highest_price: Decimal | None = None
    sells_other: bool | None = None
    bulk: bool = False
    low_share: Decimal | None = None
    units: int | None = None
    rounding: Rounding = Rounding.AGGREGATED


@dataclass(frozen=True)
class RuleSaid:
    """The rule that was applied, where it stands, and how far that was checked."""

    key: str
    title: str
    shape: str
    citation: str
    status: str
    note: str


@dataclass(frozen=True)
class TaxAnswer:
    """The split; the rule and the class, null where none was found; and what this is not."""

    split: Split
    rule: RuleSaid | None
    product_class: Classed | None
    advice: str = field(default=ADVICE)


def _tax(question: TaxQuestion) -> TaxAnswer:
    faults = [
        Fault(f"/{name}", f"Give nothing or more, up to {MOST}.", "out_of_range")
        for name, value in (
            ("receipts", question.receipts),
            ("cost", question.cost),
            ("deposits", question.deposits),
            ("price", question.price),
            ("units", question.units),
        )
        if value is not None and not 0 <= value <= MOST
    ]
    faults += [
        Fault(f"/{name}", "Give whole cents, such as 12.34.", "fraction_of_cent")
        for name, value in (("receipts", question.receipts), ("deposits", question.deposits))
        if not faults and value != half_up(value)
    ]
    if not faults and question.deposits > question.receipts:
        faults.append(Fault("/deposits", "Is more than the receipts.", "too_much"))
    if faults:
        raise BadQuestion(tuple(faults))
    given = _rule(question)
    classed = _classed(question, given.state if given else question.state)
    rule, why = given, ""
    if rule is None:
        rule, why = _found(question, classed)
    if rule is None:
        parts = unclassified(question.receipts, why, deposits=question.deposits)
        return TaxAnswer(parts, None, classed)
    rates = tuple(
        RateOf(one.name, one.name, one.kind, one.general, one.food) for one in question.rates
    )
    parts = split(
        question.receipts,
        rule,
        rates,
        rounding=question.rounding,
        cost=question.cost,
        deposits=question.deposits,
        by_table=_by_table(question, rule),
    )
    said = RuleSaid(
        rule.key, rule.title, rule.shape.words, rule.citation, rule.status.words, rule.note
    )
    return TaxAnswer(parts, said, classed)


def _by_table(question: TaxQuestion, rule: Rule) -> Decimal | None:
    """The tax of so many sales at one price, for rules that go by a table; None if not told."""
    if question.price is None or question.units is None:
        return None
    if not goes_by_table(rule, question.rounding):
        return None
    return question.units * rule.by_brackets(question.price)


def _rule(question: TaxQuestion) -> Rule | None:
    if question.rule is None:
        return None
    if isinstance(question.rule, str):
        found = rule_by_key(question.rule)
        if found is None:
            known = ", ".join(one.key for one in packs())
            raise BadQuestion((Fault("/rule", f"No such rule; known are {known}.", "unknown"),))
    else:
        try:
            found = rule_from(question.rule)
        except BadRule as error:
            raise BadQuestion(
                tuple(
                    Fault(f"/rule/{name}", said, "bad_rule") for name, said in error.faults.items()
                )
            ) from error
    if not found.is_on(question.on):
        begins, ends = found.begins or "ever", found.ends or "for ever"
        detail = f"The rule holds from {begins} to {ends}, not on {question.on}."
        raise BadQuestion((Fault("/on", detail, "out_of_force"),))
    return found


def _classed(question: TaxQuestion, state: str) -> Classed | None:
    asked = question.product
    if asked is None:
        return None
    return classify(
        Attributes(
            form=asked.form,
            sweetened=asked.sweetened,
            juice_percent=asked.juice_percent,
            contains_milk=asked.contains_milk,
            carbonated=asked.carbonated,
            contains_flour=asked.contains_flour,
            needs_refrigeration=asked.needs_refrigeration,
            heated=asked.heated,
            supplement_facts=asked.supplement_facts,
            water=asked.water,
        ),
        state,
    )


def _found(question: TaxQuestion, classed: Classed | None) -> tuple[Rule | None, str]:
    missing = [
        Fault(f"/{name}", "Give it, or name the rule.", "missing")
        for name, there in (("state", bool(question.state)), ("product", classed is not None))
        if not there
    ]
    if missing:
        raise BadQuestion(tuple(missing))
    code = classed.code if classed else ClassCode.UNKNOWN
    found = Rules.of(packs()).find(
        Sale(
            state=question.state,
            on=question.on,
            code=code,
            price=question.price,
            takes=question.takes,
            premises=question.premises,
            carbonated=question.product.carbonated if question.product else None,
            highest_price=question.highest_price,
            sells_other=question.sells_other,
            bulk=question.bulk,
            low_share=question.low_share,
        )
    )
    why = classed.why if classed and code is ClassCode.UNKNOWN else found.why
    return found.rule, why


TAX = Computation(
    "tax",
    "The tax on receipts from machines by a named rule, split into parts that add up. No advice.",
    TaxQuestion,
    TaxAnswer,
    _tax,
    choices=frozenset({"str", "dict[str,any]", "dict[str,Any]"}),
)
