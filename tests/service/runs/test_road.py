"""What is done on the road: every act, every refusal, and what each answers."""

from datetime import timedelta

import pytest

from fleet.machines.actions import changeovers, machines
from fleet.machines.models import Changeover
from fleet.sales.models import Bag
from people.errors import Unable, Unacceptable
from people.models import Person
from service.runs.actions import keeping, road
from service.runs.models import RoadAct, Run, Stop, Visit
from tests.service.runs.roadwork import DAY, SHIFT, RoadWork, clock

pytestmark = pytest.mark.django_db


def refused(code: str, call: object, **given: object) -> Unable:
    with pytest.raises(Unable) as caught:
        call(**given)  # type: ignore[operator]
    assert caught.value.code == code, caught.value.message
    return caught.value


def test_a_whole_visit(work: RoadWork) -> None:
    run = work.out()
    stop = work.stop(run)
    work.stock(work.cola, 30)
    work.do(road.arrive, clock(8), stop=stop)
    counted = work.do(
        road.count,
        clock(8, 2),
        stop=stop,
        lines=[road.Counted(work.world.column(work.machines[0], "1"), 7)],
    )
    assert counted.result["columns"][0]["holds"] == 7
    filled = work.do(road.fill, clock(8, 5), stop=stop, lines=[work.filled("1", work.cola, 12)])
    assert filled.result["columns"][0]["holds"] == 19
    assert [one["holds"] for one in filled.result["truck"]] == [18]
    work.do(road.bag, clock(8, 8), stop=stop, seal_number="S-1001")
    left = work.do(road.leave, clock(8, 10), stop=stop)
    assert left.result["stop"]["state"] == "done"
    visit = Visit.objects.get()
    assert (visit.arrived_at, visit.left_at) == (clock(8), clock(8, 10))
    assert Bag.objects.get().road_act.visit == visit
    assert RoadAct.objects.filter(visit=visit).count() == 5


def test_the_same_key_has_no_second_effect(work: RoadWork) -> None:
    run = work.out()
    stop = work.stop(run)
    work.stock(work.cola, 30)
    lines = [work.filled("1", work.cola, 10)]
    first = work.do(road.fill, clock(8), "once", stop=stop, lines=lines)
    again = work.do(road.fill, clock(8), "once", stop=stop, lines=lines)
    assert again.replayed
    assert again.result == first.result
    assert work.held(work.truck, work.cola) == 20
    refused(
        "key_reused",
        work.do,
        verb=road.fill,
        at=clock(8),
        key="once",
        stop=stop,
        lines=[work.filled("1", work.cola, 9)],
    )


def test_more_than_the_truck_holds(work: RoadWork) -> None:
    stop = work.stop(work.out())
    work.stock(work.cola, 5)
    refused(
        "not_enough",
        work.do,
        verb=road.fill,
        at=clock(8),
        stop=stop,
        lines=[work.filled("1", work.cola, 6)],
    )
    assert work.held(work.truck, work.cola) == 5
    assert not Visit.objects.exists()


def test_more_than_the_column_takes(work: RoadWork) -> None:
    stop = work.stop(work.out())
    work.stock(work.cola, 500)
    capacity = work.world.column(work.machines[0], "1").set_ups.get().capacity
    error = refused(
        "over_capacity",
        work.do,
        verb=road.fill,
        at=clock(8),
        stop=stop,
        lines=[work.filled("1", work.cola, capacity + 1)],
    )
    assert isinstance(error, Unacceptable)


def test_another_product_than_the_column_is_set_for(work: RoadWork) -> None:
    stop = work.stop(work.out())
    work.stock(work.tea, 50)
    refused(
        "other_product",
        work.do,
        verb=road.fill,
        at=clock(8),
        stop=stop,
        lines=[work.filled("1", work.tea, 3)],
    )


def test_a_machine_that_moved(work: RoadWork) -> None:
    run = work.out()
    machines.place_machine(
        machine=work.machines[0],
        site=work.machines[1].placements.get().site,
        starts_at=clock(7, 45),
        actor=work.owner,
        now=clock(7, 50),
    )
    stop = work.stop(run)
    error = refused("machine_moved", work.do, verb=road.arrive, at=clock(8), stop=stop)
    assert "Hall 2" in error.message
    # What was done before it moved is still taken.
    assert work.do(road.arrive, clock(7, 40), stop=stop).result["visit"]


