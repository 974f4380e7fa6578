"""What was found in a bag, denomination by denomination, checked before it is written."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from fleet.compute.coins import COINS, NOTES, Sureness, by_weight, mixed_by_weight
from fleet.compute.units import BadMeasure
from people.errors import Unacceptable
from people.models import Business

from ..models import BagCountLine

Kind, How = BagCountLine.Kind, BagCountLine.How
MOST_LINES: Final = 60
MOST_PIECES: Final = 1_000_000
MOST_MINOR: Final = 10**9


@dataclass(frozen=True)
class Counted:
    """One line of a count as told: pieces of a denomination, coins by weight, or a plain sum.

    Coins by weight without a denomination are dimes, quarters and half dollars together, which are
    worth alike for their weight.
    """

    kind: str
    how: str
    denomination_minor: int | None = None
    number: int | None = None
    weight_g: Decimal | None = None
    amount_minor: int | None = None


def lines_of(told: Sequence[Counted]) -> list[BagCountLine]:
    """The rows of a count, not yet saved. Raises Unacceptable by the number in the list."""
    if len(told) > MOST_LINES:
        message = f"give at most {MOST_LINES} lines; {len(told)} came"
        raise Unacceptable(f"lines: {message}", fields={"lines": message})
    currency = Business.the().currency
    wrong: dict[str, str] = {}
    found: list[BagCountLine] = []
    for index, one in enumerate(told):
        try:
            found.append(_line(one, currency))
        except BadMeasure as error:
            wrong[f"lines.{index}.{error.field}"] = error.message
    seen: set[tuple[str, int]] = set()
    for index, one in enumerate(told):
        if one.denomination_minor is not None and one.how == How.BY_COUNT:
            key = (one.kind, one.denomination_minor)
            if key in seen:
                wrong.setdefault(f"lines.{index}.denomination_minor", "is counted twice")
            seen.add(key)
    if wrong:
        raise Unacceptable("; ".join(f"{k}: {v}" for k, v in wrong.items()), fields=wrong)
    return found


def _line(one: Counted, currency: str) -> BagCountLine:
    if one.kind not in Kind.values:
        raise BadMeasure("kind", f"give one of {', '.join(Kind.values)}")
    match one.how:
        case How.BY_COUNT:
            return _by_count(one, currency)
        case How.BY_WEIGHT:
            return _by_weight(one, currency)
        case How.TOTAL:
            return _total(one)
    raise BadMeasure("how", f"give one of {', '.join(How.values)}")


def _by_count(one: Counted, currency: str) -> BagCountLine:
    _only(one, "denomination_minor", "number")
    value, number = one.denomination_minor, one.number
    if value is None or value <= 0:
        raise BadMeasure("denomination_minor", "say what one piece is worth")
    known = [coin.minor for coin in COINS.get(currency, ())]
    known = list(NOTES.get(currency, ())) if one.kind == Kind.NOTE else known
    if known and value not in known:
        noun = "note" if one.kind == Kind.NOTE else "coin"
        values = ", ".join(str(each) for each in known)
        raise BadMeasure("denomination_minor", f"no {noun} is worth {value}; give one of {values}")
    if number is None or not 0 <= number <= MOST_PIECES:
        raise BadMeasure("number", f"give a whole number from 0 to {MOST_PIECES}")
    amount = _within(value * number, "number")
    return BagCountLine(
        kind=one.kind,
        how=one.how,
        denomination_minor=value,
        number=number,
        amount_minor=amount,
        least_minor=amount,
        most_minor=amount,
    )


def _by_weight(one: Counted, currency: str) -> BagCountLine:
    _only(one, "denomination_minor", "weight_g")
    if one.kind != Kind.COIN:
        raise BadMeasure("how", "notes are counted; only coins are weighed")
    if one.weight_g is None:
        raise BadMeasure("weight_g", "say what the coins weigh, in grams, empty of their box")
    number: int | None
    if one.denomination_minor is None:
        if currency != "USD":
            raise BadMeasure("denomination_minor", "say what one coin is worth")
        mixed = mixed_by_weight(one.weight_g)
        number, amount = None, mixed.amount_minor
        least, most, sureness, said = (
            *(mixed.least_minor, mixed.most_minor, mixed.sureness, mixed.said),
        )
    else:
        weighed = by_weight(one.denomination_minor, one.weight_g, currency=currency)
        number, amount = weighed.number, weighed.amount_minor
        worth = weighed.minor
        least, most, sureness, said = (
            *(weighed.least * worth, weighed.most * worth, weighed.sureness, weighed.said),
        )
    if sureness is Sureness.IMPOSSIBLE:
        raise BadMeasure("weight_g", said)
    return BagCountLine(
        kind=one.kind,
        how=one.how,
        denomination_minor=one.denomination_minor,
        number=number,
        weight_g=one.weight_g,
        amount_minor=amount,
        least_minor=min(least, amount),
        most_minor=max(most, amount),
        said=said,
    )


def _total(one: Counted) -> BagCountLine:
    _only(one, "amount_minor")
    if one.amount_minor is None or one.amount_minor < 0:
        raise BadMeasure("amount_minor", "give nothing or more")
    amount = _within(one.amount_minor, "amount_minor")
    return BagCountLine(
        kind=one.kind, how=one.how, amount_minor=amount, least_minor=amount, most_minor=amount
    )


def _only(one: Counted, *allowed: str) -> None:
    for name in ("denomination_minor", "number", "weight_g", "amount_minor"):
        if name not in allowed and getattr(one, name) is not None:
            raise BadMeasure(name, f"is not asked for what was found {How(one.how).label}")


def _within(amount: int, field: str) -> int:
    if amount > MOST_MINOR:
        raise BadMeasure(field, "comes to more than any bag holds")
    return amount
