"""The accountant's pages of sales tax: a quarter previewed, filed, amended, written to files."""

import re
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from fleet.machines.models import Machine
from people.models import Person
from service.compliance.actions import filing, tax_rules
from service.compliance.models import Filing, FilingDuty, Jurisdiction, Rate, TaxRule, TaxSettings
from service.compliance.sums.gathering import Period
from tests.service.compliance.taxed import Sales, drinks, local, machine_at, rate
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Any], Client]
JANUARY = "state=FL&starts_on=2026-01-01&ends_on=2026-02-01&basis="


@pytest.fixture
def sales(world: World, owner: Person) -> Sales:
    site = world.site("Palm Court", state="FL", county="Hale")
    tax_rules.load_packs(states=["FL"], actor=owner, now=world.now)
    rate("FL", "state", "0.06", owner, world.now)
    county = rate("FL-00-00011", "county", "0.01", owner, world.now)
    tax_rules.place_site(site=site, jurisdiction=county, actor=owner, now=world.now)
    machine: Machine = machine_at(world, "LOB-1", site, drinks(world))
    sold = Sales(machine)
    sold.read(local(2026, 1, 2, 9))
    sold.read(local(2026, 1, 12, 9), cash_1=100, card_2=20)
    return sold


def seen(page: str) -> str:
    found = re.search(r'name="seen" value="([0-9a-f]{64})"', page)
    assert found
    return found[1]


def test_an_accountant_previews_and_files(desk: Desk, sales: Sales, accountant: Person) -> None:
    client = desk(accountant)
    page = client.get(f"/tax/report/?{JANUARY}").content.decode()
    for said in ("$210.00", "$195.79", "$14.21", "12A-15.011", "no tax advice", "soft drink"):
        assert said in page
    filed = client.post(
        f"/tax/file/?{JANUARY}", {"seen": seen(page), "reference": "C-1", "note": ""}
    )
    found = Filing.objects.get()
    assert filed.status_code == 302
    assert filed["Location"] == f"/tax/returns/{found.pk}/"
    page = client.get(filed["Location"]).content.decode()
    assert "stand as they were filed" in page
    assert found.digest in page
    assert "<strong>Same</strong>: the kept inputs have the digest of that day" in page
    assert "1 Jan 2026 to 31 Jan 2026" in page


def test_what_is_held_back_leads_to_where_it_is_decided(
    desk: Desk, sales: Sales, owner: Person
) -> None:
    sales.meter.new_board("ZZZ9002")
    sales.read(local(2026, 1, 20, 9), cash_1=4)
    waits = sales.machine.intervals.get(awaits_decision=True)
    client = desk(owner)
    page = client.get(f"/tax/report/?{JANUARY}").content.decode()
    assert "Held back until it is decided" in page
    assert page.count("1 interval does not add up or waits for a decision") == 1
    assert f'<a href="/reads/{waits.to_read_id}/">decide' in page
    assert '<td data-th="columns">every column</td>' in page
    filed = client.post(f"/tax/file/?{JANUARY}", {"seen": seen(page), "reference": "", "note": ""})
    page = client.get(filed["Location"]).content.decode()
    assert f'<a href="/reads/{waits.to_read_id}/">decide' in page
    assert "LOB-1, every column, 2026-01-12 09:00 to 2026-01-20 09:00" in page, "as it was filed"


def test_a_late_read_is_amended(desk: Desk, sales: Sales, accountant: Person) -> None:
    found = filing.file_period(
        state="FL",
        period=Period(date(2026, 1, 1), date(2026, 2, 1)),
        actor=accountant,
        now=local(2026, 2, 5, 9),
    )
    sales.read(local(2026, 1, 30, 9), received=local(2026, 2, 20, 9), cash_1=40)
    client, address = desk(accountant), f"/tax/returns/{found.pk}/"
    page = client.get(address).content.decode()
    assert "Since it was filed" in page
    assert "$70.00" in page
    assert "LOB-1</a>, taken Fri 30 Jan 2026, 09:00, received Fri 20 Feb 2026, 09:00" in page
    amended = client.post(
        f"/tax/returns/{found.pk}/amend/",
        {"seen": seen(page), "note": "a read came late", "reference": ""},
    )
    new = Filing.objects.get(amends=found)
    assert amended["Location"] == f"/tax/returns/{new.pk}/"
    assert "was amended" in client.get(address).content.decode()


