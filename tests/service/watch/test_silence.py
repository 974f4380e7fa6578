"""Columns that stopped selling, and columns that only look so."""

from datetime import timedelta

import pytest

from people.models import Person
from service.watch.models import Finding, Look, LookPart
from tests.fleet.demand.sellers import column, fit_all, shop
from tests.fleet.inventory.stores import count_column
from tests.world import World

from .sold import Seller, live, looked

pytestmark = pytest.mark.django_db


def test_a_column_that_stopped_is_found_with_its_evidence(world: World) -> None:
    good, bad, slow = shop(world, 3)
    Seller(good, world.now).sell()
    Seller(bad, world.now).sell(stops={"1": 6})
    Seller(slow, world.now, rates={"1": 6.0, "2": 0.05}).sell()
    fit_all(world.owner, world.now)
    look = looked(world.now)
    assert (look.state, look.columns, look.opened) == (Look.State.DONE, 6, 1)
    assert not LookPart.objects.exclude(seen=[]).exists()
    (found,) = live()
    assert (found.machine, found.column.position.label) == (bad, "1")
    assert found.kind == Finding.Kind.SILENT
    numbers = found.evidence["numbers"]
    assert numbers["expected_units"] == pytest.approx(36, rel=0.25)
    assert numbers["silent_days"] == pytest.approx(6, abs=0.1)
    assert numbers["chance_by_rate"] < 1e-6
    assert found.strength > 2.5
    assert abs(found.since - (world.now - timedelta(days=6))) < timedelta(hours=1)
    assert found.evidence["chart"]["sold"][-6:] == [0] * 6
    weights = [cause["weight"] for cause in found.causes]
    assert weights == sorted(weights, reverse=True)
    assert "no such ticket has closed yet" in found.causes[0]["cases_said"]
    assert found.causes[0]["check_first"]


def test_a_closed_site_silences_all_and_accuses_none(world: World) -> None:
    open_one, closed_one = shop(world, 2)
    Seller(open_one, world.now).sell()
    Seller(closed_one, world.now).sell(closed=5)
    fit_all(world.owner, world.now)
    looked(world.now)
    assert not live()


def test_what_is_counted_empty_is_not_silent_and_what_is_full_is(world: World) -> None:
    machines = shop(world, 2)
    for machine, counted in zip(machines, (0, 14), strict=True):
        Seller(machine, world.now).sell(stops={"1": 6})
        count_column(
            column=column(machine, "1"),
            counted=counted,
            counted_at=world.now + timedelta(minutes=10),
            actor=world.owner,
            now=world.now + timedelta(minutes=10),
        )
    fit_all(world.owner, world.now)
    looked(world.now)
    (found,) = live()
    assert found.machine == machines[1]
    assert found.evidence["numbers"]["held_units"] == pytest.approx(14)


def test_the_machines_word_that_it_is_empty_counts_while_nobody_finds_it_full(
    world: World,
) -> None:
    """Both say that they are sold out; in one of them products were counted."""
    machines = shop(world, 2)
    for machine in machines:

        def sold_out(meter: object, left: int) -> None:
            if left == 5:
                meter.events = ["EA2*ELB_1*1*1**1"]  # type: ignore[attr-defined]

        Seller(machine, world.now).sell(stops={"1": 6}, happens=sold_out)
    count_column(
        column=column(machines[1], "1"),
        counted=11,
        counted_at=world.now + timedelta(minutes=10),
        actor=world.owner,
        now=world.now + timedelta(minutes=10),
    )
    fit_all(world.owner, world.now)
    looked(world.now)
    (found,) = live(Finding.Kind.SILENT)
    assert found.machine == machines[1]
    assert found.evidence["numbers"]["said_sold_out"] is True


def test_a_finding_closes_itself_when_the_column_sells_again(world: World) -> None:
    good, bad = shop(world, 2)
    Seller(good, world.now).sell()
    seller = Seller(bad, world.now).sell(stops={"1": 6})
    fit_all(world.owner, world.now)
    looked(world.now)
    (found,) = live()
    again = seller.read(world.now + timedelta(days=1), c1=4, c2=2)
    look = looked(again, over=Look.Over.NEWS)
    assert (look.machines, look.recovered) == (1, 1)
    found.refresh_from_db()
    assert found.state == Finding.State.RECOVERED
    assert found.recovered_at is not None
    assert "as usual" in found.recovered_said


def test_a_look_at_news_holds_to_the_mark_of_the_whole_fleet(world: World) -> None:
    machines = shop(world, 2)
    sellers = [Seller(machine, world.now).sell() for machine in machines]
    fit_all(world.owner, world.now)
    whole = looked(world.now)
    assert not live()
    # With nothing found the mark is the strictest: one among all.
    assert whole.mark == pytest.approx(0.05 / 4)
    at = world.now
    for day in range(1, 6):
        at = sellers[0].read(world.now + timedelta(days=day), c2=3)
    news = looked(at, over=Look.Over.NEWS)
    assert (news.machines, news.opened, news.mark) == (1, 1, whole.mark)
    assert [one.machine for one in live()] == [machines[0]]


def test_one_finding_of_a_place_is_brought_up_to_date(world: World, owner: Person) -> None:
    good, bad = shop(world, 2)
    Seller(good, world.now).sell()
    seller = Seller(bad, world.now).sell(stops={"1": 6})
    fit_all(owner, world.now)
    looked(world.now)
    (first,) = live()
    at = seller.read(world.now + timedelta(days=1), c2=2)
    looked(at)
    (found,) = live()
    assert (found.pk, found.looks, found.since) == (first.pk, 2, first.since)
    assert found.last_seen_at > first.last_seen_at
    assert found.evidence["numbers"]["silent_days"] > first.evidence["numbers"]["silent_days"]
