"""A seeded simulator: what happened at each machine, and the audit files that tell of it.

The same business, dates and seed give the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from demo.business.shapes import Business
from demo.simulator.days import Days
from demo.simulator.files import SimulatedFile
from demo.simulator.truth import Truth

DEFAULT_SEED = 20_260_301


@dataclass(frozen=True)
class Simulated:
    """All files in the order of their delivery, and the truth beside them."""

    files: tuple[SimulatedFile, ...]
    truth: Truth


def simulate_with_truth(
    business: Business, until: date, *, weeks: int = 12, seed: int = DEFAULT_SEED
) -> Simulated:
    """Simulate the weeks up to dawn of `until`. Raises ValueError for less than one week."""
    if weeks < 1:
        raise ValueError(f"{weeks} weeks are too few; simulate one or more")
    days = Days(business, until - timedelta(weeks=weeks), until, seed)
    files = sorted(days.files(), key=lambda file: (file.delivered_at.timestamp(), file.name))
    return Simulated(tuple(files), days.truth())


def simulate(
    business: Business, until: date, weeks: int = 12, seed: int = DEFAULT_SEED
) -> Iterator[SimulatedFile]:
    """The files alone, in the order of their delivery."""
    yield from simulate_with_truth(business, until, weeks=weeks, seed=seed).files


__all__ = ["DEFAULT_SEED", "Simulated", "SimulatedFile", "Truth", "simulate", "simulate_with_truth"]
