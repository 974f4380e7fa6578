"""Settlements of cards through the API: taken in, held against sales, how they are read edited."""

import io
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from openpyxl import load_workbook
from rest_framework.test import APIClient

from fleet.machines.models import Machine
from fleet.sales.models import SettlementFile
from people.models import Person

pytestmark = pytest.mark.django_db
Device = Callable[[Any], APIClient]
RAW = b"Day,Terminal,Gross,Fee\n2026-02-05,T-9,30.00,1.50\n2026-02-11,T-9,30.00,2.00\n"
COLUMNS = {
    "name": "ours",
    "date_column": "Day",
    "amount_column": "Gross",
    "fee_column": "Fee",
    "terminal_column": "Terminal",
}
FEBRUARY = "since=2026-02-01&until=2026-03-01"


@pytest.fixture
def office(device: Device, accountant: Person) -> APIClient:
    return device(accountant)


def post(client: APIClient, path: str, body: Any) -> Any:
    return client.post(
        f"/api/v1/{path}", body, format="json", HTTP_IDEMPOTENCY_KEY=str(uuid.uuid4())
    )


@pytest.fixture
def mapping(office: APIClient) -> dict[str, Any]:
    made = post(office, "settlement-mappings", COLUMNS)
    assert made.status_code == 201, made.json()
    return {**made.json(), "etag": made["ETag"]}


def send(client: APIClient, raw: bytes, mapping: int, kind: str = "text/csv") -> Any:
    address = f"/api/v1/settlements?mapping={mapping}&name=week.csv"
    return client.generic("POST", address, raw, content_type=kind)


def test_a_file_is_taken_in_and_held_against_sales(
    office: APIClient, sold: Machine, mapping: dict[str, Any]
) -> None:
    taken = send(office, RAW, mapping["id"])
    assert taken.status_code == 201, taken.json()
    told = taken.json()
    assert (told["line_count"], told["without_machine"]) == (2, 2)
    assert (told["gross"], told["fee"], told["net"]) == ("60.00", "3.50", "56.50")
    assert told["columns"]["fee_column"] == "Fee"
    again = send(office, RAW, mapping["id"], "application/octet-stream")
    assert (again.status_code, again.json()["code"]) == (409, "taken_in_before")
    raw = office.get(f"/api/v1/settlements/{told['id']}/raw", HTTP_ACCEPT="*/*")
    assert raw.content == RAW
    hung = {"code": "T-9", "machine": sold.pk, "starts_on": "2026-01-01"}
    assert post(office, "card-terminals", hung).status_code == 201
    lines = office.get(f"/api/v1/settlement-lines?machine={sold.pk}&day_from=2026-02-10").json()
    assert [(one["day"], one["gross"], one["asset_tag"]) for one in lines["items"]] == [
        ("2026-02-11", "30.00", "LOB-1")
    ]
    found = office.get(f"/api/v1/settlement-days?{FEBRUARY}").json()
    (one,) = found["machines"]
    assert (one["counted"], one["settled"], one["difference"]) == ("70.00", "60.00", "-10.00")
    assert (one["why"], found["fees"]) == ("less was settled than sold", "3.50")
    assert [each["fee"] for each in one["days"] if each["fee"] != "0.00"] == ["1.50", "2.00"]
    told = [each["told"] for each in one["days"]]
    assert (told[0], told[-1], {*told[1:-1]}) == ("in part", "in part", {"whole"})
    enough = office.get(f"/api/v1/settlement-days?{FEBRUARY}&tolerance=10&only=mismatches")
    assert enough.json()["machines"] == []


def test_several_parts_one_file_and_none(office: APIClient, mapping: dict[str, Any]) -> None:
    address = f"/api/v1/settlements?mapping={mapping['id']}"
    part = SimpleUploadedFile("week.csv", RAW)
    made = office.post(address, {"file": part}, format="multipart")
    assert (made.status_code, made.json()["name"]) == (201, "week.csv")
    assert office.post(address, {}, format="multipart").status_code == 422
    unknown = office.post("/api/v1/settlements?mapping=0", {"file": part}, format="multipart")
    assert unknown.status_code == 400
    wrong = send(office, RAW + b"2026-02-12,T-9,ten,0\n", mapping["id"])
    assert wrong.status_code == 422
    assert "line 4: Gross: 'ten' is no amount" in wrong.json()["detail"]
    assert SettlementFile.objects.count() == 1


