"""`compute swap`: which product should lie in which column, and what a change would bring."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from pydantic.dataclasses import dataclass as checked

from fleet.compute.restock.arrangements import EMPTY, Arrangement, Machine, Products
from fleet.compute.restock.swap import Comparison, suggest, what_if
from fleet.compute.results import Reason
from fleet.compute.units import BadMeasure, require_between, require_count

from .asking import ASKED_STRICTLY, Computation

MOST_COLUMNS, MOST_PRODUCTS, MOST_UNITS = 100, 300, 1_000
MOST_WEEKLY: Final = 5_000.0
MOST_MINOR: Final = 1e9


@checked(frozen=True, config=ASKED_STRICTLY)
class ColumnNow:
    """A column, what lies in it and how many units it holds as it is set up; null: nothing."""

    column: str
    product: str | None = None
    units: int = 0
    fixed: bool = False

    def __post_init__(self) -> None:
        require_count("column.units", self.units, least=0, most=MOST_UNITS)


@checked(frozen=True, config=ASKED_STRICTLY)
class ProductWeighed:
    """A product that lies in the machine or could: its demand here, and what a unit is worth.

    `weekly_sd_units` is how far `weekly_units` may be off; `life_days` for how long a fresh lot may
    be sold, null for what has no date. Amounts are in minor units of money.
    """

    product: str
    weekly_units: float
    margin_minor: float
    weekly_sd_units: float = 0.0
    leftover_minor: float = 0.0
    waste_minor: float = 0.0
    life_days: float | None = None
    must_sell: bool = False

    def __post_init__(self) -> None:
        require_between("product.weekly_units", self.weekly_units, 0, MOST_WEEKLY, "units")
        require_between("product.weekly_sd_units", self.weekly_sd_units, 0, MOST_WEEKLY, "units")
        require_between("product.margin_minor", self.margin_minor, -MOST_MINOR, MOST_MINOR, "minor")
        require_between("product.leftover_minor", self.leftover_minor, 0, MOST_MINOR, "minor")
        require_between("product.waste_minor", self.waste_minor, 0, MOST_MINOR, "minor")
        if self.life_days is not None:
            require_between("product.life_days", self.life_days, 1, 10_000, "days")


@checked(frozen=True, config=ASKED_STRICTLY)
class Fitting:
    """A column would hold so many units of a product, set up anew in so many minutes."""

    column: str
    product: str
    units: int
    minutes: float = 0.0

    def __post_init__(self) -> None:
        require_count("fitting.units", self.units, most=MOST_UNITS)
        require_between("fitting.minutes", self.minutes, 0, 1_440, "minutes")


@checked(frozen=True, config=ASKED_STRICTLY)
class Turning:
    """The share of the buyers of one product who take another when theirs is not to be had."""

    product: str
    turns_to: str
    share: float

    def __post_init__(self) -> None:
        require_between("turning.share", self.share, 0, 1, "of all")


@checked(frozen=True, config=ASKED_STRICTLY)
class Instead:
    """Another product, or other units, in one column."""

    column: str
    product: str | None
    units: int = 0

    def __post_init__(self) -> None:
        require_count("instead.units", self.units, least=0, most=MOST_UNITS)


@checked(frozen=True, config=ASKED_STRICTLY)
class SwapQuestion:
    """A machine as it stands, and what fits where; what is not among `fits` does not fit.

    `instead` asks what that change would bring, beside what is suggested.
    """

    columns: tuple[ColumnNow, ...]
    products: tuple[ProductWeighed, ...]
    fits: tuple[Fitting, ...]
    visit_days: float = 7.0
    minute_minor: float = 0.0
    weeks: float = 13.0
    variance_to_mean: float = 1.0
    most_changes: int | None = None
    turns: tuple[Turning, ...] = ()
    instead: tuple[Instead, ...] = ()

    def __post_init__(self) -> None:
        require_count("question.columns", len(self.columns), most=MOST_COLUMNS)
        require_count("question.products", len(self.products), most=MOST_PRODUCTS)
        if self.most_changes is not None:
            require_count("question.most_changes", self.most_changes, least=0)
        columns = _once("columns", [one.column for one in self.columns])
        products = _once("products", [one.product for one in self.products])
        held = [("columns", [one.product for one in self.columns])]
        held.append(("instead", [one.product for one in self.instead]))
        for name, named in held:
            for place, product in enumerate(named):
                if product is not None:
                    _known(f"{name}.{place}.product", product, products)
        for place, fitting in enumerate(self.fits):
            _known(f"fits.{place}.column", fitting.column, columns)
            _known(f"fits.{place}.product", fitting.product, products)
        for place, turning in enumerate(self.turns):
            _known(f"turns.{place}.product", turning.product, products)
            _known(f"turns.{place}.turns_to", turning.turns_to, products)
        for place, change in enumerate(self.instead):
            _known(f"instead.{place}.column", change.column, columns)


@dataclass(frozen=True)
class ChangeOfColumn:
    """One suggested change. `gain_minor`: what the whole would lose a week without it."""

    column: str
    product_before: str | None
    product_after: str | None
    units_before: int
    units_after: int
    minutes: float
    gain_minor: float | None


@dataclass(frozen=True)
class ProductAfter:
    """One product's week before and after."""

    product: str
    columns_before: int
    columns_after: int
    sold_before: float
    sold_after: float
    worth_before_minor: float
    worth_after_minor: float


