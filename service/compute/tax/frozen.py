"""What a filing freezes: facts, rules and figures as plain data, its digest, and the way back."""

import hashlib
import json
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from .classes import ClassCode
from .lines import SUMMED, Fact, Line, Report
from .rules import Rule, Sale, Takes, plain, rule_from
from .split import RateOf


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
        "decals": [
            {
                "state": one.state,
                "rule": one.rule,
                "title": one.title,
                "citation": one.citation,
                "status": str(one.status) if one.status else "",
                "machines": one.machines,
                "each": f"{one.each:f}",
                "amount": f"{one.amount:f}",
                "of": list(one.of),
            }
            for one in found.decals
        ],
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
    """Facts and rules as plain data, in an order of their own: what a filing keeps.

    Facts name their set of rates by its place among `rates`, for thousands share a few.
    """
    held = list(facts)
    sets = {id(one.rates): one.rates for one in held}
    written = {key: canonical([_rate(one) for one in rates]) for key, rates in sets.items()}
    order = sorted(set(written.values()))
    place = {key: order.index(text) for key, text in written.items()}
    return {
        "rates": [json.loads(text) for text in order],
        "facts": sorted((_fact(one, place[id(one.rates)]) for one in held), key=_place_of),
        "rules": sorted((plain(one) for one in rules), key=canonical),
    }


def thawed(data: dict[str, Any]) -> tuple[tuple[Fact, ...], tuple[Rule, ...]]:
    """The facts and rules that `inputs` wrote down: with them the same report can be made anew."""
    rates = [tuple(_rate_from(one) for one in some) for some in data["rates"]]
    return (
        tuple(_fact_from(one, rates[one["rates"]]) for one in data["facts"]),
        tuple(rule_from(one) for one in data["rules"]),
    )


def _place_of(fact: dict[str, Any]) -> tuple[str, ...]:
    return tuple(map(str, fact.values()))


def _rate(rate: RateOf) -> dict[str, Any]:
    return {
        "code": rate.code,
        "name": rate.name,
        "kind": rate.kind,
        "general": _text(rate.general),
        "food": _text(rate.food),
        **({} if rate.known else {"known": False}),
    }


def _rate_from(data: dict[str, Any]) -> RateOf:
    return RateOf(
        data["code"],
        data["name"],
        data["kind"],
        Decimal(data["general"]),
        _figure(data["food"]),
        data.get("known", True),
    )


def _fact(fact: Fact, rates: int) -> dict[str, Any]:
    sale = fact.sale
    return {
        "key": fact.key,
        "machine": fact.machine,
        "state": sale.state,
        "on": sale.on.isoformat(),
        "class": str(sale.code),
        "why_class": fact.why_class,
        "price": _text(sale.price),
        "takes": str(sale.takes),
        "premises": sale.premises,
        "carbonated": sale.carbonated,
        "highest_price": _text(sale.highest_price),
        "sells_other": sale.sells_other,
        "bulk": sale.bulk,
        "low_share": _text(sale.low_share),
        "rates": rates,
        "units": fact.units,
        "receipts": _text(fact.receipts),
        "cost": _text(fact.cost),
        "deposits": _text(fact.deposits),
    }


def _fact_from(data: dict[str, Any], rates: tuple[RateOf, ...]) -> Fact:
    return Fact(
        key=data["key"],
        machine=data["machine"],
        sale=Sale(
            state=data["state"],
            on=date.fromisoformat(data["on"]),
            code=ClassCode(data["class"]),
            price=_figure(data["price"]),
            takes=Takes(data["takes"]),
            premises=data["premises"],
            carbonated=data["carbonated"],
            highest_price=_figure(data["highest_price"]),
            sells_other=data["sells_other"],
            bulk=data["bulk"],
            low_share=_figure(data["low_share"]),
        ),
        rates=rates,
        units=data["units"],
        receipts=Decimal(data["receipts"]),
        cost=_figure(data["cost"]),
        deposits=Decimal(data["deposits"]),
        why_class=data["why_class"],
    )


def _text(figure: Decimal | None) -> str | None:
    return None if figure is None else f"{figure:f}"


def _figure(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)
