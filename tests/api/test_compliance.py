"""Duties, evidence, food temperatures, dates and recalls through the API."""

import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from fleet.inventory.actions import places
from fleet.machines.models import Machine, Product
from people.models import Person
from service.compliance.models import Duty, FoodLock
from tests.fleet.inventory.stores import Stores
from tests.service.compliance.test_duties import picture, rule

Device = Callable[[Person], APIClient]


def send(
    client: APIClient, path: str, body: Any, *, key: str = "", method: str = "post", **more: Any
) -> Any:
    headers = {"HTTP_IDEMPOTENCY_KEY": key} if key else {}
    return getattr(client, method)(
        f"/api/v1{path}",
        json.dumps(body),
        content_type="application/json",
        **headers,
        **more,
    )


def test_rules_and_duties(
    device: Device, owner: Person, accountant: Person, driver: Person, lobby: Machine
) -> None:
    client = device(accountant)
    made = send(
        client,
        "/duty-rules",
        {
            "title": "Label",
            "kind": "notice",
            "subject": "machine",
            "said": "Name on the machine",
            "authority": "The department",
            "citation": "Rule 1",
            "status": "read",
        },
    )
    assert made.status_code == 201, made.content
    assert made.json()["origin"] == "own"
    changed = send(
        client,
        f"/duty-rules/{made.json()['id']}",
        {"notice_days": 10},
        method="patch",
        HTTP_IF_MATCH=made["ETag"],
    )
    assert changed.json()["notice_days"] == 10
    (duty,) = client.get("/api/v1/duties?state=open").json()["items"]
    assert (duty["asset_tag"], duty["because"]) == ("LOB-1", "never written down as done")
    assert send(device(driver), "/duties", {}).status_code == 403
    file = client.get("/api/v1/duties/export?as=csv")
    assert "Label" in file.content.decode()


def test_done_with_evidence_and_taken_back(
    device: Device, owner: Person, driver: Person, lobby: Machine
) -> None:
    rule(owner, every_months=12, owner=driver)
    duty = Duty.objects.get()
    client = device(driver)
    kept = client.post("/api/v1/evidence?name=label.jpg", picture().raw, content_type="image/jpeg")
    assert kept.status_code == 201, kept.content
    content = client.get(f"/api/v1/evidence/{kept.json()['id']}/content")
    assert content["Content-Type"] == "image/jpeg"
    assert client.get(f"/api/v1/evidence/{kept.json()['id']}").json()["name"] == "label.jpg"
    body = {
        "duties": [duty.pk],
        "done_on": (timezone.now().date() - timedelta(days=1)).isoformat(),
        "evidence": kept.json()["id"],
    }
    assert send(client, "/duties/done", body).status_code == 400  # without its key
    done = send(client, "/duties/done", body, key="k1")
    assert done.status_code == 201, done.content
    again = send(client, "/duties/done", body, key="k1")
    assert again.json() == done.json()
    assert Duty.objects.filter(state="open").count() == 1
    back = send(client, f"/duties/{duty.pk}/set-aside", {"why": "other machine"})
    assert back.json()["state"] == "open"
    nothing = send(client, f"/duties/{duty.pk}/set-aside", {"why": "again"})
    assert nothing.status_code == 422


def test_a_duty_of_ones_own(device: Device, owner: Person) -> None:
    client = device(owner)
    made = send(
        client,
        "/duties",
        {
            "title": "Policy",
            "kind": "insurance",
            "subject": "business",
            "due_on": "2027-05-01",
        },
    )
    assert made.status_code == 201, made.content
    pk = made.json()["id"]
    moved = send(
        client,
        f"/duties/{pk}",
        {"due_on": "2027-06-01"},
        method="patch",
        HTTP_IF_MATCH=made["ETag"],
    )
    assert moved.json()["due_on"] == "2027-06-01"
    assert send(client, f"/duties/{pk}/drop", {"why": "sold"}).json()["state"] == "fell_away"


@pytest.fixture
def cold(lobby: Machine) -> Machine:
    Product.objects.filter(name="Tea").update(kept_cold_or_hot=True)
    return lobby


