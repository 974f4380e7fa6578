"""The accountant's pages that are used now and then: a host's statement, a processor's file, a rate
and a rule that change; and what is written down of energy and printed of calories."""

import io
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from fleet.machines.actions import holdings, kinds, machines
from fleet.machines.models import Machine, Product
from fleet.sales.actions import agreements
from fleet.sales.models import Agreement, SettlementFile, SettlementMapping, Statement
from people.models import Person
from service.compliance.actions import measured
from service.compliance.models import EnergyReading, Jurisdiction, TaxRule
from tests.journeys.test_desk import looked_at
from tests.service.compliance.taxed import Sales, local
from tests.world import World

Check = Callable[[Page], None]
Picture = Callable[..., Path]
SignIn = Callable[[Page, Person], None]
QUARTER = "/tax/report/?state=FL&starts_on=2026-01-01&ends_on=2026-04-01&basis="
FEBRUARY = "since=2026-02-01&until=2026-02-28"


@pytest.fixture
def books(live: Any, florida: Machine) -> Machine:
    """In Florida at 7 %; from 2 to 12 February 100 drinks were sold for cash and 20 for cards."""
    sold = Sales(florida)
    sold.read(local(2026, 2, 2, 9))
    sold.read(local(2026, 2, 12, 9), cash_1=100, card_2=20)
    return florida


@pytest.fixture
def seen(
    desk_page: Page, phone_page: Page, accountant: Person, sign_in: SignIn, axe: Check, picture: Any
) -> Callable[[str], None]:
    """Looks at the page that stands open at the desk, there and on a phone."""
    sign_in(desk_page, accountant)
    sign_in(phone_page, accountant)

    def look(name: str) -> None:
        looked_at(desk_page, axe, picture, name)
        phone_page.goto(desk_page.url)
        looked_at(phone_page, axe, picture, f"{name}-phone", "light")

    return look


def test_a_host_is_told_and_paid(
    books: Machine, owner: Person, desk_page: Page, seen: Callable[[str], None]
) -> None:
    agreement = agreements.save_agreement(
        agreement=None,
        changes={
            "site": books.placements.get().site,
            "starts_on": date(2026, 1, 1),
            "terms": {"steps": [["0", "10"], ["100", "20"]], "minimum": "15", "base": ["tax"]},
        },
        actor=owner,
        now=local(2026, 1, 2, 9),
    )
    page = desk_page
    page.goto("/commission/")
    seen("commission")
    page.goto(f"/commission/agreements/{agreement.pk}/")
    seen("commission-agreement")
    page.goto(f"/commission/agreements/{agreement.pk}/preview/?day=2026-02-05")
    # Of 210.00 Florida's tax is 14.21, tests/api/test_tax.py: 10.00 and a fifth of 95.79.
    expect(page.get_by_text("$29.16").first).to_be_visible()
    seen("statement-preview")
    page.get_by_role("button", name="Issue this statement").click()
    expect(page.get_by_role("heading", name="Statement 1")).to_be_visible()
    page.get_by_label("Paid", exact=True).fill("29.16")
    page.get_by_label("On", exact=True).fill("2026-03-02")
    page.get_by_role("button", name="Keep the payment").click()
    expect(page.get_by_text("$29.16 paid, $0.00 open")).to_be_visible()
    seen("statement")
    assert Statement.objects.get().agreement == Agreement.objects.get()


def test_a_settlement_is_read_by_columns_of_ones_own(
    books: Machine, desk_page: Page, seen: Callable[[str], None]
) -> None:
    page = desk_page
    page.goto("/settlements/")
    columns = page.locator("form", has=page.get_by_role("heading", name="Say which column"))
    for label, value in (
        ("Name", "weekly file"),
        ("Date column", "Day"),
        ("Amount column", "Gross"),
        ("Terminal column", "Machine"),
        ("Fee column", "Fee"),
    ):
        columns.get_by_label(label).fill(value)
    columns.get_by_role("button", name="Keep the columns").click()
    page.get_by_label("File", exact=True).set_input_files(
        {
            "name": "week.csv",
            "mimeType": "text/csv",
            "buffer": b"Day,Machine,Gross,Fee\n2026-02-05,LOB-1,30.00,0.90\n"
            b"2026-02-10,T-9,5.00,0.15\n",
        }
    )
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_role("rowheader", name="week.csv")).to_be_visible()
    page.goto(f"/settlements/?{FEBRUARY}")
    seen("settlements")
    page.get_by_role("link", name="LOB-1").first.click()
    # Twenty vends at 1.75 against 30.00.
    expect(page.get_by_role("cell", name="−$5.00").last).to_be_visible()
    seen("settlements-machine")
    mapping = SettlementMapping.objects.get()
    page.goto(f"/settlements/columns/{mapping.pk}/")
    expect(page.get_by_text("week.csv")).to_be_visible()
    page.get_by_label("Fee column").fill("Costs")
    page.get_by_role("button", name="Keep the columns").click()
    page.goto(f"/settlements/columns/{mapping.pk}/")
    seen("settlements-columns")
    mapping.refresh_from_db()
    file = SettlementFile.objects.get()
    assert (mapping.fee_column, file.columns["fee_column"]) == ("Costs", "Fee")


