"""Food kept cold or hot: judged by readings and by when machines were filled, locked, let go."""

from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from fleet.machines.models import Machine, Product
from fleet.sales.actions.receive import ReceivedFile, receive
from fleet.sales.models import AuditRead, EventMeaning, MachineEvent
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import Notice, Person
from service.compliance.actions import temperatures
from service.compliance.actions.errors import NotLocked
from service.compliance.models import FoodLock
from service.compliance.queries.temperatures import courses, limits_by_state, limits_for
from service.compute.food_code import State
from service.tickets.models import Symptom
from service.watch.models import Finding
from service.watch.models.limits import WatchRule
from tests.cast import NOW
from tests.fleet.sales.meter import Meter
from tests.service.upkeep.plans import Plans, do


@pytest.fixture
def cold(lobby: Machine) -> Machine:
    """The lobby's tea is food that is kept cold."""
    Product.objects.filter(name="Tea").update(kept_cold_or_hot=True)
    return lobby


def read(
    machine: Machine, fahrenheit: str, at: datetime, actor: Person, now: datetime = NOW
) -> None:
    temperatures.take_reading(
        machine=machine,
        what="cabinet_c",
        value=Decimal(fahrenheit),
        unit="°F",
        at=at,
        actor=actor,
        now=now,
    )


def minutes(count: float) -> datetime:
    return NOW - timedelta(hours=3) + timedelta(minutes=count)


def test_a_warm_reading_without_service_locks(
    cold: Machine, driver: Person, dispatcher: Person
) -> None:
    read(cold, "44", minutes(0), driver)
    lock = FoodLock.objects.get()
    assert (lock.since, lock.reading is not None) == (minutes(0), True)
    assert "above 5" in lock.said
    finding = Finding.objects.get()
    assert (finding.kind, finding.state, finding.look) == ("food", "open", None)
    assert lock.finding == finding
    told = Notice.objects.values_list("person__name", "subject")
    assert (dispatcher.name, "Food out of its limits: LOB-1") in told
    # A cold reading afterwards lifts nothing, and nothing is told twice.
    read(cold, "38", minutes(20), driver)
    assert temperatures.judge(now=NOW) == []
    assert FoodLock.objects.filter(lifted_at__isnull=True).count() == 1


@pytest.mark.parametrize(("after", "locked"), [(29, False), (31, True)])
def test_after_filling_or_service_it_has_half_an_hour(
    cold: Machine, driver: Person, plan: Plans, after: int, locked: bool
) -> None:
    # FDA Food Code 4-204.111: 41 °F, 30 minutes after filling or service.
    do(plan(), cold, driver, at=minutes(0), readings=[])
    read(cold, "44", minutes(after), driver)
    assert FoodLock.objects.exists() is locked


def test_machines_without_such_food_are_left_alone(lobby: Machine, driver: Person) -> None:
    read(lobby, "60", minutes(0), driver)
    assert courses(NOW) == []
    assert not FoodLock.objects.exists()


@pytest.mark.parametrize(("after", "locked"), [(119, False), (121, True)])
def test_hot_food_has_two_hours(
    cold: Machine, driver: Person, plan: Plans, after: int, locked: bool
) -> None:
    # FDA Food Code 4-204.111: 135 °F, 120 minutes.
    Product.objects.filter(name="Tea").update(heated=True)
    do(plan(), cold, driver, at=minutes(0), readings=[])
    read(cold, "130", minutes(after), driver)
    assert FoodLock.objects.exists() is locked


def test_it_sells_again_once_serviced_and_restocked(
    cold: Machine, driver: Person, accountant: Person
) -> None:
    read(cold, "50", minutes(0), driver)
    lock = FoodLock.objects.get()
    given = {
        "lock": lock,
        "serviced_at": minutes(30),
        "restocked_at": minutes(40),
        "said": "fan changed, food thrown away",
        "now": NOW,
    }
    with pytest.raises(NotAllowed):
        temperatures.lift(**given, actor=accountant)
    with pytest.raises(Unacceptable) as refused:
        temperatures.lift(**(given | {"serviced_at": minutes(-1)}), actor=driver)
    assert "serviced_at" in refused.value.fields
    with pytest.raises(Unacceptable):
        temperatures.lift(**(given | {"said": " "}), actor=driver)
    lifted = temperatures.lift(**given, actor=driver)
    assert (lifted.lifted_by, lifted.restocked_at) == (driver, minutes(40))
    assert Finding.objects.get().state == "recovered"
    with pytest.raises(NotLocked):
        temperatures.lift(**given, actor=driver)
    # What it read before is over; filled just then, it may be warm for half an hour.
    assert temperatures.judge(now=NOW) == []
    assert courses(NOW)[0].standing.state is State.RECOVERING
    read(cold, "45", minutes(60), driver)
    assert FoodLock.objects.count() == 1
    read(cold, "45", minutes(75), driver)
    assert FoodLock.objects.filter(lifted_at__isnull=True).count() == 1


