"""Whoever drives to a machine is told that its food is locked and what is called back there."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from people.models import Business, Person
from service.compliance.actions import recalls, temperatures
from service.compliance.models import FoodLock, Recall, RecallVisit
from service.runs.models import Run, Stop
from tests.callers import Caller
from tests.cast import NOW
from tests.service.runs.roadwork import DAY, RoadWork, clock

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]


@pytest.fixture
def warned(work: RoadWork) -> Run:
    """A run that is out, to a first machine that is locked and a second with a recall."""
    run = work.out()
    type(work.cola).objects.filter(pk=work.cola.pk).update(kept_cold_or_hot=True)
    temperatures.lock_by_hand(
        machine=work.machines[0],
        what="fan stands still",
        at=clock(6),
        actor=work.driver,
        now=timezone.now(),
    )
    recall = recalls.save(
        changes={"product": work.tea, "lot_codes": "T7", "reason": "glass found"},
        actor=work.owner,
        now=NOW,
    )
    RecallVisit.objects.create(
        recall=recall, machine=work.machines[1], asked_at=NOW, asked_by=work.owner
    )
    return run


def is_told(first: dict[str, Any], second: dict[str, Any]) -> None:
    lock = FoodLock.objects.get()
    assert first["food_lock"]["id"] == lock.pk
    assert "fan stands still" in first["food_lock"]["said"]
    assert first["recalls"] == []
    assert second["food_lock"] is None
    (found,) = second["recalls"]
    assert (found["id"], found["lot_codes"]) == (Recall.objects.get().pk, "T7")
    assert found["product_name"] == "Tea"


def test_the_day_and_the_run_tell(warned: Run, as_driver: Caller) -> None:
    (sheet,) = as_driver.get("/road/day", {"date": DAY.isoformat()}).json()["runs"]
    is_told(sheet["stops"][0], sheet["stops"][1])
    stops = as_driver.get(f"/road/runs/{warned.pk}").json()["stops"]
    is_told(stops[0], stops[1])
    assert (stops[2]["food_lock"], stops[2]["recalls"]) == (None, [])


def test_every_act_at_a_machine_tells(warned: Run, work: RoadWork, as_driver: Caller) -> None:
    first, second = (work.stop(warned, one) for one in work.machines[:2])
    body = {"at": clock(8).isoformat()}
    here = as_driver.post(f"/road/stops/{first.pk}/arrive", body, key="a").json()
    queue = [
        {"key": "b", "verb": "leave", "stop": first.pk, "body": {"at": clock(8, 20).isoformat()}},
        {"key": "x", "verb": "leave", "stop": 999_999, "body": body},
        {"key": "c", "verb": "arrive", "stop": second.pk, "body": {"at": clock(9).isoformat()}},
    ]
    left, refused, there = as_driver.post("/road/batch", {"acts": queue}).json()["answers"]
    assert (left["status"], refused["status"], there["status"]) == (200, 404, 200)
    is_told(here, there["result"])
    is_told(left["result"], there["result"])
    # A driver learns of no money by it.
    assert "amount" not in str(here["food_lock"]) + str(there["result"]["recalls"])
    # What was done stays as it was; the warning is of now.
    lock = FoodLock.objects.get()
    at = timezone.now()
    temperatures.lift(
        lock=lock, serviced_at=at, restocked_at=at, said="fan changed", actor=work.driver, now=at
    )
    again = as_driver.post(f"/road/stops/{first.pk}/arrive", body, key="a").json()
    assert again["food_lock"] is None
    assert {**again, "food_lock": here["food_lock"]} == here


def test_the_phones_pages_tell(warned: Run, work: RoadWork, desk: Desk, driver: Person) -> None:
    client = desk(driver)
    here = timezone.localdate(timezone.now(), Business.the().time_zone)
    Run.objects.filter(pk=warned.pk).update(date=here)
    for where in ("/road/", f"/road/runs/{warned.pk}/"):
        page = client.get(where).content.decode()
        assert page.count("Food locked: sell none") == 1, where
        assert page.count("Recall of Tea.") == 1, where
    today = client.get("/").content.decode()
    assert "R-1: food locked since" in today
    assert "R-2: recall of Tea." in today


def test_questions_do_not_grow_with_warnings(
    warned: Run, work: RoadWork, as_driver: Caller
) -> None:
    address = f"/road/runs/{warned.pk}"
    as_driver.get(address)
    with CaptureQueriesContext(connection) as few:
        as_driver.get(address)
    recall = Recall.objects.get()
    for machine in (work.machines[0], work.machines[2]):
        RecallVisit.objects.create(
            recall=recall, machine=machine, asked_at=NOW, asked_by=work.owner
        )
    assert Stop.objects.filter(run=warned).count() == 3
    with CaptureQueriesContext(connection) as many:
        as_driver.get(address)
    assert len(many) == len(few)
