"""Tickets on runs through the API: offered, given as offered, refused when stale, taken back."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from people.models import Business, Person
from service.runs.models import Run, TicketStop
from tests.callers import Caller
from tests.service.runs.dispatchwork import DispatchWork, dispatchwork
from tests.world import World


@pytest.fixture
def desk(world: World, dispatcher: Person, driver: Person, other_driver: Person) -> DispatchWork:
    now = timezone.now()
    today = timezone.localdate(now, Business.the().time_zone)
    monday = today + timedelta(days=7 - today.weekday())
    return dispatchwork(
        world,
        dispatcher,
        driver,
        day=monday,
        now=now,
        others=[other_driver],
        machines=6,
        each=2,
    )


def test_a_ticket_is_offered_given_and_taken_back(
    desk: DispatchWork, caller: Callable[[Any], Caller], refused: Any
) -> None:
    api = caller(desk.dispatcher)
    ticket = desk.ticket(desk.machines[4], "notes")
    query = {"ticket": ticket.pk, "day": desk.day.isoformat()}
    found = api.get("/dispatch/offers", query).json()
    best, other = found["offers"]
    assert best["driver_name"] == "Tobin Ashgrove"
    assert best["how"] == "between"
    assert best["minutes"] < other["minutes"]
    assert best["keeps_promise"] is True
    assert found["because"].startswith("Tobin Ashgrove")
    body = {"ticket": ticket.pk, "run": best["run"], "seen": best["seen"]}
    done = api.post("/dispatch/assign", body, key="give-1")
    assert done.status_code == 200, done.content
    assert done.json()["ticket"]["given_to_name"] == "Tobin Ashgrove"
    assert done.json()["stop"]["asset_tag"] == "R-5"
    # Sent again under its key it is answered alike; under a new one it is stale.
    assert api.post("/dispatch/assign", body, key="give-1").json() == done.json()
    stale = {"ticket": ticket.pk, "run": other["run"], "seen": other["seen"]}
    problem = refused(api.post("/dispatch/assign", stale), 409, "changed_meanwhile")
    assert "given to Tobin Ashgrove by Dev Castellane" in problem["detail"]
    refused(api.post("/dispatch/unassign", {"ticket": ticket.pk, "reason": ""}), 422)
    back = api.post("/dispatch/unassign", {"ticket": ticket.pk, "reason": "mended by the host"})
    assert back.json()["state"] == "new"
    assert not TicketStop.objects.exists()


def test_a_driver_and_a_day_do_instead_of_a_run(
    desk: DispatchWork, caller: Callable[[Any], Caller], refused: Any
) -> None:
    api = caller(desk.dispatcher)
    ticket = desk.ticket(desk.machines[5])
    Run.objects.filter(pk=desk.runs[1].pk).delete()
    refused(api.post("/dispatch/assign", {"ticket": ticket.pk}), 422)
    body = {"ticket": ticket.pk, "driver": desk.profiles[1].pk, "day": desk.day.isoformat()}
    done = api.post("/dispatch/assign", body)
    assert done.status_code == 200, done.content
    assert Run.objects.get(pk=done.json()["stop"]["run"]).driver == desk.profiles[1].person


def test_drivers_do_not_dispatch(desk: DispatchWork, as_driver: Caller, refused: Any) -> None:
    ticket = desk.ticket(desk.machines[4])
    refused(as_driver.get("/dispatch/offers", {"ticket": ticket.pk}), 403)
    refused(as_driver.post("/dispatch/assign", {"ticket": ticket.pk}), 403)