def test_a_return_that_its_inputs_do_not_give_is_said_to_differ(
    desk: Desk, sales: Sales, accountant: Person
) -> None:
    """A figure other than the kept inputs give, written so from the start, for none changes."""
    period = Period(date(2026, 1, 1), date(2026, 2, 1))
    filed = filing.file_period(
        state="FL", period=period, actor=accountant, now=local(2026, 2, 5, 9)
    )
    other = Filing.objects.get(pk=filed.pk)
    other.pk, other.state = None, "GA"
    other.figures["totals"]["tax"] = "14.20"
    other.save(force_insert=True)
    page = desk(accountant).get(f"/tax/returns/{other.pk}/").content.decode()
    assert "Not the same" in page
    assert "14.20" in page
    assert "14.21" in page


def test_lines_of_one_rule_stand_together(desk: Desk, sales: Sales, accountant: Person) -> None:
    """The rule's reckoning stands once, with the sum that it is of."""
    sales.read(local(2026, 1, 20, 9), cash_2=10)
    page = desk(accountant).get(f"/tax/report/?{JANUARY}").content.decode()
    assert page.count("227.50 / 1.0726") == 1
    assert "in all under this rule" not in page
    assert "together" in page


def test_a_stale_preview_is_not_filed(desk: Desk, sales: Sales, accountant: Person) -> None:
    client = desk(accountant)
    page = client.get(f"/tax/report/?{JANUARY}").content.decode()
    sales.read(local(2026, 1, 20, 9), cash_1=1)
    refused = client.post(f"/tax/file/?{JANUARY}", {"seen": seen(page)})
    assert refused.status_code == 409
    assert "books have changed" in refused.content.decode()
    assert not Filing.objects.exists()


def test_a_line_shows_its_intervals(desk: Desk, sales: Sales, accountant: Person) -> None:
    client = desk(accountant)
    page = client.get(f"/tax/report/line/?{JANUARY}&line=1").content.decode()
    assert "LOB-1" in page
    assert "12A-15.011" in page
    for number in ("9", "²", "9" * 5000):
        assert client.get(f"/tax/report/line/?{JANUARY}&line={number}").status_code == 404


@pytest.mark.parametrize(
    ("form", "begins"),
    [("csv", b"State,"), ("xlsx", b"PK"), ("pdf", b"%PDF"), ("how", b"%PDF")],
)
def test_files(desk: Desk, sales: Sales, accountant: Person, form: str, begins: bytes) -> None:
    client = desk(accountant)
    file = client.get(f"/tax/report/export/?{JANUARY}&as={form}")
    assert file.status_code == 200
    assert file.content.startswith(begins)


def test_bad_periods_are_told(desk: Desk, accountant: Person) -> None:
    client = desk(accountant)
    page = client.get("/tax/report/?starts_on=2026-02-01&ends_on=2026-01-01")
    assert page.status_code == 422
    assert "comes after the first day" in page.content.decode()


