"""An accountant's quarter in the browser: count a bag, reconcile, preview, file, amend, export."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.sales.actions.bags import count_bag, seal
from fleet.sales.models import Bag
from people.models import Person
from service.compliance.actions import filing, tax_rules
from service.compliance.models import Filing
from service.compliance.sums.gathering import Period
from tests.journeys.test_desk import looked_at
from tests.service.compliance.taxed import Sales, drinks, local, machine_at, rate
from tests.world import World

Check = Callable[[Page], None]
Picture = Callable[..., Path]
QUARTER = Period(date(2026, 1, 1), date(2026, 4, 1))
ADDRESS = "/tax/report/?state=FL&starts_on=2026-01-01&ends_on=2026-04-01&basis="
TAX_PAGES = (
    "/tax/",
    ADDRESS,
    "/tax/rules/",
    "/tax/places/",
    "/tax/classes/?state=FL",
    "/tax/settings/",
    "/bags/",
    "/bags/bankings/",
    "/commission/",
    "/settlements/",
)


@pytest.fixture
def sales(live: Any, world: World, owner: Person) -> Sales:
    """A machine in a county of Florida whose first quarter was read, with a bag sealed at it."""
    site = world.site("Palm Court", state="FL", county="Hale")
    tax_rules.load_packs(states=["FL"], actor=owner, now=world.now)
    rate("FL", "state", "0.06", owner, world.now)
    county = rate("FL-00-00011", "county", "0.01", owner, world.now)
    tax_rules.place_site(site=site, jurisdiction=county, actor=owner, now=world.now)
    tax_rules.save_duty(
        changes={"state": "FL", "first_period": QUARTER.starts_on}, actor=owner, now=world.now
    )
    machine = machine_at(world, "LOB-1", site, drinks(world))
    sold = Sales(machine)
    sold.read(local(2026, 1, 2, 9))
    sold.read(local(2026, 2, 12, 9), cash_1=100, card_2=20)
    seal(
        seal_number="A-1",
        machine=machine,
        sealed_at=local(2026, 2, 12, 9),
        actor=owner,
        now=world.now,
    )
    return sold


def test_a_quarter_is_counted_reconciled_filed_and_exported(
    sales: Sales,
    desk_page: Page,
    accountant: Person,
    sign_in: Callable[[Page, Person], None],
    axe: Check,
    picture: Picture,
) -> None:
    page = desk_page
    sign_in(page, accountant)
    # The bag: counted, and held against what it should hold.
    page.goto("/bags/")
    page.get_by_role("link", name="A-1").click()
    page.get_by_label("Coins and notes together").fill("171.50")
    page.get_by_role("button", name="Keep the count").click()
    expect(page.get_by_text("A-1: 171.50")).to_be_visible()
    assert Bag.objects.get().counts.get().counted_by == accountant
    page.goto("/bags/differences/")
    looked_at(page, axe, picture, "over-and-short")
    # To the bank: the sum of what is chosen is told at once.
    page.goto("/bags/bankings/")
    page.get_by_role("link", name="Choose all shown").click()
    expect(page.get_by_role("status")).to_have_text("Chosen: 1 of 1, $171.50")
    page.get_by_label("A-1", exact=True).uncheck()
    expect(page.get_by_role("status")).to_have_text("Chosen: 0 of 1, $0.00")
    page.get_by_label("A-1", exact=True).check()
    looked_at(page, axe, picture, "banking")
    page.get_by_label("Number of the slip").fill("77-1")
    page.get_by_label("Amount on the slip").fill("171.50")
    page.get_by_role("button", name="Keep the banking").click()
    expect(page.get_by_role("heading", name="Slip 77-1")).to_be_visible()
    # The report, and what it is made of.
    page.goto("/tax/")
    looked_at(page, axe, picture, "tax")
    page.get_by_role("link", name="1 Jan 2026").click()
    expect(page.get_by_role("heading", name="Receipts and tax")).to_be_visible()
    expect(page.get_by_text("$14.21").first).to_be_visible()
    looked_at(page, axe, picture, "tax-report")
    page.get_by_role("link", name="FL, FL-00-00011").first.click()
    expect(page.get_by_role("heading", name="Sale intervals of LOB-1")).to_be_visible()
    looked_at(page, axe, picture, "tax-line")
    # Files for the spreadsheet and the folder.
    page.goto(ADDRESS)
    for name in ("CSV", "XLSX", "PDF"):
        with page.expect_download() as written:
            page.get_by_role("link", name=name, exact=True).click()
        assert written.value.suggested_filename.endswith(name.lower())
    page.get_by_label("The authority's confirmation").fill("C-17")
    page.get_by_role("button", name="File the return of FL").click()
    expect(page.get_by_text("stand as they were filed")).to_be_visible()
    looked_at(page, axe, picture, "tax-filed")
    assert Filing.objects.get().reference == "C-17"


def test_a_late_read_becomes_an_amendment(
    sales: Sales,
    desk_page: Page,
    accountant: Person,
    sign_in: Callable[[Page, Person], None],
    axe: Check,
    picture: Picture,
) -> None:
    filed = filing.file_period(
        state="FL", period=QUARTER, actor=accountant, now=local(2026, 4, 3, 9)
    )
    sales.read(local(2026, 3, 30, 9), received=local(2026, 4, 10, 9), cash_1=40)
    page = desk_page
    sign_in(page, accountant)
    page.goto(f"/tax/returns/{filed.pk}/")
    expect(page.get_by_role("heading", name="Since it was filed")).to_be_visible()
    looked_at(page, axe, picture, "tax-amend")
    page.get_by_label("What came to light").fill("A read came a week late.")
    page.get_by_role("button", name="File the amendment").click()
    expect(page.get_by_text("Amends")).to_be_visible()
    assert Filing.objects.get(amends=filed).receipts == 280


def test_money_on_a_phone(
    sales: Sales,
    phone_page: Page,
    accountant: Person,
    sign_in: Callable[[Page, Person], None],
    axe: Check,
    picture: Picture,
) -> None:
    now = timezone.now()
    bag = Bag.objects.get()
    count_bag(bag=bag, amount=Decimal("171.50"), counted_at=now, actor=accountant, now=now)
    sign_in(phone_page, accountant)
    for number, address in enumerate(TAX_PAGES):
        phone_page.goto(address)
        looked_at(phone_page, axe, picture, f"money{number}-phone", "light")
