"""From a selection's sales to its columns: shares, set-ups in force, running dry."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.machines.models import Machine, Product
from tests.fleet.sales.helpers import arrived, day, faults, take, told
from tests.fleet.sales.meter import Meter
from tests.world import World


@pytest.fixture
def twin(world: World) -> Machine:
    """Button 7 draws on two columns, one holding twice what the other does."""
    machine = world.machine(
        "TWIN-1",
        world.kind(),
        site=world.site(),
        selections=[{"code": "7", "positions": ["1", "2"]}, {"code": "8", "positions": ["4"]}],
    )
    cola = world.product("Cola", world.can())
    world.set_up(world.column(machine, "1"), cola, capacity=20)
    world.set_up(world.column(machine, "2"), cola, capacity=10)
    return machine


def test_a_selection_on_two_columns_is_shared_out_and_says_so(twin: Machine) -> None:
    meter = Meter.with_buttons("7", "8", asset="TWIN-1")
    take(meter, day(0))
    take(meter.sell("7", cash=5, cashless=5, test=2), day(1))
    (interval,) = told(twin)
    front, rear = interval.lines.filter(selection_code="7").order_by("column__position__label")
    assert (front.paid_units, rear.paid_units) == (7, 3)
    assert (front.paid_minor, rear.paid_minor) == (7 * 175, 3 * 175)
    for line in (front, rear):
        assert line.cash_units + line.cashless_units == line.paid_units
        assert line.cash_minor == line.cash_units * 175
        assert line.cashless_minor == line.cashless_units * 175
    assert front.test_units + rear.test_units == 2
    assert front.is_share
    assert rear.is_share
    assert front.share_said == "shared out on columns 1, 2 by capacity, 20 to 10"
    assert not faults([interval])
    (alone,) = interval.lines.filter(selection_code="8")
    assert (alone.is_share, alone.share_said) == (False, "")


def test_without_a_known_capacity_columns_share_equally(twin: Machine) -> None:
    twin.columns.get(position__label="2").set_ups.all().delete()
    meter = Meter.with_buttons("7", "8", asset="TWIN-1")
    take(meter, day(0))
    take(meter.sell("7", cash=4), day(1))
    (interval,) = told(twin)
    lines = interval.lines.filter(selection_code="7").order_by("column__position__label")
    assert [line.paid_units for line in lines] == [2, 2]
    assert "equally" in lines[0].share_said


def test_a_line_names_the_set_up_in_force(lobby: Machine, world: World) -> None:
    """Changed over in the second of three intervals: the longer lasting is named, and said so."""
    meter = Meter.with_buttons("1", "2")
    column = world.column(lobby, "1")
    old = column.set_ups.get()
    new = world.set_up(
        column,
        Product.objects.get(name="Tea"),
        price=Decimal("2.25"),
        starts_at=arrived(day(1), timedelta(hours=5)),
    )
    for n in range(4):
        take(meter.sell("1", cash=1), day(n))
    lines = [interval.lines.get(selection_code="1") for interval in told(lobby)]
    assert [line.set_up for line in lines] == [old, new, new]
    assert [line.spans_set_ups for line in lines] == [False, True, False]
    codes = [warning["code"] for warning in told(lobby)[1].warnings]
    assert "set_up_changed" in codes


def test_running_dry_keeps_its_evidence(lobby: Machine) -> None:
    meter = Meter.with_buttons("1", "2")
    take(meter, day(0))
    meter.events = ["EA2*ELB_1*1*1**1", "EA1*ELB_1*20260202*1730"]
    take(meter.sell("1", cash=9), day(1))
    (interval,) = told(lobby)
    line = interval.lines.get(selection_code="1")
    assert line.ran_dry == "strong"
    assert line.evidence[0]["at"] == "2026-02-02T17:30:00"
    assert interval.lines.get(selection_code="2").ran_dry == ""


def test_a_change_of_price_shows_in_the_line(lobby: Machine) -> None:
    meter = Meter.with_buttons("1", "2")
    take(meter, day(0))
    meter.buttons["1"].price = 200
    take(meter.sell("1", cash=2), day(1))
    (interval,) = told(lobby)
    line = interval.lines.get(selection_code="1")
    assert (line.paid_units, line.paid_minor, line.price_minor) == (2, 400, 200)