def test_a_reading_locks_and_the_work_lets_go(
    device: Device, driver: Person, accountant: Person, cold: Machine
) -> None:
    client = device(driver)
    now = timezone.now()
    reading = send(
        client,
        "/readings",
        {
            "machine": cold.pk,
            "what": "cabinet_c",
            "value": "44",
            "unit": "°F",
            "at": (now - timedelta(hours=2)).isoformat(),
        },
        key="r1",
    )
    assert reading.status_code == 201, reading.content
    (course,) = client.get("/api/v1/food-temperatures").json()["machines"]
    assert (course["state"], course["limit_c"], course["minutes"]) == ("locked", 5.0, 30)
    (lock,) = client.get("/api/v1/food-locks?open=true").json()["items"]
    body = {
        "serviced_at": (now - timedelta(hours=1)).isoformat(),
        "restocked_at": (now - timedelta(minutes=50)).isoformat(),
        "said": "fan changed, food thrown away",
    }
    assert send(device(accountant), f"/food-locks/{lock['id']}/lift", body).status_code == 403
    assert send(client, f"/food-locks/{lock['id']}/lift", body).status_code == 200
    assert send(client, f"/food-locks/{lock['id']}/lift", body).status_code == 409
    failed = send(
        client,
        "/food-locks",
        {"machine": cold.pk, "what": "plug was out", "at": now.isoformat()},
        key="f1",
    )
    assert failed.status_code == 201, failed.content
    assert FoodLock.objects.count() == 2
    assert client.get(f"/api/v1/food-locks/{failed.json()['id']}").status_code == 200


def test_limits_of_ones_own(device: Device, owner: Person, driver: Person) -> None:
    client = device(owner)
    body = {
        "state": "OH",
        "cold_most_c": 4.5,
        "cold_minutes": 30,
        "hot_least_c": 60,
        "hot_minutes": 120,
        "citation": "county code",
        "status": "memory",
    }
    made = send(client, "/temperature-limits", body)
    assert made.status_code == 201, made.content
    assert send(device(driver), "/temperature-limits", body).status_code == 403
    path = f"/temperature-limits/{made.json()['id']}"
    tag = {"HTTP_IF_MATCH": made["ETag"]}
    wrong = send(client, path, {"cold_most_c": 80}, method="patch", **tag)
    assert wrong.status_code == 422
    changed = send(client, path, {"cold_most_c": 4}, method="patch", **tag)
    assert changed.json()["cold_most_c"] == 4.0
    gone = client.delete(f"/api/v1{path}", HTTP_IF_MATCH=changed["ETag"])
    assert gone.status_code == 204


def test_dates_and_a_recall(
    device: Device, dispatcher: Person, driver: Person, stores: Stores
) -> None:
    stores.receive(40, stores.old)
    stores.load(30)
    stores.fill(6, lot=stores.old)
    client = device(dispatcher)
    told = client.get("/api/v1/dates-in-machines").json()
    assert told["past_units"] == 6
    assert told["lots"][0]["stands"] == "past"
    body = {"product": stores.cola.pk, "lot_codes": "OLD", "reason": "glass found"}
    assert send(device(driver), "/recalls", body, key="a").status_code == 403
    made = send(client, "/recalls", body, key="a")
    assert made.status_code == 201, made.content
    path = f"/recalls/{made.json()['id']}"
    found = client.get(f"/api/v1{path}/whereabouts").json()
    assert found["machines"][0]["certain"] == 6
    sent = send(
        client,
        f"{path}/send",
        {"machines": [stores.machine.pk], "day": "2027-01-04"},
        key="b",
    )
    assert sent.json()["not_sent"][0]["machine"] == stores.machine.pk
    out = send(
        device(driver),
        f"{path}/removals",
        {
            "place": places.column_place(stores.one).pk,
            "quantity": 6,
            "lot": stores.old.pk,
            "at": timezone.now().isoformat(),
        },
        key="c",
    )
    assert out.status_code == 201, out.content
    assert out.json()["movement"]
    left = send(client, f"{path}/close", {"said": "all out"})
    assert (left.status_code, left.json()["code"]) == (409, "still_held")
    ended = send(client, f"{path}/close", {"said": "withdrawn", "despite": True})
    assert ended.status_code == 200
    assert client.get("/api/v1/recalls?open=false").json()["items"]
    tag = client.get(f"/api/v1{path}")["ETag"]
    late = send(client, path, {"reason": "x"}, method="patch", HTTP_IF_MATCH=tag)
    assert late.status_code == 409
