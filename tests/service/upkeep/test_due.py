"""What is due: worked out, moved, given to somebody."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.machines.actions import machines
from fleet.machines.models import Machine
from fleet.sales.models import MachineInterval
from people.errors import NotAllowed, Unacceptable
from people.models import AuditEntry, Person
from service.upkeep.actions import due, plans
from service.upkeep.actions.errors import NotOpen
from service.upkeep.models import DueWork, MaintenancePlan
from service.upkeep.queries.due import counts, near, turns_listed
from tests.cast import NOW
from tests.service.upkeep.plans import Plans, do
from tests.service.upkeep.sales import interval
from tests.world import World

TODAY = NOW.date()


def turn_of(plan: MaintenancePlan, machine: Machine) -> DueWork:
    return DueWork.objects.get(plan=plan, machine=machine, state="open")


def test_a_new_plan_has_its_turns_at_once(plan: Plans, lobby: Machine) -> None:
    coil = plan()
    turn = turn_of(coil, lobby)
    assert TODAY - timedelta(days=60) < turn.due_on <= TODAY + timedelta(days=30)
    assert turn.day == turn.due_on
    assert turn.because.startswith("never recorded")


def test_worked_out_twice_nothing_changes(plan: Plans, lobby: Machine) -> None:
    plan()
    before = list(DueWork.objects.values())
    found = due.work_out(now=NOW)
    assert (found.opened, found.moved, found.fell_away, found.stood) == (0, 0, 0, 1)
    assert list(DueWork.objects.values()) == before


def test_the_plans_that_come_with_the_service_apply(lobby: Machine) -> None:
    due.work_out(now=NOW)
    names = set(DueWork.objects.values_list("plan__name", flat=True))
    # The kind has a drop sensor and no cooling unit.
    assert names == {
        "Coin path",
        "Note path",
        "Drop sensor and chute",
        "Door gasket and lights",
    }
    kind = lobby.kind
    kind.energy_class = "B"
    kind.save()
    due.work_out(now=NOW)
    assert DueWork.objects.filter(state="open").count() == 6


def test_turns_fall_away_with_the_machine_and_with_the_plan(
    plan: Plans, lobby: Machine, owner: Person
) -> None:
    coil, gasket = plan(), plan("Gasket")
    plans.save_plan(plan=gasket, changes={"active": False}, actor=owner, now=NOW)
    assert not DueWork.objects.filter(plan=gasket, state="open").exists()
    machines.change_machine(machine=lobby, changes={"status": "in_shop"}, actor=owner, now=NOW)
    assert due.work_out(now=NOW).fell_away == 1
    assert DueWork.objects.get(plan=coil).state == "fell_away"


def test_a_plan_for_a_kind_or_a_machine(plan: Plans, world: World, lobby: Machine) -> None:
    other = world.machine("HALL-2", world.kind("snack tower"), site=world.site("Hall"))
    plan("Of a kind", kind=other.kind)
    plan("Of a machine", machine=lobby)
    found = set(DueWork.objects.values_list("plan__name", "machine__asset_tag"))
    assert found == {("Of a kind", "HALL-2"), ("Of a machine", "LOB-1")}


def sold(machine: Machine, weeks: int, a_week: int) -> None:
    """So many a week, by the machine's own totals, up to NOW."""
    for week in range(weeks):
        ends = NOW - timedelta(days=7 * week)
        interval(machine, ends - timedelta(days=7), ends, a_week)


def test_vends_are_estimated_with_a_band(plan: Plans, lobby: Machine) -> None:
    sold(lobby, 8, 140)
    motors = plan("Motors", trigger="vends", every_days=None, every_vends=4000)
    turn = turn_of(motors, lobby)
    sold_since = turn.figures["sold_since"]
    assert isinstance(sold_since, int)
    assert MachineInterval.objects.count() == 8
    assert turn.figures["vends_a_day"] == 20
    assert turn.earliest_on is not None
    assert turn.latest_on is not None
    assert turn.earliest_on <= turn.due_on <= turn.latest_on
    assert "at 20.0 a day" in turn.because


def test_without_a_sale_nothing_is_told_of_vends(plan: Plans, lobby: Machine) -> None:
    plan("Motors", trigger="vends", every_days=None, every_vends=4000)
    assert due.work_out(now=NOW).untold == 1
    assert not DueWork.objects.exists()


