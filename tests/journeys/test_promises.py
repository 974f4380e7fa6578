"""What an owner sets about promises and webhooks, and what was told, in a real browser."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.machines.models import Machine
from people.actions import notices
from people.models import Person
from service.tickets.actions import agreements, reporting, webhooks
from service.tickets.models import Symptom, WebhookDelivery
from tests.cast import NOW
from tests.journeys.test_desk import looked_at
from tests.world import World

Picture = Callable[..., Path]
Check = Callable[[Page], None]
SignIn = Callable[[Page, Any], None]


def test_promises_webhooks_and_notices_at_both_widths(
    desk_page: Page,
    phone_page: Page,
    owner: Person,
    sign_in: SignIn,
    lobby: Machine,
    axe: Check,
    picture: Picture,
) -> None:
    given: dict[str, Any] = {"actor": owner, "now": NOW}
    site = lobby.placements.get().site
    agreed = {"site": site, "urgency": "down", "kind": "working_hours", "amount": 4}
    rule = agreements.save_rule(changes=agreed, **given)
    agreements.close_day(day=NOW.date(), why="stocktaking", **given)
    events = ["ticket.new", "ticket.late"]
    heard = {"name": "the host", "url": "https://hooks.example.org/tickets", "events": events}
    target = webhooks.save_target(changes=heard, **given)
    symptom = Symptom.objects.get(code="nothing_works")
    reporting.report(machine=lobby, symptom=symptom, source="desk", actor=owner, now=timezone.now())
    sent = WebhookDelivery.objects.get()
    tried = {"at": NOW, "status": None, "said": "no connection", "took_ms": 12}
    sent.attempts, sent.tries, sent.state = [tried], 10, "given_up"
    sent.next_at, sent.ended_at = None, NOW
    sent.save()
    notices.tell(
        people=[owner],
        key="x",
        subject="Late: sells nothing at all, LOB-1 at Ferry landing",
        text="Promised for 2026-03-03 17:00, by the end of the next working day.",
        address="/fleet/",
        now=timezone.now(),
    )
    addresses = {
        "promises": "/promises/",
        "promise": f"/promises/{rule.pk}/",
        "webhooks": "/webhooks/",
        "webhook": f"/webhooks/{target.pk}/",
        "webhook-message": f"/webhooks/sent/{sent.pk}/",
        "today-notices": "/",
        "stickers": "/stickers/",
    }
    for page, width in ((desk_page, "desk"), (phone_page, "phone")):
        sign_in(page, owner)
        for name, address in addresses.items():
            answer = page.goto(address)
            assert answer is not None
            assert answer.ok, address
            for folded in page.locator("main details > summary").all():
                folded.click()
            looked_at(page, axe, picture, f"{name}-{width}", "light" if width == "desk" else "dark")


def test_an_owner_agrees_something_with_a_host_by_keys(
    desk_page: Page, owner: Person, sign_in: SignIn, world: World, axe: Check
) -> None:
    world.site()
    sign_in(desk_page, owner)
    desk_page.goto("/promises/")
    desk_page.get_by_text("Agree something for a site").focus()
    desk_page.keyboard.press("Enter")
    form = desk_page.locator("form[action$='/promises/add/']")
    form.get_by_label("Site").select_option(label="Ferry landing")
    form.get_by_label("Urgency").select_option(label="takes no money or sells nothing")
    form.get_by_label("What is promised").select_option(label="within so many working hours")
    form.get_by_label("Hours or days").fill("0")
    form.get_by_role("button", name="Agree").press("Enter")
    expect(desk_page.get_by_text("1 to 1000 hours")).to_be_visible()
    axe(desk_page)
    form.get_by_label("Hours or days").fill("4")
    form.get_by_role("button", name="Agree").press("Enter")
    expect(desk_page.get_by_role("status")).to_contain_text("Promised")
    expect(desk_page.get_by_text("within 4 working hours")).to_be_visible()
