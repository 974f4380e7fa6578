"""How much of a product to carry when the need is known only at the machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fleet.compute.columns import Floats
from fleet.compute.restock.distributions import as_pmf, means, quantiles, total
from fleet.compute.results import Reason
from fleet.compute.units import BadMeasure, require_between, require_count


@dataclass(frozen=True, slots=True)
class Carried:
    """What to load of one product for all its columns of a run.

    - `required`: units to have on the truck so that the service level is met.
    - `load`: units to put on it, what is there deducted; whole cases if a case was given.
    - `cases`: those cases, None without a case.
    - `served`: the chance that the truck then meets every column's need.
    - `expected`: the mean of the need; `short`, `left`: expected units missing, and brought back.
    - `column_by_column`: what the same level would take if each column were packed by itself: the
      pooling of the columns saves the rest.
    """

    required: int
    on_truck: int
    load: int
    cases: int | None
    served: float
    expected: float
    short: float
    left: float
    column_by_column: int
    reasons: tuple[Reason, ...]


def carry(
    needs: Sequence[ArrayLike] | Floats,
    service_level: float,
    *,
    on_truck: int = 0,
    units_per_case: int | None = None,
    most_units: int | None = None,
) -> Carried:
    """What to carry of one product so that all its columns can be filled at a service level.

    - `needs`: for each column the chances of needing 0, 1, ... units (see `fill.needs`); rows may
      differ in length. None at all carries nothing.
    - `service_level`: from 0 to 1, the chance that nobody misses a unit.
    - `on_truck`: units there already. `units_per_case`: round what is loaded up to whole cases.
    - `most_units`: no more than this on the truck (what is to be had, or what there is room for).

    The need of all is the convolution of the needs of each, taken as independent.
    """
    require_between("service_level", service_level, 0.0, 1.0, "chance")
    require_count("on_truck", on_truck, least=0)
    if units_per_case is not None:
        require_count("units_per_case", units_per_case)
    if most_units is not None:
        require_count("most_units", most_units, least=0)
    rows = [as_pmf(f"needs.{number}", one) for number, one in enumerate(needs)]
    if any(row.shape[0] != 1 for row in rows):
        raise BadMeasure("needs", "give one row of chances a column")
    width = max((row.shape[1] for row in rows), default=1)
    each = np.zeros((max(len(rows), 1), width))
    each[:, 0] = 1 if not rows else 0
    for number, row in enumerate(rows):
        each[number, : row.shape[1]] = row[0]
    every = total(each)
    required = int(quantiles(every[np.newaxis, :], service_level)[0])
    missing = max(required - on_truck, 0)
    room = None if most_units is None else max(most_units - on_truck, 0)
    load, cases = missing if room is None else min(missing, room), None
    if units_per_case is not None:
        cases = -(-missing // units_per_case)
        if room is not None:
            cases = min(cases, room // units_per_case)
        load = cases * units_per_case
    carried = on_truck + load
    at = np.arange(every.size)
    expected = float(means(every[np.newaxis, :])[0])
    short = float(every @ np.maximum(at - carried, 0))
    alone = int(quantiles(each, service_level).sum())
    served = float(min(every[: carried + 1].sum(), 1.0))
    return Carried(
        required=required,
        on_truck=on_truck,
        load=load,
        cases=cases,
        served=served,
        expected=expected,
        short=short,
        left=max(carried - expected + short, 0.0),
        column_by_column=alone,
        reasons=(
            Reason(
                "pooled_need",
                f"{len(rows)} columns need {expected:.1f} on average; {required} are enough in "
                f"{service_level:.0%} of cases, {alone} if each column were packed by itself.",
                {
                    "columns": len(rows),
                    "expected": expected,
                    "required": required,
                    "column_by_column": alone,
                    "service_level": service_level,
                },
            ),
            Reason(
                "load",
                f"{on_truck} are on the truck; load {load}"
                + (f", that is {cases} cases of {units_per_case}" if cases is not None else "")
                + f". All needs are then met with a chance of {served:.0%}.",
                {
                    "on_truck": on_truck,
                    "load": load,
                    "cases": cases,
                    "units_per_case": units_per_case,
                    "served": served,
                },
            ),
        ),
    )