def test_a_mapping_is_edited_from_the_state_that_was_seen(
    office: APIClient, mapping: dict[str, Any]
) -> None:
    address = f"/api/v1/settlement-mappings/{mapping['id']}"
    blind = office.patch(address, {"decimal_mark": ","}, format="json")
    assert blind.status_code == 428
    given: dict[str, Any] = {"format": "json", "HTTP_IF_MATCH": mapping["etag"]}
    clash = office.patch(address, {"decimal_mark": ","}, **given)
    assert clash.status_code == 422
    changed = office.patch(address, {"decimal_mark": ",", "delimiter": "\t"}, **given)
    assert (changed.status_code, changed.json()["delimiter"]) == (200, "\t")
    assert office.patch(address, {"name": "mine"}, **given).status_code == 412


def test_files_that_spreadsheets_open(
    office: APIClient, sold: Machine, mapping: dict[str, Any]
) -> None:
    send(office, b"Day,Terminal,Gross,Fee\n2026-02-05,=1+1,30.00,1.50\n", mapping["id"])
    days = office.get(f"/api/v1/settlement-days/export?{FEBRUARY}&rows=days&as=csv")
    assert "not known,'=1+1,2026-02-05,,30.00,,1.50" in days.content.decode()
    machines = office.get(f"/api/v1/settlement-days/export?{FEBRUARY}&only=mismatches&as=xlsx")
    sheet = load_workbook(io.BytesIO(machines.content)).active
    assert [cell.value for cell in sheet[2]][-1] == "sold for cards, and nothing was settled"
    assert office.get("/api/v1/statements/export?as=csv").content.startswith(b"statement,site")


def test_settlements_are_not_for_drivers(
    device: Device, driver: Person, dispatcher: Person, mapping: dict[str, Any]
) -> None:
    client = device(driver)
    for path in (
        "settlements",
        "settlement-lines",
        f"settlement-days?{FEBRUARY}",
        "settlement-mappings",
        "card-terminals",
    ):
        assert client.get(f"/api/v1/{path}").status_code == 403
    assert send(device(dispatcher), RAW, mapping["id"]).status_code == 403


def test_a_terminal_is_ended_corrected_and_withdrawn(
    office: APIClient, sold: Machine, mapping: dict[str, Any], device: Device, dispatcher: Person
) -> None:
    send(office, RAW, mapping["id"])
    hung = post(
        office,
        "card-terminals",
        {"code": "T-9", "machine": sold.pk, "starts_on": "2026-01-01"},
    ).json()
    path = f"card-terminals/{hung['id']}"
    refused = post(device(dispatcher), f"{path}/end", {"ends_on": "2026-02-10"})
    assert refused.status_code == 403
    early = post(office, f"{path}/end", {"ends_on": "2025-02-10"})
    assert (early.status_code, early.json()["errors"][0]["pointer"]) == (422, "/ends_on")
    ended = post(office, f"{path}/end", {"ends_on": "2026-02-10"})
    assert (ended.status_code, ended.json()["ends_on"]) == (200, "2026-02-10")
    (line,) = office.get(f"/api/v1/settlement-days?{FEBRUARY}").json()["unmatched"]
    assert line["why"] == "the terminal was taken down from LOB-1 on 2026-02-10"
    right = post(office, f"{path}/correct", {"ends_on": None, "why": "it hangs there still"})
    assert right.status_code == 201, right.json()
    told = right.json()
    assert (told["instead_of"], told["ends_on"]) == (hung["id"], None)
    old = office.get(f"/api/v1/{path}").json()
    assert old["withdrawn_why"] == "it hangs there still"
    again = post(office, f"{path}/withdraw", {"why": "again"})
    assert (again.status_code, again.json()["code"]) == (409, "withdrawn")
    assert office.get(f"/api/v1/settlement-days?{FEBRUARY}").json()["unmatched"] == []
    standing = office.get("/api/v1/card-terminals?withdrawn=false").json()["items"]
    assert [one["id"] for one in standing] == [told["id"]]
    gone = office.get("/api/v1/card-terminals?withdrawn=true").json()["items"]
    assert [one["id"] for one in gone] == [hung["id"]]
    assert post(office, f"card-terminals/{told['id']}/withdraw", {"why": "sold"}).status_code == 200
