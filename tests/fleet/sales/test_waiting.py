"""The tray in piles: reads that wait alike stand together."""

from datetime import timedelta

import pytest

from fleet.machines.models import Machine
from fleet.sales.queries.waiting import pile, piles
from people.models import Person
from tests.fleet.sales.helpers import arrived, day, hand_in
from tests.fleet.sales.meter import Meter

pytestmark = pytest.mark.django_db


def _waits(meter: Meter, *numbers: int, wrong_check: bool = False) -> None:
    for number in numbers:
        data = meter.sell("1", cash=1).read(day(number), wrong_check=wrong_check)
        hand_in(data, at=arrived(day(number), timedelta(minutes=2)))


def test_one_pile_a_machine_and_reason_the_latest_first(
    lobby: Machine, dispatcher: Person, driver: Person, django_assert_num_queries: object
) -> None:
    _waits(Meter.with_buttons("1", asset="LOST-1", serial="ZZZ11"), 0, 1, 2)
    _waits(Meter.with_buttons("1", asset="", serial="ZZZ12", board=""), 3)
    _waits(Meter.with_buttons("1", asset="LOB-1"), 4, 5, wrong_check=True)
    with django_assert_num_queries(2):  # type: ignore[operator]
        found = piles(dispatcher)
        said = [(str(one.machine or one.calls_itself), one.count) for one in found]
    assert said == [("LOB-1", 2), ("ZZZ12", 1), ("LOST-1", 3)]
    for one in found:
        rows = list(pile(dispatcher, one.alike))
        assert len(rows) == one.count
        assert rows[0] == one.latest
    assert [str(one.machine) for one in piles(driver)] == ["LOB-1"]


def test_an_empty_tray_has_no_pile(dispatcher: Person, lobby: Machine) -> None:
    assert piles(dispatcher) == []
