"""Tickets in the browser: closed on a phone without a signal, and one that is late at the desk."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Page, expect

from people.models import Person
from service.tickets.actions import moves, reporting
from service.tickets.models import Cause, Refund, Symptom, Ticket, TicketAct
from tests.journeys.test_desk import looked_at
from tests.journeys.test_road import kept_pages
from tests.service.runs.roadwork import RoadWork, roadwork
from tests.world import World

Check = Callable[[Page], None]
Picture = Callable[..., Path]


@pytest.fixture
def work(live: Any, world: World, driver: Person) -> RoadWork:
    return roadwork(world, driver, machines=2)


def reported(work: RoadWork, code: str, *, days: int = 0, **more: Any) -> Ticket:
    now = timezone.now()
    return reporting.report(
        machine=work.machines[0],
        symptom=Symptom.objects.get(code=code),
        source=Ticket.Source.HOST,
        reported_at=now - timedelta(days=days),
        actor=work.owner,
        now=now - timedelta(days=days),
        **more,
    ).ticket


def photograph() -> bytes:
    """As large as a telephone makes them: it does not fit into what a form keeps in words."""
    out = BytesIO()
    Image.effect_noise((3000, 2000), 60).convert("RGB").save(out, "JPEG", quality=90)
    return out.getvalue()


def test_a_driver_closes_a_ticket_without_a_signal(
    work: RoadWork, phone_page: Page, driver: Person, sign_in: Any, axe: Check, picture: Picture
) -> None:
    column = work.world.column(work.machines[0], "1")
    ticket = reported(work, "sold_out_full", column=column, said="One says sold out, it is full.")
    moves.give(ticket=ticket, to=driver, actor=work.owner, now=timezone.now())
    page = phone_page
    sign_in(page, driver)
    page.goto("/road/")
    expect(page.get_by_role("link", name="sold out while full")).to_be_visible()
    looked_at(page, axe, picture, "road-day-with-ticket")
    page.get_by_role("link", name="My tickets").first.click()
    looked_at(page, axe, picture, "road-tickets")
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    kept_pages(page, "/road/tickets/", 2)
    page.context.set_offline(True)
    page.get_by_role("link", name="sold out while full").click()
    expect(page.get_by_role("heading", name="Sold out while full")).to_be_visible()
    page.get_by_role("button", name="I am there and begin").click()
    expect(page.get_by_role("heading", name="1 thing waits to be sent")).to_be_visible()
    looked_at(page, axe, picture, "road-ticket")
    close = page.locator("#close")
    close.get_by_label("What it was").select_option(label="drop sensor dirty")
    close.get_by_label("Minutes at the machine").fill("15")
    close.get_by_label("What was done").fill("Cleaned the sensor, three vends.")
    close.get_by_label("Test vends made").fill("3")
    close.get_by_label("Test vends passed").fill("3")
    sent = {"name": "sensor.jpeg", "mimeType": "image/jpeg", "buffer": photograph()}
    close.get_by_label("Pictures").set_input_files([sent])  # type: ignore[list-item]
    expect(close.get_by_text("sensor.jpg is kept")).to_be_visible()
    # A page that was lost has it all again.
    page.reload()
    expect(close.get_by_text("sensor.jpg is kept")).to_be_visible()
    expect(close.get_by_label("Minutes at the machine")).to_have_value("15")
    close.get_by_role("button", name="It is done").click()
    expect(page.get_by_role("heading", name="2 things wait to be sent")).to_be_visible()
    expect(page.locator("[data-road-waiting]")).to_contain_text("1 picture")
    looked_at(page, axe, picture, "road-ticket-waiting")
    assert not TicketAct.objects.exists()
    page.context.set_offline(False)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(page.get_by_role("heading", name="My tickets")).to_be_visible()
    expect(page.get_by_text("None.").first).to_be_visible()
    done = Ticket.objects.get(pk=ticket.pk)
    assert (done.state, done.work.cause.code) == (Ticket.State.CLOSED, "drop_sensor")
    attachment = done.attachments.get()
    with Image.open(BytesIO(bytes(attachment.raw))) as found:
        assert max(found.size) == 1600
    verbs = TicketAct.objects.order_by("client_at").values_list("verb", flat=True)
    assert list(verbs) == ["on_site", "close"]


def test_a_fault_is_reported_on_the_phone_and_a_refusal_keeps_its_picture(
    work: RoadWork, phone_page: Page, driver: Person, sign_in: Any, axe: Check, picture: Picture
) -> None:
    page = phone_page
    sign_in(page, driver)
    page.goto(f"/road/machines/{work.machines[0].pk}/report/")
    looked_at(page, axe, picture, "road-report")
    file = {"name": "lamp.jpeg", "mimeType": "image/jpeg", "buffer": photograph()}
    page.get_by_label("Pictures").set_input_files([file])  # type: ignore[list-item]
    expect(page.get_by_text("lamp.jpg is kept")).to_be_visible()
    page.get_by_role("button", name="Report it").click()
    expect(page.get_by_role("alert")).to_contain_text("What is wrong")
    page.get_by_role("button", name="Mend it").click()
    expect(page.get_by_text("lamp.jpg is kept")).to_be_visible()
    page.get_by_label("What is wrong").select_option(label="dark")
    page.get_by_role("button", name="Report it").click()
    expect(page.get_by_role("link", name="dark")).to_be_visible()
    assert Ticket.objects.get(symptom__code="dark").attachments.count() == 1


def test_a_late_ticket_is_seen_given_and_ended(
    work: RoadWork,
    desk_page: Page,
    dispatcher: Person,
    driver: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    before = reported(work, "coins", days=40)
    moves.take(ticket=before, actor=driver, now=timezone.now() - timedelta(days=39))
    reporting_day = {"contact_name": "A customer", "contact_reach": "555 0100 22"}
    wanted = reporting.Wanted(Decimal("2.25"), Refund.Method.CASH)
    late = reported(work, "nothing_works", days=9, refund=wanted, **reporting_day)
    page = desk_page
    sign_in(page, dispatcher)
    page.goto("/tickets/")
    looked_at(page, axe, picture, "tickets")
    page.get_by_role("link", name="2 late").click()
    page.get_by_role("link", name=f"{late.reference[:4]}-{late.reference[4:]}").click()
    expect(page.get_by_text("days late").or_(page.get_by_text("day")).first).to_be_visible()
    looked_at(page, axe, picture, "ticket")
    page.get_by_label("Who goes there").select_option(label=driver.name)
    page.get_by_role("button", name="Give it").click()
    expect(page.get_by_text("It is given.")).to_be_visible()
    page.get_by_role("link", name="Close with the work done").click()
    looked_at(page, axe, picture, "ticket-close")
    page.get_by_label("What it was").select_option(label="power at the site")
    page.get_by_label("Minutes at the machine").fill("30")
    page.get_by_role("button", name="Close the ticket").click()
    expect(page.get_by_text("How it was closed")).to_be_visible()
    page.get_by_role("link", name="pay or refuse").click()
    looked_at(page, axe, picture, "refunds")
    page.get_by_label("Handed out by").fill("the host")
    page.get_by_role("button", name="It is paid").click()
    expect(page.get_by_text("Nobody waits for money.")).to_be_visible()
    assert Ticket.objects.get(pk=late.pk).work.cause == Cause.objects.get(code="site_power")
    page.goto("/tickets/report/")
    page.get_by_label("Machine").select_option(label=work.machines[0].asset_tag)
    page.get_by_label("What is wrong").select_option(label="coins")
    expect(page.get_by_role("heading", name="Open already")).to_be_visible()
    looked_at(page, axe, picture, "ticket-report")
    page.get_by_role("button", name="Join to").click()
    expect(page.get_by_text("joined to the open one")).to_be_visible()
    looked_at(page, axe, picture, "ticket-joined")
    page.goto("/tickets/kept/")
    looked_at(page, axe, picture, "tickets-kept")
    page.goto(f"/tickets/{before.pk}/paper/")
    looked_at(page, axe, picture, "ticket-paper")


def test_the_desks_pages_at_the_width_of_a_phone(
    work: RoadWork, phone_page: Page, dispatcher: Person, sign_in: Any, axe: Check, picture: Picture
) -> None:
    column = work.world.column(work.machines[0], "1")
    wanted = reporting.Wanted(Decimal("2.25"), Refund.Method.POST)
    ticket = reported(work, "nothing_came", days=3, column=column, refund=wanted)
    page = phone_page
    sign_in(page, dispatcher)
    for name, address in (
        ("tickets", "/tickets/"),
        ("ticket", f"/tickets/{ticket.pk}/"),
        ("ticket-close", f"/tickets/{ticket.pk}/close/"),
        ("ticket-report", f"/tickets/report/?machine={ticket.machine_id}&symptom=1"),
        ("refunds", "/tickets/refunds/"),
        ("tickets-kept", "/tickets/kept/"),
    ):
        page.goto(address)
        looked_at(page, axe, picture, f"phone-{name}")
