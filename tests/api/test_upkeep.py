"""Planned maintenance through the API: a driver's part of it, and the desk's."""

import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import vobject
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from fleet.machines.models import Machine
from people.models import Person
from service.upkeep.models import DueWork, MaintenancePlan, Reading
from tests.service.upkeep.plans import LIST, Plans

pytestmark = pytest.mark.django_db
Device = Callable[[Any], APIClient]


@pytest.fixture
def coil(plan: Plans, lobby: Machine) -> MaintenancePlan:
    return plan(starts_on=(timezone.now() - timedelta(days=100)).date())


def told(plan: MaintenancePlan, machine: Machine, **changes: Any) -> dict[str, Any]:
    return {
        "plan": plan.pk,
        "machine": machine.pk,
        "at": (timezone.now() - timedelta(hours=1)).isoformat(),
        "answers": [{"item": item, "answer": "done"} for item in LIST],
        "readings": [{"what": "cabinet_c", "value": "39.2", "unit": "°F"}],
        "minutes": 20,
    } | changes


def post(client: APIClient, path: str, body: Any, key: str | None = None) -> Any:
    return client.post(
        f"/api/v1/{path}", body, format="json", HTTP_IDEMPOTENCY_KEY=key or str(uuid.uuid4())
    )


def test_a_driver_finds_due_work_and_writes_it_down_once(
    device: Device, coil: MaintenancePlan, lobby: Machine, driver: Person
) -> None:
    client = device(driver)
    (turn,) = client.get("/api/v1/due-work?state=open").json()["items"]
    assert (turn["asset_tag"], turn["plan_name"]) == ("LOB-1", "Condenser coil")
    assert turn["site_name"] == "Ferry landing"
    body, key = told(coil, lobby), str(uuid.uuid4())
    first = post(client, "maintenance-done", body, key)
    assert first.status_code == 201, first.json()
    assert first.json()["readings"][0]["value"] == 4.0
    again = post(client, "maintenance-done", body, key)
    assert (again.status_code, again.json()) == (201, first.json())
    assert DueWork.objects.filter(state="done").count() == 1
    # The same moment under another key is the same work told twice.
    twice = post(client, "maintenance-done", body)
    assert (twice.status_code, twice.json()["code"]) == (409, "told_already")
    tag = client.get(f"/api/v1/maintenance-done/{first.json()['id']}")
    assert tag["ETag"]


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"answers": []}, "/answers"),
        ({"readings": [{"what": "cabinet_c", "value": "400"}]}, "/readings/0"),
        ({"readings": [{"what": "mood", "value": "4"}]}, "/readings/0/what"),
        ({"at": "2026-03-02T09:00:00"}, "/at"),
    ],
)
def test_what_is_wrong_is_named(
    device: Device,
    coil: MaintenancePlan,
    lobby: Machine,
    driver: Person,
    changes: dict[str, Any],
    place: str,
) -> None:
    refused = post(device(driver), "maintenance-done", told(coil, lobby, **changes))
    assert refused.status_code == 422
    assert place in [one["pointer"] for one in refused.json()["errors"]]
    assert not Reading.objects.exists()


def test_the_desk_keeps_plans_moves_and_gives(
    device: Device, coil: MaintenancePlan, lobby: Machine, dispatcher: Person, driver: Person
) -> None:
    client = device(dispatcher)
    seen = client.get(f"/api/v1/maintenance-plans/{coil.pk}")
    stale = client.patch(
        f"/api/v1/maintenance-plans/{coil.pk}",
        {"every_days": 30},
        format="json",
        HTTP_IF_MATCH='"x"',
    )
    assert stale.status_code == 412
    changed = client.patch(
        f"/api/v1/maintenance-plans/{coil.pk}",
        {"every_days": 30, "readings_asked": [{"what": "room_c", "most": 35}]},
        format="json",
        HTTP_IF_MATCH=seen["ETag"],
    )
    assert changed.status_code == 200, changed.json()
    assert changed.json()["readings_asked"] == [{"what": "room_c", "least": None, "most": 35.0}]
    turn = DueWork.objects.get()
    to = (timezone.now() + timedelta(days=9)).date().isoformat()
    moved = post(client, f"due-work/{turn.pk}/put-off", {"to": to, "why": "closed"})
    assert (moved.json()["day"], moved.json()["put_off_why"]) == (to, "closed")
    assert post(client, f"due-work/{turn.pk}/give", {"to": driver.pk}).status_code == 200
    own = post(
        client,
        "maintenance-terms",
        {"plan": coil.pk, "machine": lobby.pk, "every_days": 7, "why": "dust"},
    )
    assert own.status_code == 201, own.json()
    address = f"/api/v1/maintenance-terms/{own.json()['id']}"
    assert client.delete(address).status_code == 428
    assert client.delete(address, HTTP_IF_MATCH=own["ETag"]).status_code == 204
    mine = device(driver).get(f"/api/v1/due-work?given_to={driver.pk}").json()["items"]
    assert len(mine) == 1
    assert post(device(driver), f"due-work/{turn.pk}/give", {"to": None}).status_code == 403


def test_a_calendar_address_is_told_once(
    device: Device, coil: MaintenancePlan, driver: Person
) -> None:
    client = device(driver)
    made = client.post(
        "/api/v1/calendar-addresses", {"name": "Phone", "shows": "all"}, format="json"
    )
    assert made.status_code == 201, made.json()
    path = made.json()["address"].partition("testserver")[2]
    assert vobject.readOne(Client().get(path).content.decode()).vevent
    (listed,) = client.get("/api/v1/calendar-addresses").json()["items"]
    assert "address" not in listed
    revoked = client.post(f"/api/v1/calendar-addresses/{listed['id']}/revoke")
    assert revoked.status_code == 200
    assert Client().get(path).status_code == 404


def test_reliability_and_files(
    device: Device, coil: MaintenancePlan, lobby: Machine, accountant: Person, driver: Person
) -> None:
    client = device(accountant)
    told = client.get("/api/v1/reliability?months=6").json()
    assert told["machines"][0]["label"] == "LOB-1"
    assert told["kinds"][0]["between_failures"]["days"] is None
    assert device(driver).get("/api/v1/reliability").status_code == 403
    assert client.get("/api/v1/reliability?months=900").status_code == 400
    assert client.get("/api/v1/due-work/export?as=csv").content.startswith(b"day,machine,site,plan")


def test_a_reading_alone(device: Device, lobby: Machine, driver: Person) -> None:
    body = {
        "machine": lobby.pk,
        "what": "supply_v",
        "value": "118.5",
        "at": timezone.now().isoformat(),
    }
    taken = post(device(driver), "readings", body)
    assert (taken.status_code, taken.json()["unit"]) == (201, "V")
    assert device(driver).get(f"/api/v1/readings?machine={lobby.pk}").json()["items"]
