"""Maintenance written down, taken back, and readings."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleet.machines.models import Machine
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import AuditEntry, Person
from service.upkeep.actions import work
from service.upkeep.actions.errors import ToldAlready
from service.upkeep.models import DueWork, MaintenanceDone, MaintenancePlan, Reading
from tests.cast import NOW
from tests.races import at_once
from tests.service.upkeep.plans import LIST, Plans, do
from tests.world import World

TODAY = NOW.date()


def test_work_done_closes_its_turn_and_opens_the_next(
    plan: Plans, lobby: Machine, driver: Person
) -> None:
    coil = plan()
    first = DueWork.objects.get(plan=coil)
    written = do(coil, lobby, driver, at=NOW - timedelta(hours=2), note=" Much dust. ")
    first.refresh_from_db()
    assert (first.state, first.done, first.closed_at) == ("done", written, NOW)
    assert (written.by, written.note, written.minutes) == (driver, "Much dust.", 18)
    assert [one["answer"] for one in written.answers] == ["done", "done"]
    following = DueWork.objects.get(plan=coil, state="open")
    assert following.due_on == TODAY + timedelta(days=90)
    reading = Reading.objects.get()
    assert (reading.value, reading.unit, reading.usual) == (Decimal("3.50"), "°C", True)
    verbs = list(AuditEntry.objects.order_by("-pk").values_list("verb", flat=True)[:3])
    assert verbs == ["close due work", "take reading", "record maintenance"]


def test_a_reading_in_fahrenheit_is_kept_in_celsius(
    plan: Plans, lobby: Machine, driver: Person
) -> None:
    do(plan(), lobby, driver, readings=[work.Taken("cabinet_c", Decimal(50), "°F")])
    reading = Reading.objects.get()
    assert (reading.value, reading.usual) == (Decimal("10.00"), False)


def test_the_next_turn_counts_from_the_latest_work_whatever_the_order_of_telling(
    plan: Plans, lobby: Machine, driver: Person
) -> None:
    coil = plan()
    do(coil, lobby, driver)
    do(coil, lobby, driver, at=NOW - timedelta(days=10))
    following = DueWork.objects.get(plan=coil, state="open")
    assert following.due_on == TODAY + timedelta(days=90)
    assert DueWork.objects.filter(plan=coil, state="done").count() == 1


def test_what_was_told_by_mistake_is_taken_back(
    plan: Plans, lobby: Machine, driver: Person, other_driver: Person
) -> None:
    coil = plan()
    do(coil, lobby, driver, at=NOW - timedelta(days=30))
    wrong = do(coil, lobby, driver)
    with pytest.raises(NotAllowed):
        work.set_aside(done=wrong, why="not me", actor=other_driver, now=NOW)
    with pytest.raises(Unacceptable):
        work.set_aside(done=wrong, why=" ", actor=driver, now=NOW)
    work.set_aside(done=wrong, why="other machine", actor=driver, now=NOW)
    assert DueWork.objects.get(plan=coil, state="open").due_on == TODAY + timedelta(days=60)
    again = work.set_aside(done=wrong, why="twice", actor=driver, now=NOW + timedelta(hours=1))
    assert again.set_aside_why == "other machine"


OK = [work.Answer(item, "done") for item in LIST]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"answers": OK[:1]}, "answers"),
        ({"answers": [*OK, OK[0]]}, "answers.2"),
        ({"answers": [*OK, work.Answer("Swept the yard", "done")]}, "answers.2"),
        ({"answers": [OK[0], work.Answer(LIST[1], "perhaps")]}, "answers.1"),
        ({"answers": [OK[0], work.Answer(LIST[1], "fault")]}, "answers.1"),
        ({"answers": [work.Answer(item, "not_done", "no time") for item in LIST]}, "answers"),
        ({"readings": [work.Taken("cabinet_c", Decimal(400))]}, "readings.0"),
        ({"readings": [work.Taken("cabinet_c", Decimal(4), "A")]}, "readings.0"),
        ({"readings": [work.Taken("cabinet_c", Decimal("NaN"))]}, "readings.0"),
        ({"readings": [work.Taken("mood", Decimal(4))]}, "readings.0"),
        ({"readings": [work.Taken("cabinet_c", Decimal(4))] * 2}, "readings.1"),
        ({"at": NOW + timedelta(minutes=11)}, "at"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(
    plan: Plans, lobby: Machine, driver: Person, changes: dict[str, Any], field: str
) -> None:
    coil = plan()
    with pytest.raises(Unacceptable) as refused:
        do(coil, lobby, driver, **changes)
    assert list(refused.value.fields) == [field]
    assert not MaintenanceDone.objects.exists()
    assert not Reading.objects.exists()
    assert DueWork.objects.get(plan=coil).state == "open"


def test_the_same_work_is_not_told_twice(plan: Plans, lobby: Machine, driver: Person) -> None:
    coil = plan()
    do(coil, lobby, driver)
    with pytest.raises(ToldAlready, match="Rosa"):
        do(coil, lobby, driver)


def test_only_where_the_plan_applies_and_only_by_who_goes_there(
    plan: Plans, lobby: Machine, world: World, driver: Person, accountant: Person
) -> None:
    other = world.machine("HALL-2", world.kind("snack tower"))
    coil = plan(machine=lobby)
    with pytest.raises(Unable) as refused:
        do(coil, other, driver)
    assert refused.value.code == "plan_not_for_machine"
    with pytest.raises(NotAllowed):
        do(coil, lobby, accountant)


def test_a_single_reading(lobby: Machine, driver: Person, accountant: Person) -> None:
    taken = work.take_reading(
        machine=lobby,
        what="compressor_a",
        value=Decimal("4.128"),
        unit="A",
        at=NOW,
        actor=driver,
        now=NOW,
    )
    assert (str(taken), taken.usual) == ("current of the compressor 4.13 A", None)
    with pytest.raises(NotAllowed):
        work.take_reading(
            machine=lobby, what="room_c", value=Decimal(20), at=NOW, actor=accountant, now=NOW
        )


@pytest.mark.django_db(transaction=True)
def test_two_who_did_it_at_once_leave_one_open_turn(
    plan: Plans, lobby: Machine, driver: Person, other_driver: Person
) -> None:
    coil = plan()

    def tell(person: Person, minutes: int) -> None:
        do(coil, lobby, person, at=NOW - timedelta(minutes=minutes))

    at_once(lambda: tell(driver, 10), lambda: tell(other_driver, 20))
    assert MaintenanceDone.objects.count() == 2
    assert DueWork.objects.filter(plan=coil, state="open").count() == 1
    assert DueWork.objects.filter(plan=coil, state="done").count() in {1, 2}


def test_the_checklist_of_the_plan_may_change_afterwards(
    plan: Plans, lobby: Machine, driver: Person
) -> None:
    written = do(plan(), lobby, driver)
    MaintenancePlan.objects.update(checklist=["Something else"])
    written.refresh_from_db()
    assert [one["item"] for one in written.answers] == list(LIST)