def test_a_failure_locks_without_a_reading(cold: Machine, driver: Person, lobby: Machine) -> None:
    lock = temperatures.lock_by_hand(
        machine=cold, what="plug was out all night", at=minutes(0), actor=driver, now=NOW
    )
    assert lock.reading is None
    assert Finding.objects.get().said.endswith("plug was out all night")
    with pytest.raises(Unable):
        temperatures.lock_by_hand(machine=cold, what="again", at=minutes(5), actor=driver, now=NOW)


def test_a_machine_that_still_reports_its_cooling_locks_again(
    cold: Machine, driver: Person
) -> None:
    meter = Meter.with_buttons("1", "2")

    def handed_in(at: datetime) -> AuditRead:
        local = at.astimezone(ZoneInfo("America/New_York")).replace(tzinfo=None)
        receive(files=[ReceivedFile("", meter.read(local))], source="api", actor=driver, now=at)
        return AuditRead.objects.latest("pk")

    first = handed_in(minutes(0))
    code = EventMeaning.objects.filter(job=EventMeaning.Job.COOLING).values_list("base", flat=True)
    event = MachineEvent.objects.create(
        machine=cold,
        code=code[0],
        base=code[0],
        is_active=True,
        active_since=first,
        first_read=first,
        last_read=first,
    )
    (lock,) = temperatures.judge(now=minutes(10))
    temperatures.lift(
        lock=lock,
        serviced_at=minutes(20),
        restocked_at=minutes(40),
        said="fan changed",
        actor=driver,
        now=minutes(45),
    )
    assert temperatures.judge(now=minutes(50)) == []
    event.last_read = handed_in(minutes(60))
    event.save()
    assert [one.since for one in temperatures.judge(now=minutes(70))] == [minutes(60)]


def test_a_state_has_its_own_limits(cold: Machine, owner: Person, driver: Person) -> None:
    # 10 NYCRR 14-5.40: 45 °F.
    assert str(limits_for("NY", limits_by_state()).cold_c) == "7.2"
    site = cold.placements.get().site
    site.state = "NY"
    site.save()
    read(cold, "44", minutes(0), driver)
    assert not FoodLock.objects.exists()
    temperatures.save_limits(
        changes={
            "state": "NY",
            "cold_most_c": Decimal("5"),
            "cold_minutes": 30,
            "hot_least_c": Decimal("60"),
            "hot_minutes": 30,
            "citation": "county code",
            "status": "read",
        },
        actor=owner,
        now=NOW,
    )
    assert [lock.machine for lock in temperatures.judge(now=NOW)] == [cold]


def test_limits_that_cannot_be(owner: Person) -> None:
    with pytest.raises(Unacceptable):
        temperatures.save_limits(
            changes={
                "cold_most_c": Decimal("90"),
                "cold_minutes": 30,
                "hot_least_c": Decimal("60"),
                "hot_minutes": 30,
                "citation": "x",
                "status": "read",
            },
            actor=owner,
            now=NOW,
        )


def test_a_rule_of_the_watch_makes_it_a_ticket(cold: Machine, driver: Person) -> None:
    symptom = Symptom.objects.get(code="warm")
    WatchRule.objects.create(kind="food", symptom=symptom, strength=1, looks=1, active=True)
    read(cold, "50", minutes(0), driver)
    finding = Finding.objects.get()
    assert finding.state == "ticketed"
    assert finding.ticket is not None


def test_queries_do_not_grow_with_machines(
    cold: Machine, driver: Person, world: object, django_assert_num_queries: object
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as one:
        courses(NOW)
    for number in range(3):
        other = world.machine(f"X-{number}", cold.kind, site=cold.placements.get().site)  # type: ignore[attr-defined]
        world.set_up(  # type: ignore[attr-defined]
            world.column(other, "2"),  # type: ignore[attr-defined]
            Product.objects.get(name="Tea"),
            front_setting=10,
            program=other.kind.programs.get(name="run on"),
        )
        read(other, "38", minutes(number), driver)
    with CaptureQueriesContext(connection) as four:
        assert len(courses(NOW)) == 4
    assert len(four) == len(one)
