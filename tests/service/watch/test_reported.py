"""What machines report: events, warm cabinets, power; clocks; losses while sold out."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.inventory.actions import counts
from fleet.inventory.actions.counts import ColumnCount
from fleet.machines.models import Kind
from people.models import Person
from service.upkeep.actions.work import take_reading
from service.upkeep.models import Reading
from service.watch.actions import rules
from service.watch.models import Finding
from tests.fleet.demand.sellers import column, fit_all, shop
from tests.fleet.sales.meter import Meter
from tests.world import World

from .sold import Seller, hand_in, live, looked

pytestmark = pytest.mark.django_db
JAM = ["EA1*EJB_1*20260301*193011*12", "EA2*EJB_1*1*3**1*1295"]


def test_an_urgent_event_is_found_and_one_of_filling_is_not(world: World) -> None:
    jammed, empty = shop(world, 2)
    for machine, lines in ((jammed, JAM), (empty, ["EA2*ELB_1*1*1**1"])):
        seller = Seller(machine, world.now, days=3)
        seller.meter.events = lines
        seller.sell()
    looked(world.now)
    (found,) = live(Finding.Kind.EVENT)
    assert (found.machine, found.key) == (jammed, "EJB_1")
    assert "The machine reports" in found.said
    assert "motor" in {cause["code"] for cause in found.causes}


def test_an_event_that_is_over_closes_its_finding(world: World) -> None:
    (machine,) = shop(world, 1)
    seller = Seller(machine, world.now, days=3)
    seller.meter.events = JAM
    seller.sell()
    looked(world.now)
    (found,) = live(Finding.Kind.EVENT)
    seller.meter.events = []
    looked(seller.read(world.now + timedelta(days=1), c1=5, c2=2))
    found.refresh_from_db()
    assert found.state == Finding.State.RECOVERED


def test_power_lost_again_and_again_is_found_and_twice_is_not(world: World) -> None:
    often, twice = shop(world, 2)
    for machine, times in ((often, 5), (twice, 2)):
        seller = Seller(machine, world.now, days=8)
        seller.meter.events = [f"EA1*OCF*202602{22 + n}*0305" for n in range(2, 2 + times)]
        seller.sell()
    looked(world.now)
    (found,) = live(Finding.Kind.POWER)
    assert found.machine == often
    assert found.evidence["numbers"]["losses"] == 5
    assert found.causes[0]["code"] == "site_power"


def test_a_warm_cabinet_is_found_by_what_somebody_read_off(world: World, owner: Person) -> None:
    warm, cold, dry = shop(world, 3)
    Kind.objects.filter(pk=warm.kind_id).update(energy_class="B")
    for machine, values in ((warm, (4, 11, 12)), (cold, (4, 5, 4)), (dry, (4, 12, 4))):
        for index, value in enumerate(values):
            at = world.now - timedelta(hours=9 - 4 * index)
            take_reading(
                machine=machine,
                what=Reading.What.CABINET_C,
                value=Decimal(value),
                at=at,
                actor=owner,
                now=at,
            )
    looked(world.now)
    (found,) = live(Finding.Kind.WARM)
    assert found.machine == warm
    assert found.evidence["numbers"]["still_warm"] is True
    assert abs(found.since - (world.now - timedelta(hours=5))) < timedelta(minutes=1)


def test_a_clock_that_is_wrong_is_found_and_a_file_that_waited_is_not(world: World) -> None:
    wrong, right = shop(world, 2)
    for machine, off in ((wrong, timedelta(hours=2)), (right, timedelta(0))):
        seller = Seller(machine, world.now, days=1)
        for day in range(5, -1, -1):
            seller.meter.sell("1", cash=3)
            late = timedelta(hours=-5) if machine == right and day == 2 else timedelta(0)
            hand_in(seller.meter, world.now - timedelta(days=day), off + late)
    looked(world.now)
    (found,) = live(Finding.Kind.CLOCK)
    assert found.machine == wrong
    numbers = found.evidence["numbers"]
    assert numbers["off_minutes"] == pytest.approx(120, abs=5)
    assert numbers["whole_hours"] is True
    assert found.causes[0]["code"] == "clock_not_set"


def test_files_that_always_wait_until_evening_are_no_slow_clock(world: World) -> None:
    waited, slow = shop(world, 2)
    for machine in (waited, slow):
        seller = Seller(machine, world.now, days=1)
        for day, hours in zip(range(5, -1, -1), (7, 6.5, 9, 8, 10, 6), strict=True):
            seller.meter.sell("1", cash=3)
            late = timedelta(hours=-hours if machine == waited else -2)
            hand_in(seller.meter, world.now - timedelta(days=day), late)
    looked(world.now)
    (found,) = live(Finding.Kind.CLOCK)
    assert found.machine == slow


def test_a_count_at_the_visit_tells_a_slow_clock_from_a_file_that_waited(
    world: World, owner: Person
) -> None:
    """Waits that agree would look like a slow clock, and waits that do not would hide one."""
    waited, slow = shop(world, 2)
    hours = {waited: (5.0,) * 6, slow: (7, 3.5, 9, 2, 10, 1.5)}
    for machine, waits in hours.items():
        seller = Seller(machine, world.now, days=1)
        behind = timedelta(hours=2) if machine == slow else timedelta(0)
        for day, wait in zip(range(5, -1, -1), waits, strict=True):
            received = world.now - timedelta(days=day)
            visit = received - timedelta(hours=wait)
            seller.meter.sell("1", cash=3)
            counts.count_columns(
                counts=[ColumnCount(column(machine, "1"), 12)],
                counted_at=visit,
                actor=owner,
                now=visit + timedelta(minutes=5),
            )
            hand_in(seller.meter, received, -timedelta(hours=wait) - behind)
    looked(world.now)
    (found,) = live(Finding.Kind.CLOCK)
    assert found.machine == slow
    assert found.evidence["numbers"]["off_minutes"] == pytest.approx(-120, abs=5)


def test_what_is_lost_by_standing_empty_is_found_above_the_limit(
    world: World, owner: Person
) -> None:
    often, once = shop(world, 2)

    def runs_dry(meter: Meter, left: int) -> None:
        """In the last four weeks it holds two a day and is sold out."""
        if left < 28:
            meter.sell("1", cash=2)
            meter.events = [f"EA2*ELB_1*1*{28 - left}**1"]

    def ran_dry(meter: Meter, left: int) -> None:
        meter.events = ["EA2*ELB_1*1*1**1"] if left == 3 else []

    Seller(often, world.now).sell(stops={"1": 28}, happens=runs_dry)
    Seller(once, world.now).sell(happens=ran_dry)
    fit_all(owner, world.now)
    looked(world.now)
    (found,) = live(Finding.Kind.SOLD_OUT)
    assert (found.machine, found.column.position.label) == (often, "1")
    numbers = found.evidence["numbers"]
    assert numbers["margin_minor_a_week"] > numbers["limit_minor_a_week"] == 1000
    rules.change_limits(changes={"sold_out_loss": Decimal(1000)}, actor=owner, now=world.now)
    looked(world.now + timedelta(hours=1))
    found.refresh_from_db()
    assert found.state == Finding.State.RECOVERED