def test_rules_are_taken_in_entered_changed_and_removed(
    desk: Desk, world: World, accountant: Person
) -> None:
    world.site("Dune Street", state="NJ")
    client = desk(accountant)
    assert "No rule is entered for NJ" in client.get("/tax/rules/").content.decode()
    client.post("/tax/rules/packs/", {"states": ["NJ"]})
    assert TaxRule.objects.filter(state="NJ", origin="pack").count() >= 5
    page = client.get("/tax/rules/").content.decode()
    assert "N.J.A.C. 18:24-16.1" in page
    milk = TaxRule.objects.get(key="nj-milk")
    given = {
        "key": "nj-milk",
        "state": "nj",
        "title": "Milk",
        "shape": "exempt",
        "rank": "10",
        "classes": ["milk"],
        "rate_kind": "general",
        "citation": "a letter",
        "why": "it came",
        "status": "secondary",
    }
    changed = client.post(f"/tax/rules/{milk.pk}/", given)
    new = TaxRule.objects.get(key="nj-milk", replaced_by__isnull=True)
    assert changed["Location"] == f"/tax/rules/{new.pk}/"
    assert "unverified" in client.get(changed["Location"]).content.decode()
    client.post(f"/tax/rules/{new.pk}/remove/", {"why": "sold no more"})
    assert not TaxRule.objects.filter(
        key="nj-milk", replaced_by__isnull=True, removed_at__isnull=True
    ).exists()
    bad = client.post(
        "/tax/rules/add/",
        given | {"key": "own", "shape": "divisor", "divisors": "0.07"},
    )
    assert bad.status_code == 422
    assert "two figures with a comma" in bad.content.decode()
    good = given | {"key": "own", "shape": "divisor", "divisors": "0.07, 1.0726\n0.06, 1.0645"}
    assert client.post("/tax/rules/add/", good).status_code == 302
    assert len(TaxRule.objects.get(key="own").rule.divisors) == 2


def test_places_rates_and_files(desk: Desk, world: World, accountant: Person) -> None:
    site = world.site("Palm Court", state="FL")
    client = desk(accountant)
    client.post("/tax/places/", {"code": "FL", "name": "Florida", "kind": "state", "state": "FL"})
    state = Jurisdiction.objects.get(code="FL")
    client.post(f"/tax/places/{state.pk}/", {"general": "6", "begins_on": "2020-01-01"})
    assert Rate.objects.get().general == Decimal("0.06")
    raw = b"12,00,00011,0.01,0.01,0,0,20200101,29991231\n"
    client.post("/tax/rates/load/", {"file": SimpleUploadedFile("FLR2026Q1", raw)})
    county = Jurisdiction.objects.get(code="FL-00-00011")
    client.post(f"/tax/places/{county.pk}/site/", {"site": site.pk})
    page = client.get(f"/tax/places/{county.pk}/").content.decode()
    assert "Palm Court" in page
    assert "1 %" in page
    bad = client.post("/tax/rates/load/", {"file": SimpleUploadedFile("x", b"12,00\n")})
    assert bad.status_code == 422
    assert "has 2 fields" in bad.content.decode()
    again = client.post("/tax/rates/load/", {"file": SimpleUploadedFile("y", raw)})
    assert "was loaded on" in again.content.decode()


def test_settings_and_duties(desk: Desk, accountant: Person) -> None:
    client = desk(accountant)
    client.post("/tax/settings/", {"basis": "days", "rounding": "by_jurisdiction"})
    assert TaxSettings.the().basis == "days"
    given = {"state": "fl", "every": "quarter", "due_day": "20", "first_period": "2025-10-01"}
    client.post("/tax/settings/duty/", given)
    assert FilingDuty.objects.get().first_period == date(2025, 10, 1)
    page = client.get("/tax/").content.decode()
    assert "late" in page
    client.post("/tax/settings/duty/", given | {"every": "month"})
    assert FilingDuty.objects.get().every == "month"


def test_classes_say_why(desk: Desk, world: World, dispatcher: Person) -> None:
    drinks(world)
    page = desk(dispatcher).get("/tax/classes/?state=OH&search=Cola").content.decode()
    assert "soft drink" in page
    assert "sweetened, 0 % juice, no milk" in page
    assert "Spring" not in page


@pytest.mark.parametrize("address", ["/tax/", "/tax/report/", "/tax/rules/", "/tax/places/"])
def test_takings_are_not_for_drivers_or_dispatchers(
    desk: Desk, driver: Person, dispatcher: Person, address: str
) -> None:
    assert desk(driver).get(address).status_code == 403
    assert desk(dispatcher).get(address).status_code == 403
