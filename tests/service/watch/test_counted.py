"""Units that counts miss: two for one, taken at once, and counts that are only off by one."""

from datetime import timedelta

import pytest

from people.models import Person
from service.watch.models import Finding
from tests.fleet.demand.sellers import column, fit_all, shop
from tests.world import World

from .sold import Seller, Stocked, live, looked

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
