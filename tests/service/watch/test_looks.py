"""Looks as work: dealt out, taken once, lost and taken again; bounded questions to the database."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from people.errors import Unable
from people.models import Person
from service.compute.watch.cause_codes import CauseCode
from service.tickets.models import Cause
from service.watch.actions import looking, looks
from service.watch.actions.errors import PartLost
from service.watch.actions.findings import SYMPTOMS
from service.watch.gathering.everything import look_at
from service.watch.models import Finding, Look, LookPart, WatchLimits
from tests.fleet.demand.sellers import clock, fit_all, shop
from tests.races import at_once
from tests.world import World

from .sold import Seller, looked

pytestmark = pytest.mark.django_db


def test_a_part_is_looked_at_once(world: World, owner: Person) -> None:
    shop(world, 1)
    look = looks.start(over=Look.Over.ASKED, actor=owner, now=world.now)
    (part,) = looks.due(now=world.now)
    assert looking.look_part(part_id=part, clock=clock(world.now))
    assert not looking.look_part(part_id=part, clock=clock(world.now))
    look.refresh_from_db()
    assert (look.state, look.machines, look.found) == (Look.State.DONE, 1, 0)


def test_a_second_look_beside_one_that_runs_is_refused(world: World, owner: Person) -> None:
    shop(world, 1)
    looks.start(over=Look.Over.ASKED, actor=owner, now=world.now)
    with pytest.raises(Unable) as refused:
        looks.start(over=Look.Over.ASKED, actor=owner, now=world.now)
    assert refused.value.code == "look_running"


def test_a_night_that_is_begun_twice_is_one_look(world: World) -> None:
    shop(world, 1)
    first = looks.start(over=Look.Over.NIGHT, actor=None, now=world.now)
    assert looks.start(over=Look.Over.NIGHT, actor=None, now=world.now) == first


def test_a_worker_that_fell_silent_loses_its_part(world: World, owner: Person) -> None:
    shop(world, 1)
    looks.start(over=Look.Over.ASKED, actor=owner, now=world.now)
    (key,) = looks.due(now=world.now)
    lost = looks.take(part_id=key, now=world.now)
    assert lost is not None
    assert looks.due(now=world.now) == []
    later = world.now + looks.SILENT_FOR + timedelta(seconds=1)
    assert looks.take(part_id=key, now=later) is not None
    with pytest.raises(PartLost):
        looks.done(part=lost, judged=1, seen=[], now=later)
    assert LookPart.objects.get().state == LookPart.State.TAKEN


def test_a_part_that_kills_its_workers_is_given_up_and_says_so(world: World, owner: Person) -> None:
    shop(world, 1)
    look = looks.start(over=Look.Over.ASKED, actor=owner, now=world.now)
    now = world.now
    for _ in range(looks.MOST_ATTEMPTS):
        (key,) = looks.due(now=now)
        assert looks.take(part_id=key, now=now)
        now += looks.SILENT_FOR + timedelta(seconds=1)
    assert looks.due(now=now) == []
    assert looks.given_up(now=now) == [look]
    assert looking.finish(look=look, now=now)
    look.refresh_from_db()
    assert look.state == Look.State.FAILED
    assert "fell silent over it" in look.outcome


def test_the_night_waits_for_its_hour(world: World) -> None:
    at_five = world.now.replace(hour=10)  # five in New York
    assert looks.night_is_due(at_five)
    assert not looks.night_is_due(world.now)
    shop(world, 1)
    looks.start(over=Look.Over.NIGHT, actor=None, now=at_five)
    assert not looks.night_is_due(at_five)


def test_only_machines_with_news_are_looked_at(world: World, owner: Person) -> None:
    first, second = shop(world, 2)
    sellers = [Seller(one, world.now, days=3).sell() for one in (first, second)]
    assert looks.with_news() == []  # nothing was ever looked at
    looked(world.now)
    assert looks.with_news() == []
    sellers[1].read(world.now + timedelta(days=1), c1=2)
    assert looks.with_news() == [second.pk]


@pytest.mark.django_db(transaction=True)
def test_of_two_that_begin_at_once_one_look_comes(world: World, owner: Person) -> None:
    shop(world, 1)
    begin: Callable[[], object] = lambda: looks.start(  # noqa: E731
        over=Look.Over.ASKED, actor=owner, now=world.now
    )
    told = at_once(begin, begin)
    assert sum(isinstance(one, Unable) for one in told) == 1
    assert Look.objects.count() == 1


def test_questions_do_not_grow_with_the_fleet(world: World, owner: Person) -> None:
    """All that is asked of one machine in trouble is asked of four, in as many queries."""
    machines = shop(world, 5)
    for machine in machines[:4]:
        seller = Seller(machine, world.now, days=35)
        seller.meter.events = ["EA2*EJB_1*1*3**1*1295", "EA1*OCF*20260301*0305"]
        seller.sell(stops={"1": 7})
    Seller(machines[4], world.now, days=35).sell()
    fit_all(owner, world.now)
    limits = WatchLimits.the()
    asked = []
    for some in (machines[:1], machines):
        with CaptureQueriesContext(
            connection,
        ) as queries:
            _, seen = look_at([one.pk for one in some], now=world.now, limits=limits)
        asked.append((len(queries), len(seen)))
    (few, one), (many, four) = asked
    assert few == many
    assert four >= 4 * one > 0
    # The whole look, with causes, facts and writing.
    with CaptureQueriesContext(connection) as first:
        looked(world.now)
    assert Finding.objects.count() >= 8
    assert len(first) < 120


def test_every_cause_of_the_reckoning_can_close_a_ticket() -> None:
    """Else what closes tickets could not teach the order of causes."""
    known = set(Cause.objects.values_list("code", flat=True))
    assert {code.value for code in CauseCode} <= known


def test_every_kind_of_finding_has_a_symptom_to_be_reported_by() -> None:
    assert set(SYMPTOMS) == set(Finding.Kind)
