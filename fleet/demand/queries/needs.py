"""What machines need on a day, for whoever plans who drives where with what."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final

import numpy as np

from fleet.inventory.models import SupplierItem
from fleet.machines.models import Machine
from people.errors import Unacceptable

from ..columns import Columns, columns_of, demand_of
from ..filling import Filling, by_machine, filling
from ..gaps import usual_gaps
from ..models import ColumnDemand, DemandRules
from ..prospects import Prospect, at_quantile, look_ahead, means

FARTHEST_DAYS: Final = 120


@dataclass(frozen=True, slots=True)
class NeedLine:
    """One column's need at the visit.

    `level` is what to leave in it, `par` the same with nothing out of date; `expected_fill` the
    mean of what is missing on arrival, `fill_quantile` what is enough at the truck's level,
    `need_chances` the chances that 0, 1, 2, ... are missing (for a truck that serves several).
    `pull` units of it will be out of date before somebody next comes, `pull_lots` by lot key.
    """

    column: int
    product: int
    capacity: int
    level: int
    par: int
    expected_stock: float
    expected_fill: float
    fill_quantile: int
    need_chances: tuple[float, ...]
    pull: int
    pull_lots: Mapping[int, int]
    from_pool: bool


@dataclass(frozen=True, slots=True)
class MustGo:
    """Why a machine has to be visited whatever it costs: a stable code, and words."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class MachineNeed:
    """What a visit on a day saves against the next chance, and what it takes.

    `prize_minor` is the expected margin saved, `units_at_stake` the expected units asked for in
    vain in between; volume, weight and cases are of `fill_quantile` of every line. `cases` counts
    parts of cases of products whose cases are known, `without_case` the units of the others.
    """

    machine: int
    prize_minor: int
    units_at_stake: float
    lines: tuple[NeedLine, ...]
    must_go: tuple[MustGo, ...]
    volume_ml: float
    weight_g: float
    cases: float
    without_case: int
    basis: Mapping[str, int] = field(default_factory=dict)


def machine_needs(
    machines: Iterable[Machine],
    *,
    day: date,
    next_chance: date | Mapping[int, date],
    now: datetime,
) -> dict[int, MachineNeed]:
    """What each machine needs on `day`, if it could next be visited on `next_chance`.

    `next_chance` is one day for all, or one by machine key. What is filled is to last until the
    machine's usual next visit after `day`, or until `next_chance` where that is later. Machines
    without a column set up come back with nothing at stake. A fixed number of queries.
    """
    keys = sorted({machine.pk for machine in machines})
    found = {key: _nothing(key) for key in keys}
    columns = columns_of(keys)
    if not len(columns):
        return found
    rules = DemandRules.the()
    chances = {key: _chance(next_chance, key) for key in keys}
    gaps_by = usual_gaps(keys, now=now, usual=rules.usual_gap_days)
    demands = demand_of(columns)
    bases = dict(
        ColumnDemand.objects.filter(column__in=columns.ids.tolist()).values_list("column", "basis")
    )
    cases = _units_per_case(columns)
    for places in _by_whole_machines(columns):
        some = columns.where(places)
        later = np.array([chances[one].toordinal() for one in some.machines.tolist()])
        gaps = np.array([gaps_by[one] for one in some.machines.tolist()], np.int64)
        gaps = np.maximum(gaps, later - day.toordinal())
        reach = _reach(now, day, int(gaps.max()))
        ahead = look_ahead(some, demands.fitted.where(places), at=now, days=reach)
        visit = ahead.day(day) - 1
        if visit < 0:
            raise Unacceptable(f"{day} is past", fields={"day": "give today or a day to come"})
        if (later <= day.toordinal()).any():
            message = f"the next chance must come after {day}"
            raise Unacceptable(message, fields={"next_chance": message})
        filled = filling(ahead, visit_day=visit, gaps=gaps, rules=rules)
        nexts = np.minimum(visit + later - day.toordinal(), ahead.days)
        lost = _lost(ahead, visit, nexts)
        lines = _lines(some, ahead, filled, visit, ~demands.own[places], rules)
        for machine, mine in by_machine(some).items():
            found[machine] = _machine(
                machine, mine, some, lines, lost, filled, ahead, chances[machine], cases, bases
            )
    return found


