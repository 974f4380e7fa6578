"""Sales tax through the API: asked, filed, amended; rules, rates and places kept."""

import csv
import io
import uuid
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from openpyxl import load_workbook
from rest_framework.test import APIClient

from people.models import Person
from service.compliance.actions import filing
from service.compliance.models import Rate, TaxRule
from service.compliance.sums.gathering import Period
from tests.service.compliance.taxed import Sales, drinks, local, machine_at
from tests.world import World

pytestmark = pytest.mark.django_db
Device = Callable[[Any], APIClient]
JANUARY = "starts_on=2026-01-01&ends_on=2026-02-01"
FILE = "12,45,12,0.06,0.06,0,0,20200101,29991231\n12,00,00011,0.01,0.01,0,0,20200101,29991231\n"


def post(client: APIClient, path: str, body: Any, key: str | None = None) -> Any:
    return client.post(
        f"/api/v1/{path}", body, format="json", HTTP_IDEMPOTENCY_KEY=key or str(uuid.uuid4())
    )


@pytest.fixture
def office(device: Device, accountant: Person) -> APIClient:
    return device(accountant)


@pytest.fixture
def sales(world: World, office: APIClient) -> Sales:
    """Everything that the tax needs, entered through the API alone."""
    site = world.site("Palm Court", state="FL")
    taken = post(office, "tax-rules/packs", {"states": ["FL"]})
    assert sorted(taken.json()["keys"])[0].startswith("fl-")
    loaded = post(office, "rate-files", {"name": "FLR2026Q1", "text": FILE})
    assert (loaded.status_code, loaded.json()["rates"]) == (201, 2)
    places = office.get("/api/v1/jurisdictions?kind=county").json()["items"]
    lies = post(
        office,
        "site-jurisdictions",
        {"site": site.pk, "jurisdiction": places[0]["id"]},
    )
    assert lies.status_code == 201, lies.json()
    sold = Sales(machine_at(world, "LOB-1", site, drinks(world)))
    sold.read(local(2026, 1, 2, 9))
    sold.read(local(2026, 1, 12, 9), cash_1=100, card_2=20)
    return sold


def test_a_period_is_reported_and_filed_once(office: APIClient, sales: Sales) -> None:
    made = office.get(f"/api/v1/tax-reports?{JANUARY}&state=FL").json()
    totals = made["figures"]["totals"]
    assert (totals["receipts"], totals["taxable"], totals["tax"]) == ("210.00", "195.79", "14.21")
    assert "no tax advice" in made["advice"]
    assert made["figures"]["lines"][0]["status"] == "read"
    (part,) = office.get(f"/api/v1/tax-machines?{JANUARY}").json()
    assert (part["receipts"], part["tax"]) == ("210.00", "14.21")
    body = {
        "state": "FL",
        "starts_on": "2026-01-01",
        "ends_on": "2026-02-01",
        "seen": made["digest"],
    }
    key = str(uuid.uuid4())
    filed = post(office, "filings", body, key)
    assert filed.status_code == 201, filed.json()
    assert post(office, "filings", body, key).json() == filed.json()
    assert post(office, "filings", body).status_code == 409
    pk = filed.json()["id"]
    assert office.get(f"/api/v1/filings/{pk}/changes").json()["lines"] == []
    again = office.get(f"/api/v1/filings/{pk}/recomputed").json()
    assert again == {"is_same": True, "digest_holds": True, "differs": []}
    assert len(office.get("/api/v1/filings?state=FL").json()["items"]) == 1


def test_a_report_names_what_is_held_back(office: APIClient, sales: Sales) -> None:
    sales.meter.new_board("ZZZ9002")
    sales.read(local(2026, 1, 20, 9), cash_1=4)
    waits = sales.machine.intervals.get(awaits_decision=True)
    made = office.get(f"/api/v1/tax-reports?{JANUARY}&state=FL").json()
    assert made["undecided_number"] == 1
    (one,) = made["undecided"]
    assert (one["machine_interval"], one["read"]) == (waits.pk, waits.to_read_id)
    assert (one["asset_tag"], one["columns"], one["awaits_decision"]) == ("LOB-1", ["1", "2"], True)
    assert one["why"]
    assert office.get(f"/api/v1/reads/{one['read']}").status_code == 200


