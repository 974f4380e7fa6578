"""Two at once on a real database: drivers, trucks, keys, and a plan while a visit closes."""

from threading import Barrier, Thread
from typing import Any

import pytest
from django.db import connection, transaction

from fleet.inventory.queries.check import check_stock
from people.errors import Unable
from people.models import Person
from service.runs.actions import board, keeping, plans, road
from service.runs.models import RoadAct, Run, Visit
from tests.races import at_once
from tests.service.runs.roadwork import DAY, SHIFT, RoadWork, clock

pytestmark = pytest.mark.django_db(transaction=True)


def fill(work: RoadWork, run: Run, at: int, quantity: int, key: str) -> Any:
    stop = work.stop(run, work.machines[at])
    lines = [work.filled("1", work.cola, quantity, at)]
    return lambda: road.fill(
        stop=stop, lines=lines, sent=road.Sent(key, clock(8)), actor=work.driver, now=clock(9)
    )


def test_two_fills_from_one_truck_that_holds_enough_for_one(work: RoadWork) -> None:
    run = work.out()
    work.stock(work.cola, 15)
    found = at_once(fill(work, run, 0, 10, "a"), fill(work, run, 1, 10, "b"))
    refused = [one for one in found if isinstance(one, Unable)]
    assert [one.code for one in refused] == ["not_enough"]
    assert work.held(work.truck, work.cola) == 5
    assert not check_stock().faults


def test_without_a_lock_both_would_have_seen_enough(work: RoadWork) -> None:
    """Proves that the race above is real: read without locking, both see what the truck held."""
    work.stock(work.cola, 15)
    both_read = Barrier(2)

    def read() -> int:
        held = work.held(work.truck, work.cola)
        both_read.wait(timeout=10)
        return held

    assert at_once(read, read) == [15, 15]


def test_twins_of_one_key_have_one_effect_and_one_answer(work: RoadWork) -> None:
    run = work.out()
    work.stock(work.cola, 30)
    found = at_once(fill(work, run, 0, 10, "same"), fill(work, run, 0, 10, "same"))
    first, second = (one for one in found if isinstance(one, road.Answer))
    assert sorted([first.replayed, second.replayed]) == [False, True]
    assert first.result == second.result
    assert work.held(work.truck, work.cola) == 20
    assert RoadAct.objects.filter(key="same").count() == 1


def test_two_drivers_arrive_at_one_machine(work: RoadWork, other_driver: Person) -> None:
    first = work.out(work.machines[0])
    vehicle = keeping.save_vehicle(
        changes={"name": "Van 2", "depot": work.depot}, actor=work.owner, now=clock(5)
    )
    profile = keeping.save_driver(
        changes={"person": other_driver, "depot": work.depot, "vehicle": vehicle},
        shifts=SHIFT,
        actor=work.owner,
        now=clock(5),
    )
    second = work.run(work.machines[0], driver=profile)
    work.start(second)

    def arrive(run: Run, key: str) -> Any:
        stop = work.stop(run)
        return lambda: road.arrive(
            stop=stop, sent=road.Sent(key, clock(8)), actor=run.driver, now=clock(8)
        )

    found = at_once(arrive(first, "a"), arrive(second, "b"))
    refused = [one for one in found if isinstance(one, Unable)]
    assert [one.code for one in refused] == ["being_visited"]
    assert Visit.objects.count() == 1


def test_the_day_is_planned_anew_while_a_visit_closes(work: RoadWork) -> None:
    """The visit that closes meanwhile stays done and in its place, whichever comes first."""
    run = work.out()
    work.do(road.arrive, clock(8), stop=work.stop(run))
    stop = work.stop(run)

    def leave() -> object:
        return road.leave(
            stop=stop, sent=road.Sent("l", clock(8, 20)), actor=work.driver, now=clock(8, 21)
        )

    found = at_once(leave, lambda: board.replan(date=DAY, actor=work.owner, now=clock(8, 21)))
    assert not [one for one in found if isinstance(one, Unable)], found
    after = work.stop(run)
    assert (after.state, after.sequence) == ("done", 1)
    assert run.stops.count() == 3


def test_a_plan_waits_for_an_act_and_sees_it(work: RoadWork) -> None:
    run = work.out()
    stop = work.stop(run)
    moved: list[object] = []

    def move() -> None:
        moved.extend(
            at_once(
                lambda: board.move_stop(
                    stop=stop, run=run, position=3, actor=work.owner, now=clock(8)
                )
            )
        )
        connection.close()

    mover = Thread(target=move)
    with transaction.atomic():
        work.do(road.arrive, clock(8), stop=stop)
        mover.start()
        mover.join(timeout=1)
        assert mover.is_alive(), "the dispatcher waits for the driver's act"
    mover.join(timeout=20)
    (refused,) = moved
    assert isinstance(refused, Unable)
    assert work.stop(run).sequence == 1


def test_two_agree_to_two_plans_of_one_day(work: RoadWork) -> None:
    keeping.save_agreement(
        changes={"machine": work.machines[0], "every_days": 1}, actor=work.owner, now=clock(5)
    )
    made = [
        plans.plan_day(date=DAY, actor=work.owner, now=clock(5), seed=seed, effort=30)
        for seed in (1, 2)
    ]

    def agree(plan: Any) -> Any:
        return lambda: plans.agree(plan=plan, actor=work.owner, now=clock(6))

    at_once(*(agree(plan) for plan in made))
    assert Run.objects.filter(date=DAY, agreed=True).count() == 1
    states = sorted(type(made[0]).objects.values_list("state", flat=True))
    assert states == ["agreed", "dropped"]