def test_two_at_one_machine(work: RoadWork, other_driver: Person) -> None:
    run = work.out()
    work.do(road.arrive, clock(8), stop=work.stop(run))
    other = _second_run(work, other_driver)
    stop = work.stop(other)
    error = refused("being_visited", work.do, verb=road.arrive, at=clock(8, 20), stop=stop)
    assert str(work.driver) in error.message
    found = work.do(road.arrive, clock(8, 20), stop=stop, nobody_here=True)
    assert found.result["flags"][0]["code"] == "found_nobody"
    assert work.stop(run).state == Stop.State.DONE
    # The first one's leaving, told late, still counts; what it did after the other came does not.
    work.do(road.leave, clock(8, 15), stop=work.stop(run))
    refused("being_visited", work.do, verb=road.leave, at=clock(8, 30), stop=work.stop(run))


def test_a_queue_told_late_falls_before_who_came_since(
    work: RoadWork, other_driver: Person
) -> None:
    run = work.out()
    other = _second_run(work, other_driver)
    work.do(road.arrive, clock(10), stop=work.stop(other))
    work.do(road.arrive, clock(8), stop=work.stop(run))
    work.do(road.leave, clock(8, 30), stop=work.stop(run))
    visit = Visit.objects.get(stop__run=run)
    assert (visit.arrived_at, visit.left_at) == (clock(8), clock(8, 30))


def test_a_run_that_has_not_started_or_is_over(work: RoadWork) -> None:
    run = work.run()
    stop = work.stop(run)
    refused("run_not_started", work.do, verb=road.arrive, at=clock(8), stop=stop)
    work.start(run)
    work.do(road.end_day, clock(15), run=run, truck=None)
    refused("run_ended", work.do, verb=road.arrive, at=clock(16), stop=stop)
    late = work.do(road.arrive, clock(9), stop=stop)
    assert [flag["code"] for flag in late.result["flags"]] == ["came_after_end"]


def test_a_run_of_a_plan_nobody_agreed_to(work: RoadWork) -> None:
    run = work.run()
    Run.objects.filter(pk=run.pk).update(agreed=False)
    refused("run_not_agreed", work.start, run=run)


def test_a_skip_and_a_visit_after_all(work: RoadWork) -> None:
    run = work.out()
    stop = work.stop(run)
    refused("unacceptable", work.do, verb=road.skip, at=clock(8), stop=stop, reason=" ")
    work.do(road.skip, clock(8), stop=stop, reason="the hall is locked")
    assert work.stop(run).skipped_because == "the hall is locked"
    work.do(road.arrive, clock(11), stop=stop)
    assert (work.stop(run).state, work.stop(run).skipped_because) == ("arrived", "")
    refused("stop_visited", work.do, verb=road.skip, at=clock(12), stop=stop, reason="no time")


def test_out_of_date_goes_to_waste_and_good_to_the_truck(work: RoadWork) -> None:
    stop = work.stop(work.out())
    column = work.world.column(work.machines[0], "1")
    work.do(road.count, clock(8), stop=stop, lines=[road.Counted(column, 10)])
    work.do(
        road.remove,
        clock(8, 1),
        stop=stop,
        lines=[
            road.Removed(column, work.cola, 3, "out_of_date"),
            road.Removed(column, work.cola, 2),
        ],
    )
    assert work.in_column() == 5
    assert work.held(work.truck, work.cola) == 2
    refused(
        "unacceptable",
        work.do,
        verb=road.remove,
        at=clock(8, 2),
        stop=stop,
        lines=[road.Removed(column, work.cola, 1, "tired")],
    )


def test_a_seal_is_used_once(work: RoadWork) -> None:
    run = work.out()
    work.do(road.bag, clock(8), stop=work.stop(run), seal_number="S-7")
    refused(
        "seal_used",
        work.do,
        verb=road.bag,
        at=clock(9),
        stop=work.stop(run, work.machines[1]),
        seal_number=" S-7 ",
    )


def test_a_change_over_moves_what_came_out(work: RoadWork) -> None:
    stop = work.stop(work.out())
    column = work.world.column(work.machines[0], "1")
    lemon = work.world.product("Lemon", work.cola.package)
    planned = work.world.planned(column, lemon)
    work.do(road.count, clock(8), stop=stop, lines=[road.Counted(column, 9)])
    answer = work.do(
        road.change_over,
        clock(8, 20),
        stop=stop,
        changeover=planned,
        as_left=work.world.as_planned(planned),
        removed=[
            changeovers.Removed(work.cola, "good", 6),
            changeovers.Removed(work.cola, "damaged", 1),
        ],
        test_vends_made=4,
        test_vends_passed=4,
        picture_matches=True,
    )
    assert Changeover.objects.get().state == "done"
    assert work.held(work.truck, work.cola) == 6
    assert work.in_column() == 0
    (held,) = answer.result["columns"]
    assert (held["product"], held["holds"], held["others"]) == (lemon.pk, 0, [])
    work.stock(lemon, 20)
    work.do(road.fill, clock(8, 20), stop=stop, lines=[road.Filled(column, lemon, 8)])
    assert work.in_column() == 8


