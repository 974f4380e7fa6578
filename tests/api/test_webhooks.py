"""Promises, webhooks and notices through the API."""

from collections.abc import Callable
from typing import Any

import pytest

from people.actions import notices
from people.models import Notice, Person
from service.tickets.models import PromiseRule, WebhookDelivery, WebhookTarget
from tests.callers import Caller
from tests.cast import NOW
from tests.world import World

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]
HEARD = {"name": "the host", "url": "https://hooks.example.org/", "events": ["ticket.late"]}


def test_a_webhook_tells_its_secret_when_it_is_made_and_never_again(
    as_owner: Caller, as_driver: Caller, refused: Refused
) -> None:
    made = as_owner.post("/webhooks", HEARD)
    assert made.status_code == 201
    assert made["Cache-Control"] == "no-store"
    body = made.json()
    target = WebhookTarget.objects.get()
    assert body["secret"] == target.secret
    address = f"/webhooks/{target.pk}"
    shown = as_owner.get(address)
    assert "secret" not in shown.json()
    refused(as_owner.patch(address, {"url": "http://10.0.0.1/"}, tag=shown["ETag"]), 422)
    changed = as_owner.patch(address, {"events": ["ticket.new"]}, tag=shown["ETag"])
    assert changed.json()["events"] == ["ticket.new"]
    refused(as_owner.patch(address, {"active": False}, tag=shown["ETag"]), 412)
    renewed = as_owner.post(f"{address}/renew-secret")
    target.refresh_from_db()
    assert renewed.json()["secret"] == target.secret != body["secret"]
    refused(as_driver.get("/webhooks"), 403)


def test_messages_are_listed_and_what_was_given_up_is_sent_again(
    as_owner: Caller, refused: Refused
) -> None:
    as_owner.post("/webhooks", HEARD)
    sent = WebhookDelivery.objects.create(
        target=WebhookTarget.objects.get(),
        message="msg_1",
        event="ticket.late",
        body="{}",
        made_at=NOW,
        state="given_up",
        ended_at=NOW,
        tries=1,
        attempts=[{"at": NOW, "status": None, "said": "no connection", "took_ms": 3}],
    )
    (one,) = as_owner.get("/webhook-deliveries", {"state": "given_up"}).json()["items"]
    assert one["attempts"][0]["said"] == "no connection"
    again = as_owner.post(f"/webhook-deliveries/{sent.pk}/send-again")
    assert again.json()["state"] == "waiting"
    refused(as_owner.post(f"/webhook-deliveries/{sent.pk}/send-again"), 409)
    assert as_owner.get("/webhook-deliveries", {"state": "given_up"}).json()["items"] == []


def test_promises_are_read_by_the_desk_and_set_by_an_owner(
    as_owner: Caller,
    caller: Callable[[Any], Caller],
    dispatcher: Person,
    world: World,
    refused: Refused,
) -> None:
    site = world.site()
    agreed = {"site": site.pk, "urgency": "down", "kind": "working_hours", "amount": 4}
    made = as_owner.post("/promise-rules", agreed)
    assert made.json()["said"] == "within 4 working hours"
    rule = PromiseRule.objects.get(site=site)
    refused(as_owner.post("/promise-rules", agreed), 422)
    changed = as_owner.patch(f"/promise-rules/{rule.pk}", {"amount": 6}, tag=made["ETag"])
    assert changed.json()["amount"] == 6
    desk = caller(dispatcher)
    assert len(desk.get("/promise-rules", {"site": site.pk}).json()["items"]) == 1
    refused(desk.post("/promise-rules", agreed), 403)
    gone = as_owner.delete(f"/promise-rules/{rule.pk}", tag=changed["ETag"])
    assert gone.status_code == 204
    everywhere = PromiseRule.objects.get(site__isnull=True, urgency="down")
    seen = as_owner.get(f"/promise-rules/{everywhere.pk}")
    kept = refused(as_owner.delete(f"/promise-rules/{everywhere.pk}", tag=seen["ETag"]), 422)
    assert kept["code"] == "kept_rule"


def test_hours_and_closed_days(
    as_owner: Caller, caller: Callable[[Any], Caller], dispatcher: Person, refused: Refused
) -> None:
    seen = as_owner.get("/service-hours")
    assert len(seen.json()["windows"]) == 5
    window = {"weekday": 0, "opens": "09:00:00", "closes": "12:00:00"}
    refused(as_owner.patch("/service-hours", {"windows": [window]}), 428)
    kept = as_owner.patch("/service-hours", {"windows": [window]}, tag=seen["ETag"])
    assert kept.json() == {"windows": [window]}
    refused(as_owner.patch("/service-hours", {"windows": [window]}, tag=seen["ETag"]), 412)
    refused(as_owner.patch("/service-hours", {"windows": []}, tag=kept["ETag"]), 422)
    desk = caller(dispatcher)
    refused(desk.patch("/service-hours", {"windows": [window]}), 403)
    closed = desk.post("/closed-days", {"date": "2026-12-24", "why": "half staffed"})
    assert closed.json()["site"] is None
    gone = desk.delete(f"/closed-days/{closed.json()['id']}", tag=closed["ETag"])
    assert gone.status_code == 204


def test_one_sees_the_own_notices_only(
    as_driver: Caller, driver: Person, owner: Person, refused: Refused
) -> None:
    given: dict[str, Any] = {"subject": "Late", "text": "See to it.", "now": NOW}
    notices.tell(people=[driver, owner], key="x", **given)
    (mine,) = as_driver.get("/notices", {"seen": "false"}).json()["items"]
    assert mine["subject"] == "Late"
    seen = as_driver.post(f"/notices/{mine['id']}/see")
    assert seen.json()["seen_at"] is not None
    assert as_driver.get("/notices", {"seen": "false"}).json()["items"] == []
    refused(as_driver.post(f"/notices/{Notice.objects.get(person=owner).pk}/see"), 404)
