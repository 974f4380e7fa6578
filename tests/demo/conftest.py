"""Twelve weeks simulated once for all tests here; they span the end of daylight saving."""

from dataclasses import dataclass
from datetime import date

import pytest

from demo.business import Business, marrowby
from demo.simulator import Simulated, SimulatedFile, simulate_with_truth

UNTIL = date(2026, 11, 25)


@dataclass(frozen=True)
class Weeks:
    """The business, what was simulated of it, and each machine's files in the order of writing."""

    business: Business
    simulated: Simulated
    written: dict[str, list[SimulatedFile]]


@pytest.fixture(scope="session")
def business() -> Business:
    return marrowby(UNTIL)


@pytest.fixture(scope="session")
def weeks(business: Business) -> Weeks:
    simulated = simulate_with_truth(business, UNTIL)
    written: dict[str, list[SimulatedFile]] = {}
    for file in sorted(simulated.files, key=lambda file: file.written_at.timestamp()):
        written.setdefault(file.machine_tag, []).append(file)
    return Weeks(business, simulated, written)