@dataclass(frozen=True)
class Gain:
    """What a change brings a week, its work deducted, and how sure that is."""

    gain_minor: float
    sd_minor: float
    low_minor: float
    high_minor: float
    chance_of_gain: float
    work_minutes: float
    work_minor: float
    weeks_to_pay_back: float | None
    products: tuple[ProductAfter, ...]
    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class Swap:
    """What is suggested (no changes: leave it), and what was asked about, if anything was.

    `proven`: no other arrangement earns more under the same beliefs.
    """

    changes: tuple[ChangeOfColumn, ...]
    gain: Gain
    proven: bool
    instead: Gain | None


def _swap(question: SwapQuestion) -> Swap:
    machine = _machine(question)
    columns = [one.column for one in question.columns]
    products = [one.product for one in question.products]
    found = suggest(machine)
    changes = tuple(
        ChangeOfColumn(
            column=columns[one.column],
            product_before=None if one.product_before is None else products[one.product_before],
            product_after=None if one.product_after is None else products[one.product_after],
            units_before=one.units_before,
            units_after=one.units_after,
            minutes=one.minutes,
            gain_minor=one.gain_minor,
        )
        for one in found.changes
    )
    asked = None
    if question.instead:
        after = machine.now
        for change in question.instead:
            place = EMPTY if change.product is None else products.index(change.product)
            units = 0 if place == EMPTY else change.units
            after = after.changed(columns.index(change.column), place, units)
        try:
            asked = _gain(what_if(machine, after), products)
        except BadMeasure as error:
            raise BadMeasure("instead", error.message) from error
    return Swap(changes, _gain(found.comparison, products), found.proven, asked)


def _machine(question: SwapQuestion) -> Machine:
    """Keys are places in the question; the answer is told by names."""
    column_of = {one.column: place for place, one in enumerate(question.columns)}
    product_of = {one.product: place for place, one in enumerate(question.products)}
    shape = len(column_of), len(product_of)
    capacity, minutes = np.zeros(shape, np.int64), np.zeros(shape)
    for fitting in question.fits:
        at = column_of[fitting.column], product_of[fitting.product]
        capacity[at], minutes[at] = fitting.units, fitting.minutes
    shares = np.zeros((shape[1], shape[1])) if question.turns else None
    if shares is not None:
        for one in question.turns:
            shares[product_of[one.product], product_of[one.turns_to]] = one.share
        if (shares.sum(axis=1) > 1 + 1e-9).any() or np.diagonal(shares).any():
            raise BadMeasure("turns", "a product's shares go to others and sum to 1 at most")
    weighed = question.products
    return Machine.of(
        np.arange(shape[0]),
        Products.of(
            np.arange(shape[1]),
            [one.weekly_units for one in weighed],
            [one.margin_minor for one in weighed],
            weekly_sd_units=[one.weekly_sd_units for one in weighed],
            leftover_minor=[one.leftover_minor for one in weighed],
            waste_minor=[one.waste_minor for one in weighed],
            life_days=[np.inf if one.life_days is None else one.life_days for one in weighed],
        ),
        capacity,
        Arrangement.of(
            [EMPTY if one.product is None else product_of[one.product] for one in question.columns],
            [one.units for one in question.columns],
        ),
        visit_days=question.visit_days,
        minutes=minutes,
        minute_minor=question.minute_minor,
        weeks=question.weeks,
        fixed=[one.fixed for one in question.columns],
        must_sell=[one.must_sell for one in weighed],
        transfer=shares,
        variance_to_mean=question.variance_to_mean,
        most_changes=question.most_changes,
    )


def _gain(compared: Comparison, products: Sequence[str]) -> Gain:
    return Gain(
        gain_minor=compared.gain_minor,
        sd_minor=compared.sd_minor,
        low_minor=compared.low_minor,
        high_minor=compared.high_minor,
        chance_of_gain=compared.chance_of_gain,
        work_minutes=compared.work_minutes,
        work_minor=compared.work_minor,
        weeks_to_pay_back=compared.weeks_to_pay_back,
        products=tuple(
            ProductAfter(
                product=products[one.product],
                columns_before=one.columns_before,
                columns_after=one.columns_after,
                sold_before=one.sold_before,
                sold_after=one.sold_after,
                worth_before_minor=one.worth_before_minor,
                worth_after_minor=one.worth_after_minor,
            )
            for one in compared.products
        ),
        reasons=compared.reasons,
    )


def _once(field: str, names: list[str]) -> set[str]:
    if len(set(names)) != len(names):
        raise BadMeasure(f"question.{field}", "name each once")
    return set(names)


def _known(field: str, name: str, names: set[str]) -> None:
    if name not in names:
        raise BadMeasure(f"question.{field}", f"{name} is not among those named")


SWAP = Computation(
    "swap",
    "Which product should lie in which column of a machine, and what a change would bring.",
    SwapQuestion,
    Swap,
    _swap,
)
