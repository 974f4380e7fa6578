"""Planned maintenance: from the dispatcher's list to the work written down on a phone."""

from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.machines.models import Machine
from people.models import Person
from service.tickets.models import Ticket
from service.upkeep.actions import due, plans, work
from service.upkeep.models import DueWork, MaintenanceDone, MaintenancePlan, Reading
from tests.journeys.test_desk import looked_at
from tests.service.tickets.ticketwork import TicketWork
from tests.service.upkeep.sales import interval
from tests.world import World

Check = Callable[[Page], None]
Picture = Callable[..., Path]


def cleaned(plan: MaintenancePlan, machine: Machine, by: Person, at: datetime, warm: str) -> None:
    work.done(
        plan=plan,
        machine=machine,
        answers=[work.Answer(item, work.DONE) for item in plan.checklist],
        readings=[work.Taken("cabinet_c", Decimal(warm))],
        at=at,
        minutes=22,
        actor=by,
        now=at,
    )


@pytest.fixture
def kept_up(live: Any, world: World, owner: Person, dispatcher: Person, driver: Person) -> Machine:
    """A machine of a cooled kind with a year's history, and five more beside it."""
    now = timezone.now()
    site = world.site("Ferry landing", street="1 Quay Road", city="Marl")
    kind = world.kind("two-sided stack", energy_class="B")
    lobby, *_ = [world.machine(f"LOB-{n}", kind, site=site) for n in range(1, 7)]
    MaintenancePlan.objects.update(made_at=now - timedelta(days=200))
    coil = MaintenancePlan.objects.get(name="Condenser coil and screen")
    for days, warm in ((280, "3.2"), (190, "3.9"), (97, "6.8")):
        cleaned(coil, lobby, driver, now - timedelta(days=days), warm)
    for week in range(10):
        ends = now - timedelta(days=7 * week)
        interval(lobby, ends - timedelta(days=7), ends, 130 + 9 * (week % 3))
    plans.save_plan(
        changes={
            "name": "Motors and cradles",
            "trigger": "vends",
            "every_vends": 6000,
            "minutes": 30,
            "checklist": ["Each motor runs smoothly", "Cradles turn freely"],
            "cautions": "Keep hands out of a cradle that can turn.",
            "starts_on": (now - timedelta(days=60)).date(),
        },
        actor=owner,
        now=now,
    )
    due.work_out(now=now)
    return lobby


def test_upkeep_from_the_desk_to_the_phone(
    kept_up: Machine,
    desk_page: Page,
    phone_page: Page,
    dispatcher: Person,
    driver: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    page = desk_page
    sign_in(page, dispatcher)
    page.goto("/upkeep/")
    looked_at(page, axe, picture, "upkeep")
    page.get_by_label("Machine, site or plan").fill("LOB-1")
    page.get_by_role("button", name="Look").click()
    page.get_by_role("link", name="Condenser coil and screen at LOB-1").first.click()
    looked_at(page, axe, picture, "upkeep-turn")
    page.get_by_label("Who does it").select_option(label=driver.name)
    page.get_by_role("button", name="Give it").click()
    expect(page.get_by_text(f"with {driver.name}")).to_be_visible()
    page.get_by_role("link", name="The plan").click()
    looked_at(page, axe, picture, "upkeep-plan")
    page.get_by_role("link", name="Change").click()
    looked_at(page, axe, picture, "upkeep-plan-change")
    page.goto("/upkeep/plans/")
    looked_at(page, axe, picture, "upkeep-plans")

    phone = phone_page
    sign_in(phone, driver)
    phone.goto("/upkeep/")
    looked_at(phone, axe, picture, "upkeep-phone")
    phone.get_by_role("link", name="Write down Condenser coil and screen at LOB-1").click()
    expect(phone.get_by_text("Unplug the machine before")).to_be_visible()
    looked_at(phone, axe, picture, "upkeep-record-phone")
    phone.get_by_role("button", name="Write it down").click()
    expect(phone.get_by_text("Say what became of it.").first).to_be_visible()
    for group in phone.locator(".checklist fieldset").all():
        group.get_by_text("done", exact=True).tap()
    fan = phone.get_by_role("group", name="Fan turns freely")
    fan.get_by_text("a fault").tap()
    phone.get_by_label("Fan turns freely and blows, nothing near it: what it is").fill("It scrapes")
    phone.get_by_label("Fan turns freely and blows, nothing near it: make a ticket").select_option(
        label="warm"
    )
    phone.get_by_label("Temperature in the cabinet").fill("40.1")
    picture(phone, "upkeep-record-filled-phone", full_page=True)
    phone.get_by_role("button", name="Write it down").click()
    expect(phone.get_by_text("written down.")).to_be_visible()
    looked_at(phone, axe, picture, "upkeep-done-phone")
    assert MaintenanceDone.objects.filter(by=driver).count() == 4
    assert Ticket.objects.get().source == "upkeep"
    assert Reading.objects.order_by("-taken_at", "-pk")[0].value == Decimal("4.50")
    turns = DueWork.objects.filter(machine=kept_up, plan__name="Condenser coil and screen")
    assert turns.filter(state="open").count() == 1
    assert turns.filter(state="done", done__by=driver).count() == 3
    phone.goto(f"/upkeep/machines/{kept_up.pk}/")
    looked_at(phone, axe, picture, "upkeep-machine-phone")
    page.goto(f"/upkeep/machines/{kept_up.pk}/")
    looked_at(page, axe, picture, "upkeep-machine")


def test_reliability_and_a_calendar(
    live: Any,
    tickets: TicketWork,
    desk_page: Page,
    owner: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    world, now = tickets.world, timezone.now()
    kind = tickets.machine.kind
    for number, failures in ((2, 6), (3, 1), (4, 0)):
        machine = world.machine(f"LOB-{number}", kind, site=tickets.machine.placements.get().site)
        for count in range(failures):
            at = now - timedelta(days=20 * count + 3, hours=count)
            ticket = tickets.ticket(machine=machine, now=at - timedelta(hours=3 + 5 * count))
            tickets.close(ticket, now=at)
    page = desk_page
    sign_in(page, owner)
    page.goto("/upkeep/reliability/")
    looked_at(page, axe, picture, "reliability")
    page.goto("/upkeep/calendars/")
    page.get_by_label("Which calendar has it").fill("Wall")
    page.get_by_role("button", name="Make an address").click()
    address = page.locator("[data-secret]").inner_text()
    looked_at(page, axe, picture, "upkeep-calendar")
    assert "BEGIN:VCALENDAR" in page.request.get(address).text()
