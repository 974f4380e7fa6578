"""What would change if columns held something else, and which changes are worth their work."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.compute.columns import Floats
from fleet.compute.restock.arrangements import (
    EMPTY,
    Arrangement,
    Machine,
    changes_between,
)
from fleet.compute.restock.assignment import best_arrangement, net_weekly
from fleet.compute.restock.worth import Worths
from fleet.compute.results import Reason
from fleet.compute.units import BadMeasure

LOW_CHANCE, HIGH_CHANCE = 0.05, 0.95


@dataclass(frozen=True, slots=True)
class ProductChange:
    """One product before and after: `product` is its key; figures are means of a week."""

    product: int
    columns_before: int
    columns_after: int
    capacity_before: int
    capacity_after: int
    asked_before: float
    asked_after: float
    sold_before: float
    sold_after: float
    worth_before_minor: float
    worth_after_minor: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """One arrangement against another, a week, in minor units of money.

    `gain_minor` has the work deducted. How sure it is comes from what is believed of each product's
    demand: `sd_minor`, the 5 % and 95 % cases `low_minor` and `high_minor`, and the chance that
    there is any gain at all. They tell of the mean week, not of the luck of one week.
    `weeks_to_pay_back` is None if the change never pays its work back.
    """

    gain_minor: float
    gain_before_work_minor: float
    sd_minor: float
    low_minor: float
    high_minor: float
    chance_of_gain: float
    work_minutes: float
    work_minor: float
    weeks_to_pay_back: float | None
    products: tuple[ProductChange, ...]
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class ColumnChange:
    """One column's change; `column` and products are keys, None for an empty column.

    `gain_minor` is what the whole suggestion would lose a week without this change, None where it
    cannot be left out by itself.
    """

    column: int
    product_before: int | None
    product_after: int | None
    units_before: int
    units_after: int
    minutes: float
    gain_minor: float | None


@dataclass(frozen=True, slots=True)
class Suggestion:
    """The changes of a machine that earn most together. None at all: leave it as it is.

    `proven`: the solver showed that no other arrangement earns more under the same beliefs.
    """

    changes: tuple[ColumnChange, ...]
    arrangement: Arrangement
    comparison: Comparison
    proven: bool


def what_if(machine: Machine, after: Arrangement, before: Arrangement | None = None) -> Comparison:
    """What an arrangement would change against `before`, which is the present one if left out.

    Another product in a column, two columns instead of one, and another depth (the same product
    with other units) are all arrangements. Columns of one product share its demand. Raises
    BadMeasure for a product that does not fit its column.
    """
    start = machine.now if before is None else before
    for name, one in (("before", start), ("after", after)):
        _require_fitting(machine, one, name)
    return _compared(Worths(machine), start, after)


def suggest(machine: Machine, *, seconds: float = 60.0) -> Suggestion:
    """Which product should leave which column for which, only where `capacity` says it fits."""
    # Of arrangements that earn the same the solver's choice hangs on the order of its question.
    ordered, columns, products = machine.in_order()
    worths = Worths(ordered)
    found = best_arrangement(worths, seconds=seconds)
    back = np.argsort(columns)
    kept = found.arrangement.product[back]
    return Suggestion(
        changes=_changes(worths, found.arrangement),
        arrangement=Arrangement(
            np.where(kept == EMPTY, EMPTY, products[kept]), found.arrangement.units[back]
        ),
        comparison=_compared(worths, ordered.now, found.arrangement),
        proven=found.proven,
    )


def _compared(worths: Worths, before: Arrangement, after: Arrangement) -> Comparison:
    machine = worths.machine
    minutes = float(machine.minutes_between(before, after).sum())
    spent = minutes * machine.work.minute_minor
    weekly = spent / machine.work.weeks
    gross = worths.weekly_under(after) - worths.weekly_under(before)
    net = gross - weekly
    mean = float(net.mean())
    low, high = (float(one) for one in np.quantile(net, (LOW_CHANCE, HIGH_CHANCE)))
    chance = float((net > 0).mean())
    gained = float(gross.mean())
    pays_back = spent / gained if gained > 0 else None
    return Comparison(
        gain_minor=mean,
        gain_before_work_minor=gained,
        sd_minor=float(net.std()),
        low_minor=low,
        high_minor=high,
        chance_of_gain=chance,
        work_minutes=minutes,
        work_minor=spent,
        weeks_to_pay_back=pays_back,
        products=_products(worths, before, after),
        reasons=_reasons(machine, gained, weekly, minutes, (low, high), chance),
    )


def _reasons(
    machine: Machine,
    gained: float,
    weekly: float,
    minutes: float,
    span: tuple[float, float],
    chance: float,
) -> tuple[Reason, ...]:
    weeks = machine.work.weeks
    return (
        Reason(
            "gain",
            f"{gained:.0f} minor units of money more a week, of which {weekly:.0f} go for "
            f"{minutes:.0f} minutes of work spread over {weeks:g} weeks.",
            {"gain_minor": gained, "work_minor": weekly, "minutes": minutes, "weeks": weeks},
        ),
        Reason(
            "how_sure",
            f"As far as demand is known, from {span[0]:.0f} to {span[1]:.0f} a week in nine cases "
            f"of ten; a gain with a chance of {chance:.0%}.",
            {"low_minor": span[0], "high_minor": span[1], "chance_of_gain": chance},
        ),
    )


def _products(worths: Worths, before: Arrangement, after: Arrangement) -> tuple[ProductChange, ...]:
    count = worths.machine.products.count
    units = before.capacities(count), after.capacities(count)
    found = []
    for place in np.flatnonzero(units[0] + units[1]):
        product = int(place)
        sides = [
            _side(worths, product, int(held[product]), one)
            for held, one in zip(units, (before, after), strict=True)
        ]
        found.append(
            ProductChange(
                product=int(worths.machine.products.key[product]),
                columns_before=int((before.product == product).sum()),
                columns_after=int((after.product == product).sum()),
                capacity_before=int(units[0][product]),
                capacity_after=int(units[1][product]),
                asked_before=sides[0][0],
                asked_after=sides[1][0],
                sold_before=sides[0][1],
                sold_after=sides[1][1],
                worth_before_minor=sides[0][2],
                worth_after_minor=sides[1][2],
            )
        )
    return tuple(sorted(found, key=lambda one: one.product))


def _side(
    worths: Worths, product: int, units: int, arrangement: Arrangement
) -> tuple[float, float, float]:
    curve = worths.curve(product, arrangement)
    asked: Floats = worths.asked(product, arrangement)
    return float(asked.mean()), float(curve.sold_under(units).mean()), curve.worth(units)


def _changes(worths: Worths, after: Arrangement) -> tuple[ColumnChange, ...]:
    machine = worths.machine
    now = machine.now
    minutes = machine.minutes_between(now, after)
    whole = net_weekly(worths, after)
    found = []
    for place in np.flatnonzero(changes_between(now, after)):
        column = int(place)
        undone = after.changed(column, int(now.product[column]), int(now.units[column]))
        found.append(
            ColumnChange(
                column=int(machine.column_key[column]),
                product_before=_key(machine, int(now.product[column])),
                product_after=_key(machine, int(after.product[column])),
                units_before=int(now.units[column]),
                units_after=int(after.units[column]),
                minutes=float(minutes[column]),
                gain_minor=whole - net_weekly(worths, undone),
            )
        )
    return tuple(sorted(found, key=lambda one: one.column))


def _key(machine: Machine, product: int) -> int | None:
    return None if product == EMPTY else int(machine.products.key[product])


def _require_fitting(machine: Machine, arrangement: Arrangement, name: str) -> None:
    count = machine.column_key.size
    if arrangement.product.shape != (count,):
        raise BadMeasure(f"{name}.product", f"give one product for each of {count} columns")
    for column in range(count):
        product = int(arrangement.product[column])
        if not EMPTY <= product < machine.products.count:
            raise BadMeasure(f"{name}.product.{column}", f"there is no product {product}")
        kept = product == machine.now.product[column]
        if product != EMPTY and not kept and not machine.capacity[column, product]:
            raise BadMeasure(
                f"{name}.product.{column}",
                f"product {machine.products.key[product]} does not fit column "
                f"{machine.column_key[column]}",
            )
