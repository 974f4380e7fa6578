"""Audit files through the API: handed in, decided about, and turned into sales and events."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from fleet.machines.models import Machine
from fleet.sales.models import AuditRead, MachineInterval
from tests.fleet.sales.meter import Meter
from tests.world import World

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]
SAMPLES = Path(__file__).resolve().parent.parent / "checks" / "audit_reads"
ADDRESS = "/api/v1/reads"


@pytest.fixture
def meter() -> Meter:
    return Meter.with_buttons("1", "2")


def files(meter: Meter) -> list[bytes]:
    """Two files, a day apart, of a machine that sold five of the first and two of the second."""
    # The machine's clock is of New York; an hour of slack keeps it from being in the future.
    start = (timezone.now() - timedelta(days=2, hours=6)).replace(tzinfo=None)
    first = meter.sell("1", cash=40).read(start)
    second = meter.sell("1", cash=3, cashless=2).sell("2", cash=2).read(start + timedelta(days=1))
    return [first, second]


def send(
    caller: Any, data: bytes, content_type: str = "application/octet-stream", **query: Any
) -> Any:
    return caller.client.post(ADDRESS, data, content_type=content_type, query_params=query or None)


def test_two_reads_in_and_the_sales_out(
    lobby: Machine, meter: Meter, as_driver: Any, as_owner: Any
) -> None:
    parts = [SimpleUploadedFile(f"{n}.dts", data) for n, data in enumerate(files(meter))]
    answer = as_driver.client.post(ADDRESS, {"files": parts}, format="multipart")
    assert answer.status_code == 200, answer.content
    outcomes = answer.json()["outcomes"]
    assert [(one["result"], one["asset_tag"]) for one in outcomes] == [("accepted", "LOB-1")] * 2
    assert [one["name"] for one in outcomes] == ["0.dts", "1.dts"]

    intervals = as_owner.get("/machine-intervals", {"machine": lobby.pk}).json()["items"]
    assert [(one["paid_units"], one["paid_money"]) for one in intervals] == [(7, "12.25")]
    whole = as_owner.get(f"/machine-intervals/{intervals[0]['id']}").json()
    assert sum(line["paid_units"] for line in whole["lines"]) == 7

    lines = as_owner.get("/sale-intervals", {"machine": lobby.pk}).json()["items"]
    by_product = {one["product_name"]: (one["paid_units"], one["cashless_money"]) for one in lines}
    assert by_product["Cola"] == (5, "3.50")
    assert by_product["Tea"] == (2, "0.00")
    one = as_owner.get(f"/sale-intervals/{lines[0]['id']}").json()
    assert one == lines[0]

    asked = {
        "period": "month",
        "by": "product",
        "since": "2020-01-01T00:00:00Z",
        "until": "2100-01-01T00:00:00Z",
    }
    totals = as_owner.get("/sales-totals", asked).json()
    figures = {one["label"]: one["figures"]["paid_money"] for one in totals}
    assert figures == {"Cola": "8.75", "Tea": "3.50"}


def test_a_raw_body_is_one_file_and_the_same_one_twice_changes_nothing(
    lobby: Machine, meter: Meter, as_driver: Any
) -> None:
    data = files(meter)[0]
    first = send(as_driver, data, name="lobby.dts").json()["outcomes"][0]
    assert (first["result"], first["name"]) == ("accepted", "lobby.dts")
    again = send(as_driver, data, content_type="text/plain").json()["outcomes"][0]
    assert (again["result"], again["read"]) == ("duplicate", first["read"])
    assert AuditRead.objects.count() == 1


def test_the_sample_file_says_what_it_should(as_owner: Any) -> None:
    data = (SAMPLES / "read_a.dts").read_bytes()
    outcome = send(as_owner, data).json()["outcomes"][0]
    # No machine has this asset number, so a person must say whose it is.
    assert outcome["result"] == "waiting"
    assert outcome["waiting"][0]["code"] == "unmatched"
    read = as_owner.get(f"/reads/{outcome['read']}").json()
    # From the description of the sample: 4 899 vends ever, 5 501.30 EUR.
    assert (read["paid_count"], read["paid_money"], read["currency"]) == (4899, "5501.30", "EUR")
    assert read["verdict"] == "ok"
    assert read["report"]["identity"]["asset"] == "ASSET-0042"


def test_the_file_itself_comes_back_byte_for_byte(
    as_owner: Any, as_driver: Any, refused: Refused
) -> None:
    data = (SAMPLES / "read_a.dts").read_bytes()
    read = send(as_owner, data).json()["outcomes"][0]["read"]
    raw = as_owner.get(f"/reads/{read}/raw", Accept="application/octet-stream")
    assert raw.content == data
    assert raw["Content-Disposition"].startswith("attachment")
    same = as_owner.get(f"/reads/{read}/raw", **{"If-None-Match": raw["ETag"]})
    assert same.status_code == 304
    refused(as_driver.get(f"/reads/{read}/raw"), 403)


def test_a_waiting_read_is_matched_and_set_aside_with_reasons(
    lobby: Machine, as_owner: Any, as_driver: Any, refused: Refused
) -> None:
    meter = Meter.with_buttons("1", "2", asset="GONE-9", serial="ZZZ777", board="ZZZ778")
    read = send(as_owner, files(meter)[0]).json()["outcomes"][0]["read"]
    tray = as_owner.get("/reads", {"state": "waiting"}).json()["items"]
    assert [one["id"] for one in tray] == [read]
    refused(as_driver.get(f"/reads/{read}"), 403)  # what it says in full is takings

    body = {"machine": lobby.pk, "reason": "the tag was changed last week"}
    said = refused(as_owner.post(f"/reads/{read}/match", {"machine": lobby.pk}), 422)
    assert said["errors"][0]["pointer"] == "/reason"
    matched = as_owner.post(f"/reads/{read}/match", body)
    assert matched.status_code == 200, matched.content
    assert (matched.json()["state"], matched.json()["asset_tag"]) == ("accepted", "LOB-1")
    refused(as_owner.post(f"/reads/{read}/match", body), 409, "read_accepted")

    gone = as_owner.post(f"/reads/{read}/set-aside", {"reason": "it was another machine after all"})
    assert gone.json()["state"] == "set_aside"
    back = as_owner.post(f"/reads/{read}/accept", {"reason": "no, it was this one"})
    assert back.json()["state"] == "accepted"
    refused(as_driver.post(f"/reads/{read}/set-aside", {"reason": "x"}), 403)


def test_reads_of_a_machine_entered_later_find_it(
    world: World, lobby: Machine, as_owner: Any, as_driver: Any, refused: Refused
) -> None:
    data = (SAMPLES / "read_a.dts").read_bytes()
    waiting = send(as_owner, data).json()["outcomes"][0]["read"]
    refused(as_driver.post("/reads/match-again"), 403)
    assert as_owner.post("/reads/match-again").json() == {"reads": []}
    machine = world.machine("ASSET-0042", lobby.kind)
    found = as_owner.post("/reads/match-again").json()["reads"]
    assert [(one["id"], one["state"], one["machine"]) for one in found] == [
        (waiting, "accepted", machine.pk)
    ]


def test_a_fresh_board_waits_for_a_decision(
    lobby: Machine, meter: Meter, as_owner: Any, refused: Refused
) -> None:
    start = (timezone.now() - timedelta(days=3)).replace(tzinfo=None)
    send(as_owner, meter.sell("1", cash=40).read(start))
    meter.new_board("ZZZ9002").sell("1", cash=6)
    send(as_owner, meter.read(start + timedelta(days=1)))
    waiting = as_owner.get("/machine-intervals", {"awaits_decision": "true"}).json()["items"]
    assert len(waiting) == 1
    address = f"/machine-intervals/{waiting[0]['id']}/decisions"
    body = {"device": "control_board", "choice": "count_from_zero", "reason": "a new board"}
    said = refused(as_owner.post(address, {**body, "choice": "guess"}), 422)
    assert said["errors"][0]["pointer"] == "/choice"
    made = as_owner.post(address, body)
    assert made.status_code == 201, made.content
    decided = as_owner.get("/machine-intervals").json()["items"][0]
    assert (decided["paid_units"], decided["awaits_decision"]) == (6, False)

    decision = f"/epoch-decisions/{made.json()['id']}"
    assert as_owner.get(decision).json()["reason"] == "a new board"
    assert as_owner.post(f"{decision}/withdraw", {"reason": "not sure"}).status_code == 204
    assert MachineInterval.objects.get().awaits_decision


def test_what_machines_report_in_plain_words(
    lobby: Machine, meter: Meter, as_owner: Any, as_driver: Any, refused: Refused
) -> None:
    meter.events = ["EA2*EJB_12*1*3**1", "EA1*EJB_12*20260313*193011*0"]
    send(as_owner, files(meter)[0])
    (event,) = as_driver.get("/events", {"machine": lobby.pk, "is_active": "true"}).json()["items"]
    assert (event["code"], event["is_active"], event["asset_tag"]) == ("EJB_12", True, "LOB-1")
    assert "12" in event["said"]
    happened = as_driver.get("/event-occurrences", {"machine": lobby.pk}).json()["items"]
    assert happened[0]["happened_at"] == "2026-03-13T19:30:11"

    own = {
        "base": event["base"],
        "kind": lobby.kind_id,
        "words": "The motor of a column does not turn",
        "urgency": "now",
        "job": "repair",
    }
    refused(as_driver.post("/event-meanings", own), 403)
    added = as_owner.post("/event-meanings", own)
    assert added.status_code == 201, added.content
    (event,) = as_driver.get("/events", {"machine": lobby.pk}).json()["items"]
    assert event["said"].startswith("The motor of a column does not turn")
    address = f"/event-meanings/{added.json()['id']}"
    softer = as_owner.patch(address, {"urgency": "soon"}, tag=added["ETag"])
    assert softer.json()["urgency"] == "soon"
    assert as_owner.delete(address, tag=softer["ETag"]).status_code == 204


def test_what_is_no_file_at_all(as_driver: Any, refused: Refused) -> None:
    assert send(as_driver, b"hello").json()["outcomes"][0]["result"] == "unreadable"
    refused(as_driver.client.post(ADDRESS, {}, format="multipart"), 422)
    refused(as_driver.client.post(ADDRESS, {}, format="json"), 415)
    refused(send(as_driver, b"x", machine=987654321), 400, "bad_parameter")
