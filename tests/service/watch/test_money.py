"""Takings against the price, and bags against the meter."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.machines.models import Machine
from fleet.sales.actions.bags import count_bag, seal
from people.models import Person
from service.watch.models import Finding
from tests.fleet.demand.sellers import fit_all, shop
from tests.world import World

from .sold import Seller, live, looked

pytestmark = pytest.mark.django_db


def test_a_wrong_price_is_found_until_it_is_set_right(world: World, owner: Person) -> None:
    right, wrong = shop(world, 2)
    Seller(right, world.now, days=21).sell()
    seller = Seller(wrong, world.now, days=21, price=150).sell()
    fit_all(owner, world.now)
    looked(world.now)
    found = live(Finding.Kind.PRICE)
    assert {one.machine for one in found} == {wrong}
    assert len(found) == 2
    numbers = found[0].evidence["numbers"]
    assert (numbers["charged_minor"], numbers["least_price_minor"]) == (150, 175)
    assert numbers["off_minor"] == -25 * numbers["paid_units"]
    assert found[0].causes[0]["code"] == "wrong_price"
    for button in seller.meter.buttons.values():
        # What was sold at the old price stays counted in the machine's totals.
        seller.meter.base_minor -= 25 * button.paid
        seller.meter.base_cash_minor -= 25 * button.cash
        button.price = 175
    at = world.now
    for day in (1, 2, 3):
        at = seller.read(world.now + timedelta(days=day), c1=6, c2=6)
    looked(at)
    assert not live(Finding.Kind.PRICE)


def bagged(
    machine: Machine, owner: Person, until: object, short: dict[int, int], weeks: int = 8
) -> None:
    """Weekly bags of a machine whose meter says 40.00 a week; `short`: cents by weeks before."""
    seller = Seller(machine, until, days=7 * weeks, rates={"1": 1.0, "2": 1.0})  # type: ignore[arg-type]
    boxed = 0
    per_day = 4000 // 7

    def to_box(meter: object, left: int) -> None:
        nonlocal boxed
        boxed += per_day
        meter.events = [f"CA3*0*0*0*0*{boxed}*{boxed}*0*0"]  # type: ignore[attr-defined]

    seller.meter.events = ["CA3*0*0*0*0*0*0*0*0"]
    seller.sell(happens=to_box)
    for left in range(weeks, -1, -1):
        at = seller.until - timedelta(weeks=left) + timedelta(minutes=10)
        bag = seal(
            seal_number=f"{machine.asset_tag}-{left}",
            machine=machine,
            sealed_at=at,
            actor=owner,
            now=at,
        )
        wobble = (left * 37) % 90 - 45
        amount = 7 * per_day - short.get(left, 0) + wobble
        count_bag(
            bag=bag,
            amount=Decimal(amount) / 100,
            counted_at=at + timedelta(minutes=5),
            actor=owner,
            now=at + timedelta(minutes=5),
        )


def test_a_run_of_short_bags_is_found_and_coin_tubes_are_not(world: World, owner: Person) -> None:
    whole, short = shop(world, 2)
    bagged(whole, owner, world.now, {})
    bagged(short, owner, world.now, dict.fromkeys(range(5), 900))
    fit_all(owner, world.now)
    looked(world.now)
    (found,) = live(Finding.Kind.CASH)
    assert found.machine == short
    numbers = found.evidence["numbers"]
    assert numbers["difference_minor"] == pytest.approx(-4500, abs=400)
    assert numbers["bags"] == 8
    assert found.column is None
    assert len(found.evidence["chart"]["counted"]) == 8


def test_a_bag_that_is_counted_again_counts_by_its_last_count(world: World, owner: Person) -> None:
    (machine,) = shop(world, 1)
    bagged(machine, owner, world.now, {0: 3500})
    fit_all(owner, world.now)
    looked(world.now)
    (found,) = live(Finding.Kind.CASH)
    bag = machine.bags.order_by("-sealed_at").first()
    assert bag is not None
    now = world.now + timedelta(hours=2)
    count_bag(bag=bag, amount=Decimal("39.97"), counted_at=now, actor=owner, now=now, note="again")
    looked(now)
    found.refresh_from_db()
    assert found.state == Finding.State.RECOVERED
