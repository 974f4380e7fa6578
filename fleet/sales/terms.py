"""Terms of an agreement as they are kept and typed, and what of them can be."""

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from fleet.compute.commission import BadTerms, InPart, Off, Step, Terms
from fleet.machines.models import Product
from people.errors import Unacceptable

KEYS: Final = (
    *("shares", "steps", "marginal", "minimum", "base"),
    *("minimum_in_part", "steps_in_part"),
)
CLASSES: Final = tuple(
    (form.value, form.label) for form in Product.Form if form != Product.Form.PART
)
"""Product classes that may have a percent of their own; `""` is everything else."""


def terms_from(kept: Mapping[str, Any]) -> Terms:
    """Terms from JSON: `{"shares": {"drink": "12.5"}, "steps": [["0", "5"], ["1000", "8"]],
    "marginal": true, "minimum": "50", "base": ["tax", "refunds"], "minimum_in_part": "days",
    "steps_in_part": "whole"}`.

    A share under `""` is of every class without one of its own. Raises Unacceptable by field.
    """
    unknown = sorted(set(kept) - set(KEYS))
    if unknown:
        raise _bad(f"terms.{unknown[0]}", f"there is no such term; there are {', '.join(KEYS)}")
    shares = kept.get("shares") or {}
    steps = kept.get("steps") or []
    if not isinstance(shares, Mapping) or not isinstance(steps, list | tuple):
        raise _bad("terms", "shares are percents by class, steps are pairs of amount and percent")
    known = {"", *(code for code, _ in CLASSES)}
    for code in shares:
        if code not in known:
            raise _bad(f"terms.shares.{code}", f"no such class; there are {', '.join(known)}")
    base = kept.get("base") or []
    for one in base:
        if one not in set(Off):
            raise _bad("terms.base", f"{one} cannot be taken off; tax, deposit and refunds can")
    try:
        terms = Terms(
            shares={code: _figure(f"shares.{code}", one) for code, one in shares.items()},
            steps=tuple(_step(index, one) for index, one in enumerate(steps)),
            marginal=bool(kept.get("marginal", True)),
            minimum=_figure("minimum", kept.get("minimum") or 0),
            base=frozenset(Off(one) for one in base),
            minimum_in_part=_in_part(kept, "minimum_in_part", InPart.DAYS),
            steps_in_part=_in_part(kept, "steps_in_part", InPart.WHOLE),
        )
    except BadTerms as error:
        raise _bad(f"terms.{error.field}", error.message) from error
    if not terms.shares and not terms.steps and not terms.minimum:
        raise _bad("terms", "pay something: a percent, steps or a minimum")
    return terms


def kept_of(terms: Terms) -> dict[str, Any]:
    """The same as JSON, every figure as text."""
    return {
        "shares": {code: _text(percent) for code, percent in sorted(terms.shares.items())},
        "steps": [[_text(step.from_receipts), _text(step.percent)] for step in terms.steps],
        "marginal": terms.marginal,
        "minimum": _text(terms.minimum),
        "base": sorted(terms.base),
        "minimum_in_part": terms.minimum_in_part.value,
        "steps_in_part": terms.steps_in_part.value,
    }


def said(terms: Terms) -> list[str]:
    """Terms in sentences, for a page and for paper."""
    names = {**dict(CLASSES), "": "everything else" if len(terms.shares) > 1 else "everything"}
    lines = [f"{_text(percent)} % of {names[code]}" for code, percent in terms.shares.items()]
    lines += [
        f"{_text(step.percent)} % "
        + (
            f"from {_text(step.from_receipts)} a period on"
            if step.from_receipts
            else "to begin with"
        )
        for step in terms.steps
    ]
    if terms.steps:
        lines.append(
            "each step's percent is paid on what lies within it"
            if terms.marginal
            else "the percent of the step reached is paid on all"
        )
        if terms.steps_in_part == InPart.DAYS:
            lines.append("in a period covered only partly steps are reached by days")
    if terms.minimum:
        lines.append(f"at least {_text(terms.minimum)} a period")
        lines.append(
            "in a period covered only partly the minimum is owed by days"
            if terms.minimum_in_part == InPart.DAYS
            else "in a period covered only partly the minimum is owed whole"
        )
    off = ", ".join(one.value for one in Off if one in terms.base)
    lines.append(f"of receipts less {off}" if off else "of receipts as customers paid them")
    return lines


def _in_part(kept: Mapping[str, Any], name: str, usual: InPart) -> InPart:
    given = kept.get(name) or usual
    if given not in set(InPart):
        raise BadTerms(name, f"{given!r}; give {' or '.join(InPart)}")
    return InPart(given)


def _step(index: int, pair: Any) -> Step:
    if not isinstance(pair, list | tuple) or len(pair) != 2:
        raise BadTerms(f"steps.{index}", "give an amount and a percent")
    return Step(_figure(f"steps.{index}", pair[0]), _figure(f"steps.{index}", pair[1]))


def _figure(place: str, given: Any) -> Decimal:
    # A float would bring in digits that nobody agreed to.
    if isinstance(given, bool | float):
        raise BadTerms(place, "write figures as text, as in 12.5")
    try:
        return Decimal(str(given).strip())
    except InvalidOperation as error:
        raise BadTerms(place, f"{given!r} is no figure") from error


def _text(figure: Decimal) -> str:
    plain = figure.normalize()
    return f"{plain:f}"


def _bad(place: str, message: str) -> Unacceptable:
    return Unacceptable(f"{place}: {message}", fields={place: message})
