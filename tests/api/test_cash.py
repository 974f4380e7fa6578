"""Cash between the machine and the bank through the API."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from fleet.machines.models import Machine
from fleet.sales.actions.bags import seal
from fleet.sales.models import Bag, Banking
from people.models import Person
from tests.cast import Cast

pytestmark = pytest.mark.django_db
Device = Callable[[Person], APIClient]
V1 = "/api/v1"


@pytest.fixture
def bag(lobby: Machine, driver: Person) -> Bag:
    then = timezone.now() - timedelta(days=3)
    return seal(seal_number="A-1", machine=lobby, sealed_at=then, actor=driver, now=then)


class Sender:
    """Posts with a new key each time."""

    def __init__(self, client: APIClient) -> None:
        self.client, self.number = client, 0

    def __call__(self, address: str, given: dict[str, Any]) -> Any:
        self.number += 1
        key = {"Idempotency-Key": f"cash-{self.number:08d}"}
        return self.client.post(f"{V1}{address}", given, format="json", headers=key)


def test_a_bag_goes_to_the_bank(bag: Bag, device: Device, accountant: Person) -> None:
    client = device(accountant)
    post = Sender(client)
    now = timezone.now().isoformat()
    answer = post("/bags/receive", {"bags": [bag.pk], "at": now})
    assert answer.json() == {"received": [bag.pk]}
    lines = [
        {"kind": "note", "how": "by_count", "denomination_minor": 500, "number": 4},
        {"kind": "coin", "how": "by_weight", "denomination_minor": 25, "weight_g": 56.7},
    ]
    counted = {"lines": lines, "counted_at": now, "after": 0}
    answer = post(f"/bags/{bag.pk}/count", counted)
    assert answer.status_code == 201, answer.content
    assert (answer.json()["amount"], answer.json()["state"]) == ("22.50", "counted")
    (coins,) = [one for one in answer.json()["counts"][0]["lines"] if one["kind"] == "coin"]
    assert (coins["number"], coins["least_minor"], coins["most_minor"]) == (10, 250, 250)
    answer = post(f"/bags/{bag.pk}/count", counted)
    assert (answer.status_code, answer.json()["code"]) == (409, "changed_meanwhile")
    slip = {"bags": [{"bag": bag.pk}], "slip_number": "9", "amount": "22.50", "banked_at": now}
    answer = post("/bankings", slip)
    assert answer.status_code == 201, answer.content
    made = answer.json()["id"]
    today = timezone.localdate(timezone.now()).isoformat()
    answer = post(f"/bankings/{made}/confirm", {"amount": "22.00", "confirmed_on": today})
    if answer.status_code == 422:
        # In UTC the day may already be tomorrow's.
        day = (timezone.localdate(timezone.now()) - timedelta(days=1)).isoformat()
        answer = post(f"/bankings/{made}/confirm", {"amount": "22.00", "confirmed_on": day})
    assert (answer.status_code, answer.json()["off"]) == (201, "-0.50")
    assert client.get(f"{V1}/bankings").json()["items"][0]["confirmed"] == "22.00"
    assert client.get(f"{V1}/bankings/export?as=csv").status_code == 200
    waits = client.get(f"{V1}/custody").json()["waits"]
    assert {one["state"]: one["number"] for one in waits}["differs"] == 1
    answer = post(f"/bankings/{made}/take-back", {"reason": "no"})
    assert (answer.status_code, answer.json()["code"]) == (409, "banking_confirmed")


def test_a_line_that_cannot_be_is_told_by_its_place(
    bag: Bag, device: Device, accountant: Person
) -> None:
    lines = [{"kind": "coin", "how": "by_weight", "denomination_minor": 25, "weight_g": 8.5}]
    now = timezone.now().isoformat()
    answer = Sender(device(accountant))(
        f"/bags/{bag.pk}/count", {"lines": lines, "counted_at": now}
    )
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert error["pointer"] == "/lines/0/weight_g"


def test_change_that_lies_out_is_written_down(
    bag: Bag, lobby: Machine, device: Device, dispatcher: Person
) -> None:
    client = device(dispatcher)
    post = Sender(client)
    now = timezone.now().isoformat()
    filled = {"machine": lobby.pk, "way": "put_in", "amount": "10.00", "at": now}
    assert post("/tube-fills", filled).status_code == 201
    assert post("/tube-fills", {**filled, "from_bag": bag.pk}).status_code == 409
    site = lobby.placements.get(ends_at__isnull=True).site_id
    line = {"site": site, "what": "put_in", "amount": "15.00", "at": now}
    assert post("/float-lines", line).status_code == 201
    refund = {**line, "what": "refund", "amount": "1.75", "reference": "refund 7"}
    assert post("/float-lines", refund).json()["amount"] == "-1.75"
    (held,) = client.get(f"{V1}/host-floats").json()["items"]
    assert held["held"] == "13.25"


def test_over_and_short_says_why_a_bag_is_not_compared(
    bag: Bag, device: Device, accountant: Person
) -> None:
    client = device(accountant)
    now = timezone.now()
    asked = {"since": (now - timedelta(days=9)).isoformat(), "until": now.isoformat()}
    answer = client.get(f"{V1}/cash-differences", {**asked, "by": "driver"})
    assert answer.status_code == 200, answer.content
    (one,) = answer.json()["bags"]
    assert (one["expected"]["amount"], one["short"]) == (None, None)
    assert "no bag of this machine was sealed before" in one["expected"]["said"]
    assert client.get(f"{V1}/bags/{bag.pk}/expected").json()["basis"] == ""
    turned = {"since": asked["until"], "until": asked["since"]}
    assert client.get(f"{V1}/cash-differences", turned).status_code == 400


def test_drivers_reach_none_of_it_and_the_desk_banks_nothing(
    bag: Bag, cast: Cast, device: Device
) -> None:
    for noun in ("bags", "bankings", "custody", "tube-fills", "float-lines", "host-floats"):
        assert device(cast.driver).get(f"{V1}/{noun}").status_code == 403, noun
    slip = {
        "bags": [{"bag": bag.pk}],
        "slip_number": "9",
        "amount": "1",
        "banked_at": "2026-01-01T00:00:00Z",
    }
    assert Sender(device(cast.dispatcher))("/bankings", slip).status_code == 403
    assert not Banking.objects.exists()


def test_how_long_cash_may_wait(device: Device, owner: Person, accountant: Person) -> None:
    address = f"{V1}/cash-limits"
    client = device(owner)
    seen = client.get(address)
    assert seen.json()["to_receive_days"] == 2
    given = {"to_receive_days": 5}
    assert client.patch(address, given, format="json").status_code == 428
    kept = client.patch(address, given, format="json", HTTP_IF_MATCH=seen["ETag"])
    assert kept.json()["to_receive_days"] == 5
    stale = client.patch(address, given, format="json", HTTP_IF_MATCH=seen["ETag"])
    assert stale.status_code == 412
    (sealed, *_) = client.get(f"{V1}/custody").json()["waits"]
    assert (sealed["state"], sealed["allowed_days"]) == ("sealed", 5)
    books = device(accountant)
    assert books.get(address).status_code == 200
    refused = books.patch(address, given, format="json", HTTP_IF_MATCH=kept["ETag"])
    assert refused.status_code == 403
