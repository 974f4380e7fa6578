"""Promises, days closed, webhooks and notices at the desk."""

from typing import Any

import pytest
from django.utils import timezone

from fleet.machines.models import Machine
from people.actions import notices
from people.models import Notice, Person
from service.tickets.actions import reporting, webhooks
from service.tickets.models import (
    ClosedDay,
    PromiseRule,
    ServiceHours,
    Symptom,
    WebhookDelivery,
    WebhookTarget,
)
from tests.cast import NOW
from tests.typed import typed
from tests.world import World

pytestmark = pytest.mark.django_db


def test_an_owner_agrees_changes_and_removes_what_a_site_is_promised(
    desk: Any, owner: Person, world: World
) -> None:
    site, client = world.site(), desk(owner)
    agreed = {"site": site.pk, "urgency": "down", "kind": "working_hours", "amount": "4"}
    assert client.post("/promises/add/", agreed)["Location"] == "/promises/"
    shown = client.get("/promises/").content.decode()
    assert "within 4 working hours" in shown
    rule = PromiseRule.objects.get(site=site)
    again = client.post("/promises/add/", agreed)
    assert again.status_code == 422
    address = f"/promises/{rule.pk}/"
    wrong = client.post(address, typed(client, address) | {"amount": "0"})
    assert wrong.status_code == 422
    kept = client.post(address, typed(client, address) | {"amount": "6"})
    assert kept["Location"] == "/promises/"
    rule.refresh_from_db()
    assert rule.amount == 6
    client.post(f"{address}remove/")
    assert not PromiseRule.objects.filter(site=site).exists()


def test_hours_are_written_as_lines(desk: Any, owner: Person) -> None:
    client = desk(owner)
    client.post("/promises/hours/", {"hours": "Mon-Thu 7:30-16:00\nFri 8-12"})
    assert ServiceHours.objects.count() == 5
    assert "Mon-Thu 07:30-16:00\nFri 08:00-12:00" in client.get("/promises/").content.decode()
    for wrong in ("whenever", "", "Mon 9-8"):
        refused = client.post("/promises/hours/", {"hours": wrong})
        assert refused.status_code == 422
        assert 'id="id_hours_error"' in refused.content.decode()


def test_the_desk_closes_days_and_opens_them(
    desk: Any, dispatcher: Person, accountant: Person, world: World
) -> None:
    site, client = world.site(), desk(dispatcher)
    client.post("/promises/days/", {"day": "2026-12-24", "site": site.pk, "why": "half staffed"})
    closed = ClosedDay.objects.get()
    again = client.post("/promises/days/", {"day": "2026-12-24", "site": site.pk, "why": "again"})
    assert again.status_code == 422
    shown = desk(accountant).get("/promises/").content.decode()
    assert "half staffed" in shown
    assert "Close a day" not in shown
    assert "Agree something" not in client.get("/promises/").content.decode()
    client.post(f"/promises/days/{closed.pk}/remove/")
    assert not ClosedDay.objects.exists()


def test_a_webhook_is_added_and_its_secret_is_shown_once(
    desk: Any, owner: Person, lobby: Machine
) -> None:
    client = desk(owner)
    given = {"name": "the host", "url": "https://hooks.example.org/t", "events": ["ticket.new"]}
    made = client.post("/webhooks/", given)
    target = WebhookTarget.objects.get()
    assert target.secret in made.content.decode()
    assert "no-store" in made["Cache-Control"]
    address = f"/webhooks/{target.pk}/"
    for page in ("/webhooks/", address):
        assert target.secret not in client.get(page).content.decode()
    renewed = client.post(f"{address}secret/").content.decode()
    target.refresh_from_db()
    assert target.secret in renewed
    changed = typed(client, address) | {"url": "https://10.0.0.1/", "events": ["ticket.new"]}
    refused = client.post(address, changed)
    assert refused.status_code == 422
    assert "private network" in refused.content.decode()
    client.post(address, typed(client, address) | {"events": ["ticket.late"], "name": "host"})
    target.refresh_from_db()
    assert (target.name, target.events) == ("host", ["ticket.late"])


def test_the_log_tells_every_try_and_what_was_given_up_is_sent_again(
    desk: Any, owner: Person, lobby: Machine
) -> None:
    changes = {"name": "the host", "url": "https://hooks.example.org/", "events": ["ticket.new"]}
    webhooks.save_target(changes=changes, actor=owner, now=NOW)
    reporting.report(
        machine=lobby,
        symptom=Symptom.objects.get(code="coins"),
        source="desk",
        actor=owner,
        now=timezone.now(),
    )
    sent = WebhookDelivery.objects.get()
    tried = {"at": NOW, "status": 503, "said": "<b>not today</b>", "took_ms": 17}
    sent.attempts, sent.tries = [tried], 1
    sent.state, sent.next_at, sent.ended_at = "given_up", None, NOW
    sent.save()
    client = desk(owner)
    assert "given up" in client.get("/webhooks/").content.decode()
    shown = client.get(f"/webhooks/sent/{sent.pk}/").content.decode()
    for said in ("503", "&lt;b&gt;not today&lt;/b&gt;", sent.message, "ticket.new"):
        assert said in shown
    again = client.post(f"/webhooks/sent/{sent.pk}/again/")
    assert again.status_code == 302
    sent.refresh_from_db()
    assert sent.state == "waiting"
    assert client.post(f"/webhooks/sent/{sent.pk}/again/").status_code == 409


def test_today_shows_what_one_was_told_until_it_is_seen(
    desk: Any, owner: Person, driver: Person
) -> None:
    for key in ("first", "second"):
        notices.tell(
            people=[owner, driver],
            key=key,
            subject=f"The {key} matter",
            text="as it is",
            address="/fleet/",
            now=timezone.now(),
        )
    client = desk(owner)
    shown = client.get("/").content.decode()
    assert "The first matter" in shown
    assert "2 to read" in shown
    mine = Notice.objects.get(person=owner, key="first")
    client.post(f"/notices/{mine.pk}/seen/")
    shown = client.get("/").content.decode()
    assert "The first matter" not in shown
    assert "1 to read" in client.get("/fleet/").content.decode()
    theirs = Notice.objects.get(person=driver, key="second")
    assert client.post(f"/notices/{theirs.pk}/seen/").status_code == 404
    client.post("/notices/seen/")
    assert "to read" not in client.get("/").content.decode()
    assert Notice.objects.filter(person=driver, seen_at__isnull=True).count() == 2
