"""A machine that sold for cards, for tests of settlements and of commission."""

import pytest

from fleet.machines.models import Machine

from .helpers import day, take
from .meter import Meter


@pytest.fixture
def sold(lobby: Machine) -> Machine:
    """Ten days of February with 40 vends by card at 1.75."""
    meter = Meter.with_buttons("1", "2")
    take(meter, day(0))
    take(meter.sell("1", cashless=40), day(10))
    return lobby