def _lost(ahead: Prospect, visit: int, nexts: np.ndarray) -> np.ndarray:
    """Units (N,) asked for in vain between the visit and the next chance if it is left out."""
    outlook = ahead.outlook(int(nexts.max()))
    lost = np.pad(outlook.units_lost, ((0, 0), (1, 0)))
    rows = np.arange(len(ahead.columns))
    return lost[rows, nexts] - lost[:, visit]


def _lines(
    columns: Columns,
    ahead: Prospect,
    filled: Filling,
    visit: int,
    pooled: np.ndarray,
    rules: DemandRules,
) -> list[NeedLine]:
    enough = at_quantile(filled.need, float(rules.truck_level)).tolist()
    expected = means(filled.need).tolist()
    stock = means(ahead.held_at(visit)).tolist()
    lots: dict[int, dict[int, int]] = {}
    for one in filled.pulls:
        mine = lots.setdefault(one.place, {})
        mine[one.lot] = mine.get(one.lot, 0) + one.pull
    return [
        NeedLine(
            column=columns.ids[at].item(),
            product=columns.products[at].item(),
            capacity=columns.capacities[at].item(),
            level=filled.level[at].item(),
            par=filled.par[at].item(),
            expected_stock=stock[at],
            expected_fill=expected[at],
            fill_quantile=enough[at],
            need_chances=tuple(filled.need[at, : filled.level[at] + 1].tolist()),
            pull=sum(lots.get(at, {}).values()),
            pull_lots=lots.get(at, {}),
            from_pool=bool(pooled[at]),
        )
        for at in range(len(columns))
    ]


def _machine(
    machine: int,
    mine: list[int],
    columns: Columns,
    lines: list[NeedLine],
    lost: np.ndarray,
    filled: Filling,
    ahead: Prospect,
    next_chance: date,
    cases: dict[int, int],
    bases: dict[int, str],
) -> MachineNeed:
    own = [lines[at] for at in mine]
    units = np.array([line.fill_quantile for line in own])
    doomed = [one for one in filled.pulls if one.place in set(mine)]
    early = [one for one in doomed if one.best_before < next_chance]
    must_go: tuple[MustGo, ...] = ()
    if early:
        count, first = sum(one.pull for one in early), min(one.best_before for one in early)
        units_said = "1 unit" if count == 1 else f"{count} units"
        text = f"{units_said} will be out of date before {next_chance}, the first on {first}."
        must_go = (MustGo("out_of_date", text),)
    basis: dict[str, int] = {}
    for at, line in zip(mine, own, strict=True):
        told = ColumnDemand.Basis.POOL if line.from_pool else bases.get(line.column, "pool")
        for word in (f"demand: {told}", f"stock: {ahead.stocks[at].basis}"):
            basis[word] = basis.get(word, 0) + 1
    in_cases = [line for line in own if line.product in cases]
    return MachineNeed(
        machine=machine,
        prize_minor=round(float((lost * columns.margin_minor)[mine].sum())),
        units_at_stake=float(lost[mine].sum()),
        lines=tuple(own),
        must_go=must_go,
        volume_ml=float(units @ columns.volume_ml[mine]),
        weight_g=float(units @ columns.weight_g[mine]),
        cases=sum(line.fill_quantile / cases[line.product] for line in in_cases),
        without_case=sum(line.fill_quantile for line in own if line.product not in cases),
        basis=basis,
    )


def _by_whole_machines(columns: Columns) -> list[np.ndarray]:
    """Blocks of places that hold whole machines."""
    order = np.lexsort((columns.ids, columns.machines))
    blocks, first = [], 0
    while first < len(order):
        last = min(first + 4_000, len(order))
        while last < len(order) and (
            columns.machines[order[last]] == columns.machines[order[last - 1]]
        ):
            last += 1
        blocks.append(order[first:last])
        first = last
    return blocks


def _reach(now: datetime, day: date, gap: int) -> int:
    return min(max((day - now.date()).days, 0) + gap + 2, FARTHEST_DAYS)


def _chance(given: date | Mapping[int, date], machine: int) -> date:
    return given if isinstance(given, date) else given[machine]


def _units_per_case(columns: Columns) -> dict[int, int]:
    rows = SupplierItem.objects.filter(product__in=np.unique(columns.products).tolist())
    # The preferred supplier's case last, so that it is the one that stands.
    ordered = rows.order_by("preferred", "pk")
    return dict(ordered.values_list("product", "units_per_case"))


def _nothing(machine: int) -> MachineNeed:
    return MachineNeed(machine, 0, 0.0, (), (), 0.0, 0.0, 0.0, 0)