def test_a_rate_and_a_rule_change_the_report(
    books: Machine, desk_page: Page, seen: Callable[[str], None]
) -> None:
    page = desk_page
    page.goto(QUARTER)
    expect(page.get_by_text("$14.21").first).to_be_visible()
    county = Jurisdiction.objects.get(kind="county")
    page.goto(f"/tax/places/{county.pk}/")
    page.get_by_text("Enter a rate").click()
    page.get_by_label("General rate, percent").fill("2")
    page.get_by_label("First day", exact=True).first.fill("2026-02-01")
    page.get_by_label("Where it is published").fill("letter of the county")
    page.get_by_role("button", name="Keep").first.click()
    expect(page.get_by_role("cell", name="2 %")).to_be_visible()
    seen("tax-place")
    page.goto(QUARTER)
    expect(page.get_by_text("$14.21")).to_have_count(0)
    expect(page.get_by_text("8 %").first).to_be_visible()
    rule = TaxRule.objects.get(key="fl-food", replaced_by=None)
    page.goto(f"/tax/rules/{rule.pk}/")
    seen("tax-rule")
    page.get_by_label("In a sentence").fill("Food and drink, as our accountant reads it")
    page.get_by_label("Why it is entered or changed").fill("a letter of the state")
    page.get_by_role("button", name="Keep").click()
    page.goto(QUARTER)
    expect(page.get_by_text("as our accountant reads it").first).to_be_visible()
    seen("tax-report-changed")
    rule.refresh_from_db()
    assert rule.replaced_by is not None
    page.goto(f"/tax/rules/{rule.pk}/")
    expect(page.get_by_text("Replaced by")).to_be_visible()


def test_energy_is_written_down_and_signs_are_printed(
    books: Machine,
    world: World,
    owner: Person,
    desk_page: Page,
    sign_in: SignIn,
    axe: Check,
    picture: Picture,
) -> None:
    given: dict[str, Any] = {"actor": owner, "now": world.now}
    kinds.save_kind(
        kind=books.kind,
        changes={
            "energy_class": "A",
            "refrigerated_volume_l": Decimal("722.1"),
            "front_hides_label": True,
        },
        **given,
    )
    machines.change_machine(machine=books, changes={"made_on": date(2020, 1, 1)}, **given)
    cola = Product.objects.get(name="Cola")
    holdings.save_product(product=cola, changes={"calories": Decimal(143)}, **given)
    measured.save_label_settings(
        changes={
            "registered": True,
            "registered_until": timezone.now().date() + timedelta(days=365),
            "contact": "Fennimore, 555 0100",
        },
        **given,
    )
    page = desk_page
    sign_in(page, owner)
    page.goto(f"/compliance/energy/machines/{books.pk}/")
    until = timezone.now().replace(second=0, microsecond=0) - timedelta(hours=6)
    for label, moment in (("From", until - timedelta(days=7)), ("Until", until)):
        page.get_by_label(label, exact=True).fill(f"{moment:%Y-%m-%dT%H:%M}")
    page.get_by_label("Used (kWh)").fill("31")
    page.get_by_role("button", name="Write it down").click()
    # 31 kWh in a week are 4.43 a day; the limit of its class and volume is 3.756.
    expect(page.get_by_text("above the 3.7560")).to_be_visible()
    looked_at(page, axe, picture, "energy-written")
    assert EnergyReading.objects.get().kwh == 31
    page.goto(f"/compliance/labels/signs/?machine={books.pk}")
    with page.expect_download() as printed:
        page.get_by_role("link", name="As PDF").click()
    paper = PdfReader(io.BytesIO(Path(printed.value.path()).read_bytes()))
    words = "".join(one.extract_text() for one in paper.pages)
    assert len(paper.pages) == 1
    for told in ("LOB-1", "Cola", "140", "not known", "Fennimore"):
        assert told in words
