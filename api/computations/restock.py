"""`compute restock`: when columns run dry, what to fill and pull, and what to carry for them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from pydantic.dataclasses import dataclass as checked

from fleet.compute.columns import Floats, Ints
from fleet.compute.restock.dated import NO_DATE, SURE, Lots, Pulls, pulls
from fleet.compute.restock.distributions import believed, means, quantiles
from fleet.compute.restock.dry import NOT_WITHIN, Outlook, outlook
from fleet.compute.restock.fill import Levels, Terms, levels, needs
from fleet.compute.restock.stock import after_sales, between, counted
from fleet.compute.restock.truck import Carried, carry
from fleet.compute.results import Reason
from fleet.compute.units import BadMeasure, require_between, require_count

from .asking import ASKED_STRICTLY, Computation

MOST_DAYS: Final = 366
MOST_UNITS: Final = 10_000
MOST_MINOR: Final = 1e9
#: Standard deviations beyond which no demand is looked for.
FAR_SD: Final = 10
#: Chances that are laid out at once: beyond, a question takes the memory of the whole machine.
MOST_CHANCES: Final = 5_000_000


@checked(frozen=True, config=ASKED_STRICTLY)
class LotHeld:
    """Units of one lot in a column; `last_day` is the last on which it may be sold (1: the first
    day from now, 0 and below: past). Left out, it has no date."""

    units: int
    last_day: int | None = None

    def __post_init__(self) -> None:
        require_count("lot.units", self.units, least=0, most=MOST_UNITS)


@checked(frozen=True, config=ASKED_STRICTLY)
class ColumnToFill:
    """A column, by names of the asker's. Amounts are of a unit, in minor units of money.

    - `daily_units`: expected demand of the first, second, ... day from now; `rate_relative_sd` is
      how far all of them together may be off.
    - `stock_units` with `stock_low_units` and `stock_high_units`: what it holds now, and within
      what range; without the range it was just counted.
    - `leftover_minor`: a unit still there at the next visit; `waste_minor`: one out of date.
    - `fresh_last_day`: the last day on which what is filled may be sold.
    - `least_units`: to be shown in any case.
    """

    column: str
    product: str
    capacity_units: int
    stock_units: float
    daily_units: tuple[float, ...]
    margin_minor: float
    leftover_minor: float
    stock_low_units: int | None = None
    stock_high_units: int | None = None
    rate_relative_sd: float = 0.0
    waste_minor: float = 0.0
    fresh_last_day: int | None = None
    least_units: int = 0
    lots: tuple[LotHeld, ...] = ()

    def __post_init__(self) -> None:
        require_count("column.capacity_units", self.capacity_units, least=0, most=MOST_UNITS)
        require_count("column.least_units", self.least_units, least=0, most=MOST_UNITS)
        require_between("column.stock_units", self.stock_units, 0, MOST_UNITS, "units")
        require_between("column.rate_relative_sd", self.rate_relative_sd, 0, 10, "times")
        require_between("column.margin_minor", self.margin_minor, -MOST_MINOR, MOST_MINOR, "minor")
        require_between("column.leftover_minor", self.leftover_minor, 0, MOST_MINOR, "minor")
        require_between("column.waste_minor", self.waste_minor, 0, MOST_MINOR, "minor")
        if not 1 <= len(self.daily_units) <= MOST_DAYS:
            raise BadMeasure("column.daily_units", f"give from 1 to {MOST_DAYS} days")
        for day, units in enumerate(self.daily_units):
            require_between(f"column.daily_units.{day}", units, 0, MOST_UNITS, "units")
        low, high = self.range_units
        require_count("column.stock_low_units", low, least=0, most=MOST_UNITS)
        require_count("column.stock_high_units", high, least=0, most=MOST_UNITS)
        if not low <= self.stock_units <= high:
            raise BadMeasure(
                "column.stock_units", f"{self.stock_units:g} is not from {low} to {high}"
            )
        if self.fresh_last_day is not None:
            require_count("column.fresh_last_day", self.fresh_last_day, least=0, most=10_000)

    @property
    def range_units(self) -> tuple[int, int]:
        """From what to what its stock may be."""
        low, high = self.stock_low_units, self.stock_high_units
        return (
            int(np.floor(self.stock_units)) if low is None else low,
            int(np.ceil(self.stock_units)) if high is None else high,
        )


@checked(frozen=True, config=ASKED_STRICTLY)
class OnTruck:
    """What a truck holds of a product already, its case, and the most it may hold of it."""

    product: str
    units: int = 0
    units_per_case: int | None = None
    most_units: int | None = None

    def __post_init__(self) -> None:
        require_count("truck.units", self.units, least=0, most=MOST_UNITS)
        for name in ("units_per_case", "most_units"):
            given = getattr(self, name)
            if given is not None:
                require_count(f"truck.{name}", given, most=MOST_UNITS)


@checked(frozen=True, config=ASKED_STRICTLY)
class RestockQuestion:
    """Columns to be visited at the end of `visit_day` (0: now) and again at the end of
    `next_visit_day`, both counted in days from now and within every column's `daily_units`.

    `service_level` is the chance that the truck holds enough of a product for all its columns;
    `sure` that with which a unit sells by its date if it may stay.
    """

    columns: tuple[ColumnToFill, ...]
    next_visit_day: int
    visit_day: int = 0
    service_level: float = 0.95
    sure: float = SURE
    truck: tuple[OnTruck, ...] = ()

    def __post_init__(self) -> None:
        if not self.columns:
            raise BadMeasure("question.columns", "name at least one")
        days = len(self.columns[0].daily_units)
        for place, one in enumerate(self.columns):
            if len(one.daily_units) != days:
                raise BadMeasure(
                    f"question.columns.{place}.daily_units", f"give {days} days, as of the first"
                )
        require_count("question.next_visit_day", self.next_visit_day, most=days)
        require_count("question.visit_day", self.visit_day, least=0, most=self.next_visit_day - 1)
        require_between("question.service_level", self.service_level, 0, 1, "chance")
        require_between("question.sure", self.sure, 0, 1, "chance")
        names = [one.product for one in self.truck]
        if len(set(names)) != len(names):
            raise BadMeasure("question.truck", "name each product once")


@dataclass(frozen=True)
class LotToPull:
    """What to take out of one lot, by its place in the question."""

    lot: int
    pull_units: int
    chance_unsold: float


@dataclass(frozen=True)
class RestockOfColumn:
    """One column's outlook without a visit, up to the end of each day, and its fill at the visit.

    `dry_median_day`, `dry_early_day`: by whose end it is dry in one case of two, and of twenty;
    null: not within the days. `saved_minor`: margin lost by coming only on `next_visit_day`.
    `fill_units` is what a driver should have along for this column alone at the service level.
    """

    column: str
    product: str
    chance_dry_by_day: tuple[float, ...]
    units_lost_by_day: tuple[float, ...]
    margin_lost_minor_by_day: tuple[float, ...]
    dry_median_day: int | None
    dry_early_day: int | None
    saved_minor: float
    level_units: int
    expected_fill_units: float
    fill_units: int
    critical_ratio: float
    served: float
    pulls: tuple[LotToPull, ...]
    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class CarriedProduct:
    """What to carry of one product."""

    product: str
    carried: Carried


@dataclass(frozen=True)
class Restock:
    """The columns in the order asked, and each product in the order of its first column."""

    columns: tuple[RestockOfColumn, ...]
    products: tuple[CarriedProduct, ...]


def _restock(question: RestockQuestion) -> Restock:
    asked = question.columns
    ahead = _Ahead(asked)
    stock = _stock(asked)
    seen = outlook(
        stock,
        (ahead.demand(0, day) for day in range(1, ahead.days + 1)),
        [one.margin_minor for one in asked],
    )
    pulled, lots = _pulled(question, ahead)
    level = _levels(question, ahead)
    out = np.bincount(lots.column, weights=pulled.units, minlength=len(asked)).astype(np.int64)
    there = after_sales(stock, ahead.demand(0, question.visit_day))
    need = needs(level.level, after_sales(there, counted(out, int(out.max(initial=0)))))
    answers = []
    for place, one in enumerate(asked):
        answers.append(
            RestockOfColumn(
                column=one.column,
                product=one.product,
                chance_dry_by_day=tuple(seen.chance_dry[place].tolist()),
                units_lost_by_day=tuple(seen.units_lost[place].tolist()),
                margin_lost_minor_by_day=tuple(seen.margin_lost_minor[place].tolist()),
                dry_median_day=_day(seen.median_day, place),
                dry_early_day=_day(seen.early_day, place),
                saved_minor=_saved(seen, question, place),
                level_units=int(level.level[place]),
                expected_fill_units=float(means(need)[place]),
                fill_units=int(quantiles(need, question.service_level)[place]),
                critical_ratio=float(level.ratio[place]),
                served=float(level.served[place]),
                pulls=_of_column(pulled, lots, place),
                reasons=level.reasons(place),
            )
        )
    return Restock(tuple(answers), _carried(question, need))


class _Ahead:
    """The demand of all columns between any two days."""

    def __init__(self, asked: Sequence[ColumnToFill]) -> None:
        daily = np.array([one.daily_units for one in asked])
        self.days = daily.shape[1]
        self._so_far = np.concatenate([np.zeros((len(asked), 1)), np.cumsum(daily, axis=1)], axis=1)
        self._mean = daily.mean(axis=1)
        self._off = np.array([one.rate_relative_sd for one in asked])
        most = self._so_far[:, -1]
        far = most + FAR_SD * np.sqrt(most + (most * self._off) ** 2)
        self._units = max(one.capacity_units for one in asked) + int(far.max()) + 20
        if len(asked) * self._units > MOST_CHANCES:
            raise BadMeasure(
                "columns",
                f"{len(asked)} columns of up to {self._units} units are too many at once; "
                f"ask for fewer columns or days, or those that sell much by themselves",
            )

    def demand(self, first: int, last: Ints | int) -> Floats:
        """What is asked for from the end of day `first` to the end of day `last`, one a column.

        Days beyond those told of are as the mean of them.
        """
        end = np.broadcast_to(np.asarray(last), self._mean.shape)
        known = np.minimum(end, self.days)
        rows = np.arange(end.size)
        mean = self._so_far[rows, known] + (end - known) * self._mean - self._so_far[:, first]
        return believed(np.maximum(mean, 0), self._off, self._units)


def _stock(asked: Sequence[ColumnToFill]) -> Floats:
    low, high = zip(*(one.range_units for one in asked), strict=True)
    return between([one.stock_units for one in asked], low, high, max(high))


def _pulled(question: RestockQuestion, ahead: _Ahead) -> tuple[Pulls, Lots]:
    held = [(place, lot) for place, one in enumerate(question.columns) for lot in one.lots]
    lots = Lots.of(
        np.array([place for place, _ in held], dtype=np.int64),
        np.array([lot.units for _, lot in held], dtype=np.int64),
        np.array([NO_DATE if lot.last_day is None else lot.last_day for _, lot in held], np.int64),
    )
    visits = np.full(len(question.columns), question.next_visit_day)
    by_day = [ahead.demand(0, day) for day in range(1, question.next_visit_day + 1)]
    return pulls(lots, visits, by_day, question.sure), lots


def _levels(question: RestockQuestion, ahead: _Ahead) -> Levels:
    asked, visit = question.columns, question.visit_day
    between_visits = question.next_visit_day - visit
    last = np.array(
        [NO_DATE if one.fresh_last_day is None else one.fresh_last_day for one in asked]
    )
    dated = last != NO_DATE
    # What has no date sells in time whatever is asked for.
    in_time = ahead.demand(visit, np.where(dated, np.maximum(last, visit), visit))
    in_time[~dated] = 0
    in_time[~dated, -1] = 1
    return levels(
        ahead.demand(visit, question.next_visit_day),
        Terms.of(
            [one.margin_minor for one in asked],
            [one.leftover_minor for one in asked],
            [one.waste_minor for one in asked],
            np.where(dated, np.maximum(last - visit, 1) / between_visits, 1.0),
        ),
        [one.capacity_units for one in asked],
        until_date=in_time,
        least=[one.least_units for one in asked],
    )


def _saved(seen: Outlook, question: RestockQuestion, place: int) -> float:
    return float(seen.saved_minor(question.visit_day, question.next_visit_day)[place])


def _day(days: Ints, place: int) -> int | None:
    return None if days[place] == NOT_WITHIN else int(days[place])


def _of_column(pulled: Pulls, lots: Lots, place: int) -> tuple[LotToPull, ...]:
    return tuple(
        LotToPull(number, int(pulled.units[lot]), float(pulled.chance_unsold[lot]))
        for number, lot in enumerate(np.flatnonzero(lots.column == place))
        if pulled.units[lot]
    )


def _carried(question: RestockQuestion, need: Floats) -> tuple[CarriedProduct, ...]:
    on_truck = {one.product: one for one in question.truck}
    rows: dict[str, list[int]] = {}
    for place, one in enumerate(question.columns):
        rows.setdefault(one.product, []).append(place)
    found = []
    for product, places in rows.items():
        there = on_truck.get(product, OnTruck(product))
        carried = carry(
            list(need[places]),
            question.service_level,
            on_truck=there.units,
            units_per_case=there.units_per_case,
            most_units=there.most_units,
        )
        found.append(CarriedProduct(product, carried))
    return tuple(found)


RESTOCK = Computation(
    "restock",
    "When columns run dry and what that loses, what to fill, pull and carry, and why.",
    RestockQuestion,
    Restock,
    _restock,
)
