"""How what came differs from what was agreed, in words and codes."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from ..models import ReceiptLine

Difference = ReceiptLine.Difference


@dataclass(frozen=True)
class Came:
    """What came of one product and lot, beside what was agreed about it. Costs are of one unit."""

    ordered: bool
    expected_units: int
    units: int
    refused_units: int
    best_before: date | None
    stated_best_before: date | None
    least_days_left: int | None
    day: date
    unit_cost: Decimal
    agreed_unit_cost: Decimal | None
    more_may_come: bool


def differences_of(came: Came) -> list[dict[str, str]]:
    """Each difference as `{"code": ..., "said": ...}`, in the order of Difference."""
    found: list[tuple[Difference, str]] = []
    missing = came.expected_units - came.units
    if not came.ordered:
        found.append((Difference.NOT_ORDERED, f"{came.units} came and none was ordered"))
    elif missing > 0:
        rest = "the rest is still owed" if came.more_may_come else "no more will come"
        found.append((Difference.SHORT, f"{came.units} of {came.expected_units} came; {rest}"))
    elif missing < 0:
        found.append((Difference.OVER, f"{came.units} came where {came.expected_units} were owed"))
    if came.best_before and came.stated_best_before not in {None, came.best_before}:
        found.append(
            (
                Difference.OTHER_DATE,
                f"best before {came.best_before} on the product, {came.stated_best_before} on "
                "the paper",
            )
        )
    if came.best_before:
        left = (came.best_before - came.day).days
        if left < 0:
            found.append((Difference.SHORT_DATED, f"out of date since {came.best_before}"))
        elif came.least_days_left is not None and left < came.least_days_left:
            found.append(
                (Difference.SHORT_DATED, f"{left} days left where {came.least_days_left} are asked")
            )
    if came.agreed_unit_cost is not None and came.unit_cost != came.agreed_unit_cost:
        found.append(
            (
                Difference.OTHER_COST,
                f"{_plain(came.unit_cost)} a unit where {_plain(came.agreed_unit_cost)} was agreed",
            )
        )
    if came.refused_units:
        found.append((Difference.REFUSED, f"{came.refused_units} refused and sent back"))
    return [{"code": code.value, "said": said} for code, said in found]


def _plain(amount: Decimal) -> str:
    """An amount with two places, or as many as it has: 0.62, 0.8333."""
    text = f"{amount:f}".rstrip("0")
    whole, _, places = text.partition(".")
    return f"{whole}.{places.ljust(2, '0')}"
