"""A seeded simulator: what happened at each machine, and the audit files that tell of it.

The same business, dates and seed give the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

from demo.business.shapes import Business
from demo.simulator.cases import CASES, ORDINARY, stranger
from demo.simulator.files import SimulatedFile
from demo.simulator.truth import Truth
from demo.simulator.weeks import MachineWeeks

DEFAULT_SEED = 20_260_301


@dataclass(frozen=True)
class Simulated:
    """All files in the order of their delivery, and the truth beside them."""

    files: tuple[SimulatedFile, ...]
    truth: Truth


def _machines(business: Business, until: date, weeks: int, seed: int) -> Iterator[MachineWeeks]:
    first_day = until - timedelta(weeks=weeks)
    for machine in business.machines:
        yield MachineWeeks(
            business=business,
            machine=machine,
            case=CASES.get(machine.asset_tag, ORDINARY),
            set_ups=business.set_ups_of(machine.asset_tag),
            first_day=first_day,
            until=until,
            seed=seed,
        )
    unknown = stranger(until)
    yield MachineWeeks(
        business=business,
        machine=unknown.machine,
        case=ORDINARY,
        set_ups=tuple(
            replace(
                set_up,
                asset_tag=unknown.machine.asset_tag,
                starts=unknown.machine.placed_on,
            )
            for set_up in business.set_ups_of(unknown.like)
            if set_up.ends is None
        ),
        first_day=max(first_day, unknown.machine.placed_on),
        until=until,
        seed=seed,
    )


def simulate_with_truth(
    business: Business, until: date, *, weeks: int = 12, seed: int = DEFAULT_SEED
) -> Simulated:
    """Simulate the weeks up to dawn of `until`. Raises ValueError for less than one week."""
    if weeks < 1:
        raise ValueError(f"{weeks} weeks are too few; simulate one or more")
    runs = list(_machines(business, until, weeks, seed))
    files = [file for run in runs for file in run.files()]
    files.sort(key=lambda file: (file.delivered_at.timestamp(), file.name))
    return Simulated(tuple(files), Truth.of(run.cabinet.truth for run in runs))


def simulate(
    business: Business, until: date, weeks: int = 12, seed: int = DEFAULT_SEED
) -> Iterator[SimulatedFile]:
    """The files alone, in the order of their delivery."""
    yield from simulate_with_truth(business, until, weeks=weeks, seed=seed).files


__all__ = ["DEFAULT_SEED", "Simulated", "SimulatedFile", "Truth", "simulate", "simulate_with_truth"]