def test_a_report_and_a_return_are_files(office: APIClient, sales: Sales) -> None:
    """Line by line, their totals last; a return is written as it was filed."""
    seen = office.get(f"/api/v1/tax-reports?{JANUARY}&state=FL").json()["digest"]
    body = {"state": "FL", "starts_on": "2026-01-01", "ends_on": "2026-02-01", "seen": seen}
    pk = post(office, "filings", body).json()["id"]
    told = office.get(f"/api/v1/tax-reports/export?{JANUARY}&state=FL")
    kept = office.get(f"/api/v1/filings/{pk}/export?as=csv")
    head, *rows = csv.reader(io.StringIO(told.content.decode("utf-8-sig")))
    assert list(csv.reader(io.StringIO(kept.content.decode("utf-8-sig")))) == [head, *rows]
    column = head.index("Tax due")
    *lines, total = (Decimal(row[column]) for row in rows)
    assert (sum(lines), total) == (Decimal("14.21"), Decimal("14.21"))
    sales.read(local(2026, 1, 30, 9), received=local(2026, 2, 20, 9), cash_1=40)
    again = office.get(f"/api/v1/filings/{pk}/export")
    assert again.content == kept.content
    book = office.get(f"/api/v1/tax-reports/export?{JANUARY}&as=xlsx")
    assert load_workbook(io.BytesIO(book.content)).active.max_row > 2
    assert office.get("/api/v1/tax-reports/export").status_code == 400


def test_a_late_read_is_amended(office: APIClient, sales: Sales, accountant: Person) -> None:
    period = Period(date(2026, 1, 1), date(2026, 2, 1))
    given = {"state": "FL", "period": period, "actor": accountant}
    pk = filing.file_period(now=local(2026, 2, 5, 9), **given).pk
    before = office.get(f"/api/v1/filings/{pk}").json()
    sales.read(local(2026, 1, 30, 9), received=local(2026, 2, 20, 9), cash_1=40)
    assert office.get(f"/api/v1/filings/{pk}").json() == before
    assert office.get(f"/api/v1/filings/{pk}/recomputed").json()["is_same"]
    changes = office.get(f"/api/v1/filings/{pk}/changes").json()
    assert (changes["receipts"], len(changes["reads"])) == ("70.00", 1)
    amended = post(
        office, f"filings/{pk}/amend", {"note": "a late read", "seen": changes["digest"]}
    )
    assert (amended.status_code, amended.json()["amends"]) == (201, pk)
    assert office.get(f"/api/v1/filings/{pk}").json() == before
    assert len(office.get("/api/v1/filings?state=FL").json()["items"]) == 2


def test_rules_are_replaced_and_removed(office: APIClient, sales: Sales) -> None:
    rule = TaxRule.objects.get(key="fl-food")
    data = {**rule.data, "title": "ours"}
    new = post(office, f"tax-rules/{rule.pk}/replace", {"data": data, "why": "a letter"})
    assert (new.status_code, new.json()["title"]) == (201, "ours")
    bad = post(office, "tax-rules", {"data": {**data, "key": "x", "share": 0.5}, "why": "y"})
    assert bad.status_code == 422
    gone = post(office, f"tax-rules/{new.json()['id']}/remove", {"why": "sold no more"})
    assert gone.json()["removed_at"]
    kept = office.get("/api/v1/tax-rules?key=fl-food").json()["items"]
    assert len(kept) == 2


def test_a_rate_is_changed_only_by_who_saw_it(office: APIClient, sales: Sales) -> None:
    row = Rate.objects.get(jurisdiction__kind="county")
    shown = office.get(f"/api/v1/rates/{row.pk}")
    assert shown.json()["general"] == "0.01"
    path = f"/api/v1/rates/{row.pk}"
    blind = office.patch(path, {"general": "0.02"}, format="json")
    assert blind.status_code == 428
    changed = office.patch(path, {"general": "0.02"}, format="json", HTTP_IF_MATCH=shown["ETag"])
    assert (changed.status_code, changed.json()["general"]) == (200, "0.02")
    bad = post(office, "rate-files", {"name": "x", "text": "12,45\n"})
    assert bad.status_code == 422


def test_settings_and_duties(office: APIClient) -> None:
    shown = office.get("/api/v1/tax-settings")
    changed = office.patch(
        "/api/v1/tax-settings", {"basis": "days"}, format="json", HTTP_IF_MATCH=shown["ETag"]
    )
    assert changed.json()["basis"] == "days"
    duty = post(
        office,
        "filing-duties",
        {"state": "FL", "every": "month", "due_day": 20, "first_period": "2026-01-01"},
    )
    assert duty.status_code == 201, duty.json()


def test_takings_are_not_for_drivers(device: Device, driver: Person, sales: Sales) -> None:
    client = device(driver)
    for path in (f"tax-reports?{JANUARY}", f"tax-machines?{JANUARY}", "filings", "rates"):
        assert client.get(f"/api/v1/{path}").status_code == 403
