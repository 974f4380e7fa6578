"""Planning a day or a week: who is in, who is out and why; agreed, dropped, changed."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from fleet.machines.models import Machine
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Person
from service.runs.actions import board, keeping, loading, plans, road
from service.runs.actions.night import plan_night
from service.runs.models import DayPlan, LoadLine, PlannedMachine, Run, Stop
from service.runs.queries import load
from tests.service.runs.roadwork import DAY, SHIFT, RoadWork, clock, count_all

pytestmark = pytest.mark.django_db
NEXT = date(2026, 3, 3)
"""The Tuesday after."""


def planned(work: RoadWork, **more: object) -> DayPlan:
    given: dict[str, object] = {"date": NEXT, "effort": 60} | more
    return plans.plan_day(actor=work.owner, now=clock(17), **given)  # type: ignore[arg-type]


def agreed_visits(work: RoadWork, machine: Machine, every: int = 1) -> None:
    changes = {"machine": machine, "every_days": every}
    keeping.save_agreement(changes=changes, actor=work.owner, now=clock(5))


def why(plan: DayPlan, machine: Machine) -> list[str]:
    row = PlannedMachine.objects.get(plan=plan, machine=machine)
    return [one["code"] for one in row.reasons]


def test_a_plan_says_for_each_machine_why_it_is_in_or_out(work: RoadWork) -> None:
    count_all(work, 3, clock(6))
    agreed_visits(work, work.machines[0])
    plan = planned(work)
    rows = {row.machine: row for row in plan.machines.all()}
    assert set(rows) == set(work.machines)
    assert rows[work.machines[0]].included
    assert rows[work.machines[0]].must_go
    assert why(plan, work.machines[0])[:2] == ["agreed", "must_go"]
    assert all(row.costs_minutes is not None for row in rows.values())
    stop = Stop.objects.get(run__plan=plan, machine=work.machines[0])
    assert stop.planned_leave - stop.planned_arrive == timedelta(
        minutes=float(stop.service_minutes)
    )
    run = stop.run
    assert run.planned_start >= clock(7) + timedelta(days=1)
    assert run.planned_end <= run.shift_ends - timedelta(minutes=work.depot.unloading_minutes)
    assert not plan.score["faults"]
    assert plan.score["stops"] == run.stops.count()
    assert plan.score["gain_minor"] == plan.score["saved_minor"] - plan.score["cost_minor"]
    assert AuditEntry.objects.filter(verb="plan day", object_id=plan.pk).exists()


def test_the_same_seed_gives_the_same_plan(work: RoadWork) -> None:
    for machine in work.machines:
        agreed_visits(work, machine)
    first, again = planned(work, seed=5), planned(work, seed=5)
    assert first.inputs_digest == again.inputs_digest
    assert first.score == again.score

    def stops(plan: DayPlan) -> list[tuple[int, object]]:
        rows = Stop.objects.filter(run__plan=plan).order_by("run", "sequence")
        return list(rows.values_list("machine", "planned_arrive"))

    assert stops(first) == stops(again)
    assert len(stops(first)) == 3


def test_what_cannot_be_visited_says_so(work: RoadWork) -> None:
    site = work.machines[0].placements.get().site
    site.opening_windows.create(weekday=4, opens="08:00", closes="12:00")
    far = work.machines[1].placements.get().site
    far.latitude = far.longitude = None
    far.save()
    plan = planned(work)
    assert why(plan, work.machines[0]) == ["site_closed"]
    assert why(plan, work.machines[1]) == ["no_coordinates"]


def test_a_stop_keeps_to_the_hours_of_its_site(work: RoadWork) -> None:
    site = work.machines[0].placements.get().site
    site.opening_windows.create(weekday=1, opens="11:00", closes="12:00")
    agreed_visits(work, work.machines[0])
    plan = planned(work)
    stop = Stop.objects.get(run__plan=plan, machine=work.machines[0])
    assert stop.planned_arrive >= clock(11) + timedelta(days=1)
    assert stop.planned_leave <= clock(12) + timedelta(days=1)


def test_nobody_drives_on_a_holiday_or_a_day_off(work: RoadWork) -> None:
    agreed_visits(work, work.machines[0])
    keeping.add_day_off(
        profile=work.profile, date=NEXT, why="dentist", actor=work.owner, now=clock(5)
    )
    with pytest.raises(Unacceptable, match=f"nobody drives on {NEXT}: {work.driver}: dentist"):
        planned(work)
    # The Monday of the last week of May is a public holiday in the United States (5 U.S.C. 6103).
    holiday = date(2026, 5, 25)
    with pytest.raises(Unacceptable, match="Memorial"):
        plans.plan_day(date=holiday, actor=work.owner, now=clock(17) + timedelta(days=60))
    keeping.work_on(date=holiday, why="a fair", actor=work.owner, now=clock(5))
    opened = plans.plan_day(date=holiday, actor=work.owner, now=clock(17) + timedelta(days=60))
    assert opened.runs.exists()


def test_days_that_are_past_or_too_far(work: RoadWork) -> None:
    with pytest.raises(Unacceptable):
        planned(work, date=DAY - timedelta(days=2))
    with pytest.raises(Unacceptable):
        planned(work, date=DAY + timedelta(days=90))


def test_a_week_visits_a_machine_once_and_by_its_day(work: RoadWork) -> None:
    for machine, every in zip(work.machines, (2, 3, 4), strict=True):
        agreed_visits(work, machine, every)
    count_all(work, 5, clock(6))
    found = plans.plan_week(starts_on=NEXT, days=4, actor=work.owner, now=clock(17), effort=80)
    assert [plan.date for plan in found] == [NEXT + timedelta(days=n) for n in range(4)]
    days = dict(Stop.objects.filter(run__plan__in=found).values_list("machine", "run__date"))
    assert set(days) == {machine.pk for machine in work.machines}
    for machine, every in zip(work.machines, (2, 3, 4), strict=True):
        assert days[machine.pk] <= DAY + timedelta(days=every)
    assert Stop.objects.filter(run__plan__in=found).count() == 3


def test_agreeing_makes_runs_the_drivers_own(work: RoadWork) -> None:
    agreed_visits(work, work.machines[0])
    first, second = planned(work), planned(work, seed=9)
    plans.agree(plan=first, actor=work.owner, now=clock(17))
    assert Run.objects.filter(plan=first, agreed=True).exists()
    plans.agree(plan=second, actor=work.owner, now=clock(17, 5))
    first.refresh_from_db()
    assert first.state == DayPlan.State.DROPPED
    assert not Run.objects.filter(plan=first, agreed=True).exists()
    run = Run.objects.get(plan=second)
    road.start(run=run, sent=work.sent(clock(7)), actor=work.driver, now=clock(18))
    third = planned(work)
    with pytest.raises(Unable, match="begun"):
        plans.agree(plan=third, actor=work.owner, now=clock(18))
    plans.drop(plan=third, actor=work.owner, now=clock(18))
    with pytest.raises(Unable):
        plans.agree(plan=third, actor=work.owner, now=clock(18))
    with pytest.raises(Unable):
        plans.drop(plan=second, actor=work.owner, now=clock(18))


def test_a_move_shows_its_minutes_before_it_is_made(work: RoadWork) -> None:
    run = work.run()
    stop = work.stop(run, work.machines[0])
    seen = board.preview_move(stop=stop, run=run, position=3, now=clock(6))
    assert work.stop(run, work.machines[0]).sequence == 1
    moved, change = board.move_stop(stop=stop, run=run, position=3, actor=work.owner, now=clock(6))
    assert change == seen
    assert moved.sequence == 3
    order = list(run.stops.order_by("sequence").values_list("machine", flat=True))
    assert order == [work.machines[at].pk for at in (1, 2, 0)]
    back = board.preview_move(stop=moved, run=run, position=1, now=clock(6))
    assert back.minutes == pytest.approx(-change.minutes)
    assert work.stop(run, work.machines[1]).planned_arrive < moved.planned_arrive


def test_a_done_or_locked_stop_does_not_move(work: RoadWork) -> None:
    run = work.out()
    work.do(road.arrive, clock(8), stop=work.stop(run))
    work.do(road.leave, clock(8, 20), stop=work.stop(run))
    with pytest.raises(Unable, match="visited already"):
        board.move_stop(stop=work.stop(run), run=run, position=2, actor=work.owner, now=clock(9))
    other = work.stop(run, work.machines[1])
    board.lock_stop(stop=other, locked=True, actor=work.owner, now=clock(9))
    with pytest.raises(Unable, match="locked"):
        board.move_stop(stop=other, run=run, position=3, actor=work.owner, now=clock(9))


def test_one_more_stop_goes_in_where_it_costs_least(work: RoadWork) -> None:
    run = work.run(work.machines[0], work.machines[2])
    with pytest.raises(Unacceptable):
        board.insert_stop(
            machine=work.machines[1], reason="", day=DAY, actor=work.owner, now=clock(6)
        )
    stop, change = board.insert_stop(
        machine=work.machines[1],
        reason="the host called",
        day=DAY,
        actor=work.owner,
        now=clock(6),
    )
    # On a straight line it lies between the two, and adds its own visit and a stop's parking only.
    assert stop.sequence == 2
    assert change.minutes == pytest.approx(float(stop.service_minutes) + 2, abs=0.3)
    assert stop.reasons[0]["said"] == "the host called"
    with pytest.raises(Unable, match="already"):
        board.insert_stop(
            machine=work.machines[1], reason="again", run=run, actor=work.owner, now=clock(6)
        )


def test_the_rest_of_the_day_is_planned_anew(work: RoadWork) -> None:
    run = work.out(work.machines[2], work.machines[0])
    work.do(road.arrive, clock(8), stop=work.stop(run, work.machines[2]))
    work.do(road.leave, clock(8, 20), stop=work.stop(run, work.machines[2]))
    agreed_visits(work, work.machines[1])
    rest = board.replan(date=DAY, actor=work.owner, now=clock(8, 30))
    (again,) = rest.runs
    assert rest.said == "1 run. Nothing is left off."
    order = list(again.stops.order_by("sequence").values_list("machine__asset_tag", flat=True))
    # The far one is done; the one that must be visited is on the way back from it.
    assert order == ["R-3", "R-2", "R-1"]
    assert work.stop(run, work.machines[1]).planned_arrive > clock(8, 30)
    board.take_off(
        stop=work.stop(run, work.machines[0]), reason="closed", actor=work.owner, now=clock(9)
    )
    assert not Stop.objects.filter(run=run, machine=work.machines[0]).exists()


def test_what_no_longer_fits_is_named_when_the_rest_of_the_day_is_planned_anew(
    work: RoadWork,
) -> None:
    run = work.out(work.machines[0], work.machines[2])
    agreed_visits(work, work.machines[1])
    # In the evening nothing more fits into the shift.
    rest = board.replan(date=DAY, actor=work.owner, now=clock(18))
    assert not run.stops.exists()
    assert [(one.machine, one.must_go) for one in rest.left_off] == [
        ("R-2", True),
        ("R-1", False),
        ("R-3", False),
    ]
    assert rest.said.startswith("1 run. Left off: R-2 (")
    assert rest.said.endswith("R-1 (no longer fits), R-3 (no longer fits).")


def test_a_locked_run_stays_as_it_is(work: RoadWork) -> None:
    run = work.run(work.machines[0], work.machines[2], work.machines[1])
    board.lock_run(run=run, actor=work.owner, now=clock(6))
    before = list(run.stops.order_by("sequence").values_list("machine", flat=True))
    board.replan(date=DAY, actor=work.owner, now=clock(6, 30))
    assert list(run.stops.order_by("sequence").values_list("machine", flat=True)) == before
    board.unlock_run(run=run, actor=work.owner, now=clock(6, 40))
    assert not run.stops.filter(locked=True).exists()


def test_what_the_truck_holds_is_deducted_from_the_load(work: RoadWork) -> None:
    count_all(work, 2, clock(6))
    run = work.run()
    bare = {
        line.product: line
        for line in loading.make_load_list(run=run, actor=work.owner, now=clock(6))
    }
    assert bare[work.cola].basis == LoadLine.Basis.SERVICE_LEVEL
    assert bare[work.cola].wanted > 0
    work.stock(work.cola, 10)
    less = {
        line.product: line
        for line in loading.make_load_list(run=run, actor=work.owner, now=clock(6))
    }
    assert less[work.cola].wanted == bare[work.cola].wanted - 10
    assert less[work.cola].carried == 10
    assert less[work.tea].wanted == bare[work.tea].wanted
    totals = {one.product: one.wanted for one in load.by_product(run)}
    assert totals == {product: line.wanted for product, line in less.items()}
    assert [one.stop for one in load.by_stop(run)] == [None]
    work.stock(work.cola, 500, work.warehouse)
    work.do(road.pick, clock(6, 30), run=run, lines=[road.Picked(less[work.cola], 4)])
    with pytest.raises(Unable, match="begun"):
        loading.make_load_list(run=run, actor=work.owner, now=clock(6, 40))


def test_the_night_plans_once(work: RoadWork) -> None:
    agreed_visits(work, work.machines[0])
    night = clock(4, 5)
    assert plan_night(now=clock(1)) is None
    assert plan_night(now=clock(3)) is None, "demand is not fitted yet"
    plan = plan_night(now=night)
    assert plan is not None
    assert (plan.date, plan.made_by) == (DAY, None)
    assert plan_night(now=night + timedelta(minutes=10)) is None


def test_two_drivers_without_a_van_of_their_own(work: RoadWork, other_driver: Person) -> None:
    changes = {"person": other_driver, "depot": work.depot, "vehicle": None}
    keeping.save_driver(changes=changes, shifts=SHIFT, actor=work.owner, now=clock(5))
    assert planned(work).inputs["off"][0]["why"] == "no vehicle is free"
    keeping.save_vehicle(
        changes={"name": "Van 2", "depot": work.depot}, actor=work.owner, now=clock(5)
    )
    assert not planned(work).inputs["off"]


def test_keeping_refuses_what_cannot_be(work: RoadWork, accountant: Person) -> None:
    host = work.machines[0].placements.get().site
    for verb, given in (
        (keeping.save_depot, {"changes": {"site": host}}),
        (keeping.save_vehicle, {"changes": {"name": "Van 1", "depot": work.depot}}),
        (keeping.save_driver, {"changes": {"person": accountant, "depot": work.depot}}),
        (keeping.save_agreement, {"changes": {"machine": work.machines[0], "every_days": 0}}),
        (keeping.save_assumptions, {"changes": {"circuity": Decimal("0.5")}}),
    ):
        with pytest.raises(Unacceptable):
            verb(actor=work.owner, now=clock(5), **given)
    twice = [*SHIFT, SHIFT[0]]
    with pytest.raises(Unacceptable, match="twice"):
        keeping.save_driver(
            profile=work.profile, changes={}, shifts=twice, actor=work.owner, now=clock(5)
        )


def test_a_day_that_nobody_drives_is_not_planned(work: RoadWork) -> None:
    saturday = NEXT + timedelta(days=4)
    with pytest.raises(Unacceptable, match=r"nobody drives on 2026-03-07: .*no shift") as refused:
        planned(work, date=saturday)
    assert refused.value.code == "nobody_drives"
    keeping.add_day_off(profile=None, date=NEXT, why="the fair", actor=work.owner, now=clock(5))
    with pytest.raises(Unacceptable, match="nobody drives on 2026-03-03: the fair"):
        planned(work)
    with pytest.raises(Unacceptable, match="on any day from 2026-03-07 to 2026-03-08"):
        plans.plan_week(starts_on=saturday, days=2, actor=work.owner, now=clock(17))
    assert not DayPlan.objects.exists()
