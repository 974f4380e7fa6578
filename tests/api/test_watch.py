"""The watch through the API: findings, acts on them, looks, quality, limits; bags of cash."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from fleet.machines.models import Machine
from fleet.sales.actions.bags import seal
from fleet.sales.models import Bag
from people.models import Person
from service.tickets.models import Ticket
from service.watch.models import Finding
from tests.callers import Caller
from tests.cast import Cast
from tests.fleet.demand.sellers import shop
from tests.service.watch.sold import Seller, looked
from tests.world import World

pytestmark = pytest.mark.django_db
JAM = ["EA2*EJB_1*1*3**1*1295"]


def jammed(world: World, machines: list[Machine]) -> list[Finding]:
    """Machines that report a jam at their last read, and what the watch makes of it."""
    for machine in machines:
        seller = Seller(machine, world.now, days=2)
        seller.meter.events = JAM
        seller.sell()
    looked(world.now)
    return list(Finding.objects.order_by("pk"))


@pytest.fixture
def found(world: World, owner: Person) -> Finding:
    world.now = timezone.now() - timedelta(hours=1)
    (finding,) = jammed(world, shop(world, 1))
    return finding


def test_a_finding_with_its_evidence_and_causes(found: Finding, as_owner: Caller) -> None:
    (line,) = as_owner.get("/findings", {"kind": "event", "state": "open"}).json()["items"]
    assert (line["id"], line["asset_tag"], line["key"]) == (found.pk, "M-0", "EJB_1")
    body = as_owner.get(f"/findings/{found.pk}").json()
    assert body["evidence"]["numbers"]["base"] == "EJB"
    assert body["verdict"] is None
    first = body["causes"][0]
    assert first["check_first"]
    assert 0 < first["weight"] <= 1
    assert (first["cases"], first["cases_in_all"]) == (0, 0)


def test_only_the_desk_acts_and_drivers_see_none_of_it(
    found: Finding,
    caller: Callable[[Any], Caller],
    cast: Cast,
    refused: Callable[..., dict[str, Any]],
) -> None:
    for who in (cast.driver, cast.no_role):
        refused(caller(who).get("/findings"), 403)
        refused(caller(who).get("/bags"), 403)
    accountant = caller(cast.accountant)
    assert accountant.get(f"/findings/{found.pk}").status_code == 200
    refused(accountant.post(f"/findings/{found.pk}/dismiss", {"reason": "known"}), 403)
    refused(accountant.post("/looks"), 403)


def test_it_becomes_a_ticket_once(
    found: Finding, as_owner: Caller, refused: Callable[..., dict[str, Any]]
) -> None:
    answer = as_owner.post(f"/findings/{found.pk}/to-ticket", {"urgency": "down"}, key="t-1")
    assert answer.status_code == 200, answer.content
    body = answer.json()
    ticket = Ticket.objects.get()
    assert (body["state"], body["ticket"], ticket.urgency) == ("ticketed", ticket.pk, "down")
    assert ticket.source == Ticket.Source.EVENT
    again = as_owner.post(f"/findings/{found.pk}/to-ticket", {"urgency": "down"}, key="t-1")
    assert again.json() == body
    refused(as_owner.post(f"/findings/{found.pk}/to-ticket", {}), 409, "not_open")


def test_it_is_dismissed_with_a_reason(
    found: Finding, as_owner: Caller, refused: Callable[..., dict[str, Any]]
) -> None:
    refused(as_owner.post(f"/findings/{found.pk}/dismiss", {"reason": "boring"}), 422)
    body = as_owner.post(
        f"/findings/{found.pk}/dismiss", {"reason": "nothing_wrong", "note": "vended 8 of 8"}
    ).json()
    assert (body["state"], body["verdict"]["said"]) == ("dismissed", "false")
    assert as_owner.get("/findings", {"state": "open"}).json()["items"] == []


def test_findings_as_a_file(found: Finding, as_owner: Caller) -> None:
    file = as_owner.get("/findings/export", {"kind": found.kind})
    assert found.said.encode() in file.content
    assert file.content.count(b"\r\n") == 2
    other = next(kind for kind in Finding.Kind.values if kind != found.kind)
    assert as_owner.get("/findings/export", {"kind": other}).content.count(b"\r\n") == 1


def test_a_look_is_asked_for_and_is_one_at_a_time(
    found: Finding, as_owner: Caller, refused: Callable[..., dict[str, Any]]
) -> None:
    answer = as_owner.post("/looks")
    assert answer.status_code == 201
    assert answer.json()["state"] == "running"
    refused(as_owner.post("/looks"), 409, "look_running")
    assert as_owner.get("/looks", {"over": "asked"}).json()["items"][0]["machines"] == 1


def test_quality_says_how_little_it_stands_on(found: Finding, as_owner: Caller) -> None:
    as_owner.post(f"/findings/{found.pk}/dismiss", {"reason": "known"})
    body = as_owner.get("/watch-quality", {"days": 30}).json()
    (kind,) = body["kinds"]
    assert (kind["kind"], kind["opened"], kind["true"]) == ("event", 1, 1)
    assert kind["right"]["few"] is True
    assert kind["right"]["least"] < 0.25
    assert kind["missed"] is None


def test_limits_and_rules_are_kept(
    found: Finding, as_owner: Caller, refused: Callable[..., dict[str, Any]]
) -> None:
    was = as_owner.get("/watch-limits")
    refused(as_owner.patch("/watch-limits", {"clock_minutes": 20}), 428)
    refused(as_owner.patch("/watch-limits", {"clock_minutes": 0}, tag=was.headers["ETag"]), 422)
    now = as_owner.patch("/watch-limits", {"clock_minutes": 20}, tag=was.headers["ETag"])
    assert now.json()["clock_minutes"] == 20
    refused(as_owner.patch("/watch-limits", {}, tag=was.headers["ETag"]), 412)
    symptom = as_owner.get("/symptoms").json()["items"][0]["id"]
    rule = as_owner.post("/watch-rules", {"kind": "warm", "symptom": symptom, "active": True})
    assert rule.status_code == 201, rule.content
    refused(as_owner.post("/watch-rules", {"kind": "warm", "symptom": symptom}), 422)
    address = f"/watch-rules/{rule.json()['id']}"
    changed = as_owner.patch(address, {"strength": 6.0}, tag=rule.headers["ETag"])
    assert changed.json()["strength"] == 6.0
    assert as_owner.delete(address, tag=changed.headers["ETag"]).status_code == 204


def test_a_bag_is_counted_and_counted_again(
    lobby: Machine,
    caller: Callable[[Any], Caller],
    cast: Cast,
    refused: Callable[..., dict[str, Any]],
) -> None:
    now = timezone.now()
    bag = seal(seal_number="S-77", machine=lobby, sealed_at=now, actor=cast.driver, now=now)
    accountant = caller(cast.accountant)
    assert accountant.get("/bags", {"waiting": "true"}).json()["items"][0]["amount"] is None
    told = {"amount": "41.25", "counted_at": now.isoformat(), "second": cast.dispatcher.pk}
    refused(accountant.post(f"/bags/{bag.pk}/count", told), 400, "key_required")
    body = accountant.post(f"/bags/{bag.pk}/count", told, key="c-1").json()
    assert (body["amount"], body["counts"][0]["second_name"]) == ("41.25", "Dev Castellane")
    assert accountant.post(f"/bags/{bag.pk}/count", told, key="c-1").json() == body
    again = accountant.post(f"/bags/{bag.pk}/count", told | {"amount": "41.00"}, key="c-2").json()
    assert [one["amount"] for one in again["counts"]] == ["41.00", "41.25"]
    assert again["amount"] == "41.00"
    early = (now - timedelta(hours=1)).isoformat()
    refused(
        accountant.post(f"/bags/{bag.pk}/count", told | {"counted_at": early}, key="c-3"),
        409,
        "counted_before_sealed",
    )
    mine = told | {"second": cast.accountant.pk}
    refused(accountant.post(f"/bags/{bag.pk}/count", mine, key="c-4"), 422)
    assert Bag.objects.get().counts.count() == 2


def test_lists_ask_as_much_of_two_as_of_seven(
    world: World, owner: Person, as_owner: Caller
) -> None:
    world.now = timezone.now() - timedelta(hours=1)
    machines = shop(world, 7)
    asked = []
    as_owner.get("/me")  # the first request of a token notes that it is used
    for some in (machines[:2], machines):
        jammed(world, [one for one in some if not one.findings.exists()])
        for machine in some:
            seal(
                seal_number=f"S-{machine.pk}-{len(some)}",
                machine=machine,
                sealed_at=world.now,
                actor=owner,
                now=world.now,
            )
        counted = []
        for address in ("/findings", "/bags", "/looks"):
            with CaptureQueriesContext(connection) as queries:
                assert as_owner.get(address).status_code == 200
            counted.append(len(queries))
        asked.append(counted)
    assert asked[0] == asked[1]
