"""Units that counts miss: two for one, taken at once, and counts that are only off by one."""

from datetime import timedelta
from typing import Any

import pytest

from fleet.sales.actions.receive import ReceivedFile, receive
from fleet.sales.actions.settling import settle_counts
from people.models import Person
from service.watch.models import Finding
from tests.fleet.demand.sellers import column, fit_all, shop
from tests.world import World

from .sold import Seller, Stocked, live, local, looked

pytestmark = pytest.mark.django_db
KINDS = (Finding.Kind.TWO_FOR_ONE, Finding.Kind.MISSING)
RATES = {"1": 0.0, "2": 0.0}


def test_two_for_one_is_found_and_goes_with_the_vends(world: World, owner: Person) -> None:
    fine, double = shop(world, 2)
    # Loaded two deep and programmed for one: the motor runs on after a drop.
    held = column(double, "1")
    world.set_up(
        held,
        held.set_ups.get().product,
        deep=2,
        front_setting=20,
        program=double.kind.programs.get(name="run on"),
        starts_at=world.now - timedelta(days=100),
    )
    Stocked(Seller(fine, world.now, rates=RATES), owner).sell(weeks=7, a_week=9, extra={3: 1})
    Stocked(Seller(double, world.now, rates=RATES), owner).sell(weeks=7, a_week=8, always=3)
    fit_all(owner, world.now)
    looked(world.now)
    (found,) = live(*KINDS)
    assert (found.machine, found.kind) == (double, Finding.Kind.TWO_FOR_ONE)
    numbers = found.evidence["numbers"]
    assert (numbers["vended_units"], numbers["missing_units"]) == (56, 21)
    assert numbers["nature"] == "steady"
    assert found.evidence["chart"]["missing"] == [3] * 7
    likeliest = found.causes[0]
    assert likeliest["code"] == "depth_program"
    assert "programmed 1 deep and loaded 2 deep" in " ".join(likeliest["why"])
    assert likeliest["weight"] > 0.5
    assert likeliest["cautions"]


def test_what_went_at_once_is_missing_and_not_two_for_one(world: World, owner: Person) -> None:
    (machine,) = shop(world, 1)
    Stocked(Seller(machine, world.now, rates=RATES), owner).sell(weeks=7, a_week=9, extra={1: 9})
    fit_all(owner, world.now)
    looked(world.now)
    (found,) = live(*KINDS)
    assert found.kind == Finding.Kind.MISSING
    assert found.evidence["numbers"]["missing_units"] == 9


def test_what_stopped_by_itself_is_not_found(world: World, owner: Person) -> None:
    (machine,) = shop(world, 1)
    Stocked(Seller(machine, world.now, rates=RATES), owner).sell(
        weeks=8, a_week=8, extra={7: 3, 6: 3}
    )
    fit_all(owner, world.now)
    looked(world.now)
    assert not live(*KINDS)


def test_what_was_sold_before_a_board_was_exchanged_is_not_missing(
    world: World, owner: Person
) -> None:
    (machine,) = shop(world, 1)
    Stocked(Seller(machine, world.now, rates=RATES), owner).sell(weeks=7, a_week=9, new_board=1)
    fit_all(owner, world.now)
    looked(world.now)
    assert not live(*KINDS)


def test_what_another_column_of_the_button_had_too_many_of_is_not_missing_once_that_is_set_anew(
    world: World, owner: Person
) -> None:
    """The machine counts vends of the button, and half of them is put down to either column."""
    (usual,) = shop(world, 1)
    cola = column(usual, "1").set_ups.get().product
    wired = world.machine(
        "M-wired",
        usual.kind,
        site=world.site("Mill"),
        selections=[{"code": "1", "positions": ["1", "2"]}],
    )
    until = world.now
    stop = usual.kind.programs.get(name="stop")
    settings: dict[str, Any] = {"deep": 2, "front_setting": 20, "program": stop}
    start = until - timedelta(weeks=7)
    begin = {**settings, "starts_at": start - timedelta(days=1)}
    for label in ("1", "2"):
        world.set_up(world.column(wired, label), cola, **begin)
    seller = Seller(wired, until, rates={"1": 0.0})
    first, second = (Stocked(seller, owner, label=label) for label in ("1", "2"))
    # All that is sold comes from column 1, as a board does whose column 2 is skipped.
    files = [seller.meter.read(local(start))]
    truck = first.truck(column(wired, "1"), start)
    for week in range(8):
        at = start + timedelta(weeks=week)
        if week:
            seller.meter.sell("1", cash=8)
            files.append(seller.meter.read(local(at)))
        first.visit(column(wired, "1"), truck, at=at, counted=12 if week else 0)
        second.visit(column(wired, "2"), truck, at=at, counted=20 if week else 0)
    receive(files=[ReceivedFile("", one) for one in files], source="api", actor=None, now=until)
    settle_counts(wired, until)
    fit_all(owner, until)
    looked(until)
    assert not live(*KINDS)
    world.set_up(column(wired, "2"), cola, **settings, starts_at=until)
    looked(until)
    assert not live(*KINDS)