def test_own_terms_count_for_their_machine(
    plan: Plans, lobby: Machine, dispatcher: Person, driver: Person
) -> None:
    coil = plan()
    do(coil, lobby, driver)
    assert turn_of(coil, lobby).due_on == TODAY + timedelta(days=90)
    own = plans.save_own_terms(
        plan=coil,
        machine=lobby,
        changes={"every_days": 30, "why": "dusty hall"},
        actor=dispatcher,
        now=NOW,
    )
    assert turn_of(coil, lobby).due_on == TODAY + timedelta(days=30)
    plans.save_own_terms(
        plan=coil,
        machine=lobby,
        changes={"every_days": None, "left_out": True, "why": "has no coil"},
        actor=dispatcher,
        now=NOW,
    )
    assert not DueWork.objects.filter(state="open").exists()
    own.refresh_from_db()
    plans.remove_own_terms(own=own, actor=dispatcher, now=NOW)
    assert turn_of(coil, lobby).due_on == TODAY + timedelta(days=90)


def test_a_turn_is_moved_and_put_back(plan: Plans, lobby: Machine, dispatcher: Person) -> None:
    turn = turn_of(plan(), lobby)
    to = TODAY + timedelta(days=5)
    moved = due.put_off(due=turn, to=to, why="site closed", actor=dispatcher, now=NOW)
    assert (moved.day, moved.sequence) == (to, turn.sequence + 1)
    entry = AuditEntry.objects.order_by("pk").last()
    assert entry is not None
    assert (entry.verb, entry.reason) == ("put off due work", "site closed")
    # What is worked out later keeps the day that a person chose.
    due.work_out(now=NOW)
    assert turn_of(turn.plan, lobby).day == to
    back = due.put_off(due=moved, to=None, why="", actor=dispatcher, now=NOW)
    assert back.day == back.due_on


@pytest.mark.parametrize(
    ("to", "why", "field"),
    [(TODAY - timedelta(days=1), "too late", "to"), (TODAY, "  ", "why")],
)
def test_moves_that_cannot_be(
    plan: Plans, lobby: Machine, dispatcher: Person, to: date, why: str, field: str
) -> None:
    turn = turn_of(plan(), lobby)
    with pytest.raises(Unacceptable) as refused:
        due.put_off(due=turn, to=to, why=why, actor=dispatcher, now=NOW)
    assert field in refused.value.fields
    turn.refresh_from_db()
    assert turn.put_off_to is None


def test_only_the_desk_moves_and_gives(
    plan: Plans, lobby: Machine, driver: Person, dispatcher: Person, accountant: Person
) -> None:
    turn = turn_of(plan(), lobby)
    with pytest.raises(NotAllowed):
        due.put_off(due=turn, to=TODAY, why="mine", actor=driver, now=NOW)
    with pytest.raises(NotAllowed):
        due.give(due=turn, to=driver, actor=driver, now=NOW)
    with pytest.raises(Unacceptable):
        due.give(due=turn, to=accountant, actor=dispatcher, now=NOW)
    assert due.give(due=turn, to=driver, actor=dispatcher, now=NOW).given_to == driver
    assert list(turns_listed(given_to=driver)) == [turn]
    assert not turns_listed(unassigned=True).exists()


def test_a_turn_that_is_done_moves_no_more(
    plan: Plans, lobby: Machine, driver: Person, dispatcher: Person
) -> None:
    coil = plan()
    turn = turn_of(coil, lobby)
    do(coil, lobby, driver)
    with pytest.raises(NotOpen):
        due.put_off(due=turn, to=TODAY, why="again", actor=dispatcher, now=NOW)


def test_near_offers_what_work_that_day_counts_for(
    plan: Plans, lobby: Machine, dispatcher: Person
) -> None:
    turn = turn_of(plan(notice_days=7), lobby)
    for ahead, offered in ((-3, True), (7, True), (8, False)):
        DueWork.objects.update(due_on=TODAY + timedelta(days=ahead), day=TODAY + timedelta(ahead))
        assert (lobby.pk in near([lobby.pk], TODAY)) is offered
    assert near([], TODAY) == {}
    assert turn.plan.minutes == 20


def test_counts(plan: Plans, lobby: Machine, driver: Person) -> None:
    plan()
    for ahead, name in ((-1, "late"), (0, "week"), (7, "week"), (8, "month"), (29, "")):
        DueWork.objects.update(due_on=TODAY + timedelta(ahead), day=TODAY + timedelta(ahead))
        found = counts(TODAY)
        assert found == {"late": 0, "week": 0, "month": 0} | ({name: 1} if name else {})
        assert sum(counts(TODAY, driver).values()) == 0


def test_as_many_queries_for_many_machines_as_for_one(plan: Plans, world: World) -> None:
    kind, site = world.kind(), world.site()
    world.machine("A-1", kind, site=site)
    plan()
    plan("Motors", trigger="vends", every_days=None, every_vends=4000)

    def asked() -> int:
        DueWork.objects.all().delete()
        with CaptureQueriesContext(connection) as queries:
            due.work_out(now=NOW)
        return len(queries)

    one = asked()
    for number in range(2, 12):
        world.machine(f"A-{number}", kind, site=site)
    assert asked() == one