def test_what_belongs_to_another_machine(work: RoadWork) -> None:
    stop = work.stop(work.out())
    foreign = work.world.column(work.machines[1], "1")
    refused(
        "other_machine",
        work.do,
        verb=road.count,
        at=clock(8),
        stop=stop,
        lines=[road.Counted(foreign, 1)],
    )


def test_a_clock_far_off_is_told_and_not_set_right(work: RoadWork) -> None:
    run = work.out()
    ahead = road.Sent("a", clock(18), sent_at=clock(18))
    answer = road.arrive(stop=work.stop(run), sent=ahead, actor=work.driver, now=clock(8))
    assert answer.result["clock_off_s"] == 10 * 3600
    assert [flag["code"] for flag in answer.result["flags"]] == ["clock_off"]
    assert answer.act.client_at == clock(18)
    # What is still to come by that clock counts from when it reached us.
    assert Visit.objects.get().arrived_at == clock(8)
    behind = road.Sent("b", clock(9) - timedelta(days=3), sent_at=clock(9) - timedelta(days=3))
    answer = road.count(
        stop=work.stop(run),
        lines=[road.Counted(work.world.column(work.machines[0], "1"), 3)],
        sent=behind,
        actor=work.driver,
        now=clock(9),
    )
    codes = [flag["code"] for flag in answer.result["flags"]]
    assert codes[:2] == ["clock_off", "other_day"]


def test_picking_moves_stock_and_tells_what_is_short(work: RoadWork) -> None:
    run = work.run()
    work.stock(work.cola, 40, work.warehouse)
    work.stock(work.tea, 5, work.warehouse)
    lemon = work.world.product("Lemon", work.tea.package)
    work.stock(lemon, 50, work.warehouse)
    cola = run.load_lines.create(product=work.cola, basis="service_level", wanted=24)
    tea = run.load_lines.create(product=work.tea, basis="service_level", wanted=10)
    lines = [road.Picked(cola, 24), road.Picked(tea, 5, lemon, 3)]
    answer = work.do(road.pick, clock(7), run=run, lines=lines)
    assert [one["short"] for one in answer.result["load"]] == [0, 2]
    assert answer.result["run"]["state"] == "loading"
    assert work.held(work.truck, work.cola) == 24
    assert work.held(work.warehouse, work.tea) == 0
    # Told again with other figures, the difference is moved.
    work.do(road.pick, clock(7, 5), run=run, lines=[road.Picked(tea, 4)])
    assert (work.held(work.truck, work.tea), work.held(work.truck, lemon)) == (4, 0)
    # What was told earlier and came later changes nothing any more.
    late = work.do(road.pick, clock(7, 1), run=run, lines=[road.Picked(tea, 1)])
    assert late.result["flags"][0]["code"] == "superseded"
    assert work.held(work.truck, work.tea) == 4
    refused(
        "not_enough",
        work.do,
        verb=road.pick,
        at=clock(7, 6),
        run=run,
        lines=[],
        extra=[road.Extra(work.tea, 2)],
    )
    refused(
        "unacceptable",
        work.do,
        verb=road.pick,
        at=clock(7, 6),
        run=run,
        lines=[road.Picked(tea, 1, work.tea, 1)],
    )


def test_the_truck_is_counted_at_the_end(work: RoadWork) -> None:
    run = work.out()
    work.stock(work.cola, 30)
    work.stock(work.tea, 4)
    work.do(road.arrive, clock(8), stop=work.stop(run))
    answer = work.do(road.end_day, clock(15), run=run, truck=[road.OnTruck(work.cola, 28)])
    differences = {one["product"]: one["difference"] for one in answer.result["differences"]}
    assert differences == {work.cola.pk: -2, work.tea.pk: -4}
    assert len(answer.result["not_visited"]) == 2
    assert work.held(work.truck, work.cola) == 28
    assert work.stop(run).state == Stop.State.DONE
    # A fill told after the count: the count still stands.
    work.do(road.fill, clock(8, 5), stop=work.stop(run), lines=[work.filled("1", work.cola, 2)])
    assert work.held(work.truck, work.cola) == 28
    assert work.in_column() == 2


def _second_run(work: RoadWork, other: Person) -> Run:
    vehicle = keeping.save_vehicle(
        changes={"name": "Van 2", "depot": work.depot}, actor=work.owner, now=clock(5)
    )
    profile = keeping.save_driver(
        changes={"person": other, "depot": work.depot, "vehicle": vehicle},
        shifts=SHIFT,
        actor=work.owner,
        now=clock(5),
    )
    run = work.run(work.machines[0], driver=profile, date=DAY)
    road.start(run=run, sent=work.sent(clock(7)), actor=other, now=clock(7))
    return Run.objects.select_related("driver", "vehicle__truck", "depot__site").get(pk=run.pk)
