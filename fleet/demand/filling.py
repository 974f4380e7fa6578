"""Up to what to fill, what to pull, and what that asks of a truck, for columns looked ahead on."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fleet.compute.demand import exposures, predictive
from fleet.compute.demand.calendar import day_number
from fleet.compute.restock import dated, fill
from fleet.inventory.models import Lot, StockLevel
from fleet.sales.stock import lots_in

from .columns import Columns
from .models import DemandRules
from .prospects import Floats, Prospect

#: Waste is weighed for products that keep no longer than this; what keeps longer sells first.
KEEPS_DAYS: Final = 120


@dataclass(frozen=True)
class LotHeld:
    """A lot that lies in a column, and what of it to pull. `place` is the column's in the arrays.

    `pull` units will not have sold by their date when somebody next comes.
    """

    place: int
    lot: int
    code: str
    best_before: date
    units: int
    pull: int


@dataclass(frozen=True)
class Filling:
    """For a visit at the beginning of day `visit_day`, the next after `gaps` days each.

    `level` (N,) is what to leave in a column, `par` the same with nothing out of date; `need`
    (N, U) the chances of what is missing from the level on arrival, what is pulled counted in.
    """

    levels: fill.Levels
    level: NDArray[np.int64]
    par: NDArray[np.int64]
    need: Floats
    pulls: tuple[LotHeld, ...]

    def pulled(self, columns: int) -> NDArray[np.int64]:
        """Units to pull (N,)."""
        found = np.zeros(columns, np.int64)
        for one in self.pulls:
            found[one.place] += one.pull
        return found


def filling(
    ahead: Prospect, *, visit_day: int, gaps: NDArray[np.int64], rules: DemandRules
) -> Filling:
    """`visit_day` counts as in Prospect: 0 is now, 1 the end of the first day.

    Every gap must lie within the days looked ahead, from the visit on.
    """
    columns = ahead.columns
    by_visit = ahead.until_end_of(visit_day)
    by_next = ahead.by_day[np.arange(len(columns)), np.minimum(visit_day + gaps, ahead.days) - 1]
    demand = predictive(ahead.fitted, np.maximum(by_next - by_visit, 0))
    terms = terms_of(columns, gaps, rules)
    keeps = (columns.shelf_life_days > 0) & (columns.shelf_life_days <= KEEPS_DAYS)
    until = _until_date(ahead, demand.shape[1], keeps) if keeps.any() else None
    levels = fill.levels(demand, terms, columns.capacities, until_date=until)
    par = levels if until is None else fill.levels(demand, terms, columns.capacities)
    pulls = _pulls(ahead, visit_day, gaps)
    held = ahead.held_at(visit_day)
    out = np.zeros(len(columns), np.int64)
    for one in pulls:
        out[one.place] += one.pull
    return Filling(
        levels=levels,
        level=levels.level,
        par=par.level,
        need=fill.needs(levels.level, _without(held, out)),
        pulls=pulls,
    )


def terms_of(columns: Columns, gaps: NDArray[np.int64], rules: DemandRules) -> fill.Terms:
    """What a unit earns and costs. A unit left over costs a part of what it cost, by the rules."""
    keeps = np.where(columns.shelf_life_days > 0, columns.shelf_life_days, 10**6)
    return fill.Terms.of(
        margin_minor=columns.margin_minor,
        leftover_minor=columns.cost_minor * float(rules.leftover_part),
        waste_minor=columns.cost_minor,
        visits_to_date=np.maximum(keeps / np.maximum(gaps, 1), 1),
    )


def _until_date(ahead: Prospect, units: int, keeps: NDArray[np.bool_]) -> Floats:
    """Demand until a fresh lot's last day; certain to be enough where nothing goes out of date."""
    columns = ahead.columns
    places = np.flatnonzero(keeps)
    some = ahead.fitted.where(places)
    calendar = ahead.calendar
    calendar = type(calendar)(calendar.first_day, calendar.usual, calendar.row[places])
    by_day = exposures(some, calendar, day_number(ahead.first_day), KEEPS_DAYS).cumsum(axis=1)
    lives = columns.shelf_life_days[places]
    pmf = predictive(some, by_day[np.arange(len(places)), lives - 1])
    most = int(columns.capacities.max(initial=1))
    found = np.zeros((len(columns), max(units, pmf.shape[1], most + 1)))
    found[:, -1] = 1
    found[places] = 0
    found[places, : pmf.shape[1]] = pmf
    return found


def _pulls(ahead: Prospect, visit_day: int, gaps: NDArray[np.int64]) -> tuple[LotHeld, ...]:
    """What lies in the columns and will not have sold by its date when somebody next comes."""
    farthest = ahead.first_day + timedelta(days=visit_day + int(gaps.max(initial=0)))
    # Few columns hold a lot near its date; in which order things lie is asked of those alone.
    near = StockLevel.objects.filter(
        place__column__in=ahead.columns.ids.tolist(),
        quantity__gt=0,
        lot__best_before__lt=farthest,
    ).values_list("place__column", flat=True)
    places = {column: at for at, column in enumerate(ahead.columns.ids.tolist())}
    held = {places[column]: runs for column, runs in lots_in(sorted(set(near)), ahead.at).items()}
    if not any(held.values()):
        return ()
    used = list(held)
    rows = [
        (number, order, run)
        for number, place in enumerate(used)
        for order, run in enumerate(held[place])
        if run.quantity > 0
    ]
    by_day = predictive_days(
        ahead, np.array(used), min(visit_day + int(gaps[used].max()), ahead.days)
    )
    told = dated.Lots.of(
        column=[number for number, _, _ in rows],
        units=[run.quantity for _, _, run in rows],
        last_day=[
            dated.NO_DATE if run.best_before is None else ahead.day(run.best_before)
            for _, _, run in rows
        ],
        order=[order for _, order, _ in rows],
    )
    found = dated.pulls(told, visit_day + gaps[used], by_day)
    codes = dict(
        Lot.objects.filter(pk__in=[run.lot for _, _, run in rows if run.lot]).values_list(
            "pk", "code"
        )
    )
    return tuple(
        LotHeld(used[number], run.lot, codes[run.lot], run.best_before, run.quantity, pull)
        for (number, _, run), pull in zip(rows, found.units.tolist(), strict=True)
        if pull and run.lot is not None and run.best_before is not None
    )


def predictive_days(ahead: Prospect, places: NDArray[np.int64], days: int) -> list[Floats]:
    some = ahead.fitted.where(places)
    return [predictive(some, ahead.by_day[places, day]) for day in range(days)]


def _without(held: Floats, out: NDArray[np.int64]) -> Floats:
    """What is left of the chances of being held when so many are taken out."""
    if not out.any():
        return held
    found = held.copy()
    for place in np.flatnonzero(out):
        many = min(int(out[place]), held.shape[1] - 1)
        found[place] = 0
        found[place, : held.shape[1] - many] = held[place, many:]
        found[place, 0] += held[place, :many].sum()
    return found


def by_machine(columns: Columns) -> dict[int, list[int]]:
    """The places of each machine's columns."""
    found: dict[int, list[int]] = defaultdict(list)
    for place, machine in enumerate(columns.machines.tolist()):
        found[machine].append(place)
    return dict(found)


def places_of(columns: Columns, wanted: Sequence[int]) -> NDArray[np.int64]:
    """The places of some columns by their keys; those that hold nothing are left out."""
    return np.flatnonzero(np.isin(columns.ids, np.asarray(wanted, np.int64)))
