"""Agreements and statements through the API: agreed, previewed, issued as seen, corrected, paid."""

import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from rest_framework.test import APIClient

from people.models import Person
from tests.service.compliance.taxed import Sales, drinks, local, machine_at
from tests.world import World

pytestmark = pytest.mark.django_db
Device = Callable[[Any], APIClient]
TERMS = {"steps": [["0", "10"], ["100", "20"]], "minimum": "5", "base": ["refunds"]}


def post(client: APIClient, path: str, body: Any) -> Any:
    return client.post(
        f"/api/v1/{path}", body, format="json", HTTP_IDEMPOTENCY_KEY=str(uuid.uuid4())
    )


@pytest.fixture
def office(device: Device, accountant: Person) -> APIClient:
    return device(accountant)


@pytest.fixture
def agreed(world: World, office: APIClient) -> dict[str, Any]:
    """A site that sold 210.00 in January, and its host's agreement."""
    site = world.site("Palm Court", state="FL")
    sales = Sales(machine_at(world, "LOB-1", site, drinks(world)))
    sales.read(local(2026, 1, 2, 9))
    sales.read(local(2026, 1, 12, 9), cash_1=100, card_2=20)
    body = {"site": site.pk, "starts_on": "2026-01-01", "rhythm": "monthly", "terms": TERMS}
    made = post(office, "commission-agreements", body)
    assert made.status_code == 201, made.json()
    return dict(made.json())


def test_a_statement_is_issued_as_seen_corrected_and_paid(
    office: APIClient, agreed: dict[str, Any]
) -> None:
    path = f"/api/v1/commission-agreements/{agreed['id']}/preview?day=2026-01-15"
    seen = office.get(path).json()
    # 10 % of the first 100.00 and 20 % of the other 110.00.
    assert (seen["due"], seen["figures"]["receipts"]) == ("32.00", "210.00")
    body = {"agreement": agreed["id"], "day": "2026-01-15", "seen": seen["digest"]}
    stale = post(office, "statements", body | {"seen": "0" * 64})
    assert (stale.status_code, stale.json()["code"]) == (409, "changed_meanwhile")
    issued = post(office, "statements", body)
    assert (issued.status_code, issued.json()["open"]) == (201, "32.00")
    assert post(office, "statements", body).status_code in (409, 422)
    pk = issued.json()["id"]
    corrected = post(office, f"statements/{pk}/correct", {"amount": "-2.00", "reason": "a refund"})
    assert corrected.json()["corrections"][0]["amount"] == "-2.00"
    paid = post(office, f"statements/{pk}/pay", {"amount": "32.00", "paid_on": "2026-02-10"})
    assert (paid.status_code, paid.json()["open"]) == (200, "0.00")
    over = post(office, f"statements/{pk}/pay", {"amount": "1.00", "paid_on": "2026-02-10"})
    assert over.status_code == 422
    later = office.get(path.replace("2026-01-15", "2026-02-15")).json()
    assert Decimal(later["figures"]["carried"][0]["amount"]) == -2
    assert len(office.get("/api/v1/statements").json()["items"]) == 1


def test_the_statements_of_all_sites_are_run(office: APIClient, agreed: dict[str, Any]) -> None:
    made = post(office, "statements/run", {"rhythm": "monthly", "day": "2026-01-15"})
    assert len(made.json()["statements"]) == 1
    again = post(office, "statements/run", {"rhythm": "monthly", "day": "2026-01-15"})
    assert again.json()["statements"] == []


def test_bad_terms_are_told_by_place(office: APIClient, agreed: dict[str, Any]) -> None:
    site = {"site": agreed["site"], "starts_on": "2027-01-01", "rhythm": "monthly"}
    bad = post(office, "commission-agreements", site | {"terms": {"steps": [["0", "ten"]]}})
    assert bad.status_code == 422
    overlapping = post(office, "commission-agreements", site | {"terms": TERMS})
    assert overlapping.status_code in (409, 422)


def test_commission_is_not_for_drivers(
    device: Device, driver: Person, agreed: dict[str, Any]
) -> None:
    client = device(driver)
    assert client.get("/api/v1/statements").status_code == 403
    assert client.get("/api/v1/commission-agreements").status_code == 403
