"""Reminders: once each turn, to whoever does it, and once more when it is late."""

from datetime import timedelta

import pytest

from fleet.machines.models import Machine
from people.models import Notice, Person
from people.roles import Role
from service.upkeep.actions import due, plans
from service.upkeep.actions.reminders import remind
from service.upkeep.models import DueWork
from tests.cast import NOW
from tests.service.upkeep.plans import Plans
from tests.world import World

TODAY = NOW.date()


def due_in(days: int) -> None:
    day = TODAY + timedelta(days)
    DueWork.objects.filter(state="open").update(due_on=day, day=day)


def told() -> list[tuple[str, str]]:
    return list(Notice.objects.order_by("pk").values_list("person__name", "subject"))


def test_dispatchers_are_told_once(
    plan: Plans, lobby: Machine, dispatcher: Person, driver: Person
) -> None:
    plan(notice_days=7)
    due_in(8)
    assert remind(now=NOW) == 0
    due_in(7)
    assert remind(now=NOW) == 1
    assert told() == [(dispatcher.name, "Upkeep due: Condenser coil at LOB-1")]
    assert remind(now=NOW + timedelta(days=1)) == 0
    assert Notice.objects.count() == 1


def test_whoever_it_is_given_to_is_told_instead(
    plan: Plans, lobby: Machine, dispatcher: Person, driver: Person, other_driver: Person
) -> None:
    coil = plan(responsible=other_driver)
    due_in(3)
    assert remind(now=NOW) == 1
    assert [name for name, _ in told()] == [other_driver.name]
    turn = DueWork.objects.get(plan=coil)
    due.give(due=turn, to=driver, actor=dispatcher, now=NOW)
    assert remind(now=NOW) == 1
    assert [name for name, _ in told()] == [other_driver.name, driver.name]


def test_what_is_late_is_told_once_more_and_to_the_desk_too(
    plan: Plans, lobby: Machine, dispatcher: Person, driver: Person
) -> None:
    plan(responsible=driver)
    due_in(0)
    remind(now=NOW)
    due_in(-1)
    assert remind(now=NOW + timedelta(hours=1)) == 1
    assert told()[1:] == [
        (driver.name, "Upkeep late: Condenser coil at LOB-1"),
        (dispatcher.name, "Upkeep late: Condenser coil at LOB-1"),
    ]
    assert remind(now=NOW + timedelta(days=3)) == 0


def test_many_turns_make_one_letter(plan: Plans, world: World, dispatcher: Person) -> None:
    kind, site = world.kind(), world.site()
    for number in range(15):
        world.machine(f"A-{number:02}", kind, site=site)
    plan()
    due_in(2)
    assert remind(now=NOW) == 15
    notice = Notice.objects.get()
    assert notice.subject == "Upkeep: 15 turns come due"
    assert notice.text.splitlines()[0].endswith("A-00  Condenser coil")
    assert notice.text.endswith("and 3 more")
    assert notice.address == "/upkeep/"


def test_owners_are_told_where_there_is_no_dispatcher(
    plan: Plans, lobby: Machine, owner: Person
) -> None:
    plan()
    due_in(2)
    remind(now=NOW)
    assert [name for name, _ in told()] == [owner.name]


def test_nobody_is_told_at_night_or_of_a_plan_that_rests(
    plan: Plans, lobby: Machine, owner: Person
) -> None:
    coil = plan()
    due_in(2)
    assert remind(now=NOW.replace(hour=9)) == 0  # four in the morning in New York
    plans.save_plan(plan=coil, changes={"active": False}, actor=owner, now=NOW)
    assert remind(now=NOW) == 0


def test_somebody_who_left_is_not_told(
    plan: Plans, lobby: Machine, dispatcher: Person, driver: Person
) -> None:
    plan(responsible=driver)
    Person.objects.filter(pk=driver.pk).update(is_active=False)
    due_in(2)
    remind(now=NOW)
    assert [name for name, _ in told()] == [dispatcher.name]
    assert Role.DISPATCHER in dispatcher.roles


@pytest.mark.parametrize("days", [-3, 3])
def test_a_turn_that_was_moved_is_told_of_by_its_new_day(
    plan: Plans, lobby: Machine, dispatcher: Person, days: int
) -> None:
    plan()
    due_in(days)
    turn = DueWork.objects.get()
    due.put_off(due=turn, to=TODAY + timedelta(days=60), why="closed", actor=dispatcher, now=NOW)
    assert remind(now=NOW) == 0
