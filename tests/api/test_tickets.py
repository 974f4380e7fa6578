"""Tickets through the API: whose they are, each act, files, money, and a driver's queue."""

from io import BytesIO
from typing import Any

import pytest
from django.utils import timezone
from PIL import Image

from people.models import Person
from service.tickets.models import Attachment, Refund, Ticket
from tests.callers import Caller
from tests.cast import NOW
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db


def picture() -> bytes:
    out = BytesIO()
    Image.new("RGB", (60, 40), "navy").save(out, "JPEG")
    return out.getvalue()


@pytest.fixture
def desk(caller: Any, dispatcher: Person) -> Caller:
    return caller(dispatcher)


def reported(desk: Caller, tickets: TicketWork, **more: Any) -> dict[str, Any]:
    body = {
        "machine": tickets.machine.pk,
        "symptom": tickets.symptom().pk,
        "column": tickets.column().pk,
        "said": "Column one says sold out.",
    }
    answer = desk.post("/tickets", body | more)
    assert answer.status_code == 201, answer.content
    return answer.json()


def test_a_ticket_from_report_to_work(
    desk: Caller, as_driver: Caller, tickets: TicketWork, driver: Person, refused: Any
) -> None:
    made = reported(desk, tickets, contact_name="Host", contact_reach="555 0100 22")
    ticket = made["ticket"]
    assert (made["joined"], made["open_ones"], ticket["state"]) == (False, [], "new")
    assert ticket["first_checks"]
    assert ticket["cautions"]
    assert ticket["contact"]["reach"] == "555 0100 22"
    address = f"/tickets/{ticket['id']}"
    # Open and nobody's: a driver sees it, and not who reported it.
    assert as_driver.get(address).json()["contact"] is None
    again = reported(desk, tickets, said="Still.", join=ticket["id"])
    assert again["joined"]
    assert [one["id"] for one in again["open_ones"]] == [ticket["id"]]
    seen = desk.get(address).json()["version"]
    given = desk.post(f"{address}/give", {"to": driver.pk, "seen_version": seen})
    assert (given.status_code, given.json()["state"]) == (200, "given")
    stale = desk.post(f"{address}/drop", {"reason": "no", "seen_version": seen})
    body = refused(stale, 409, "changed_meanwhile")
    assert "given" in body["detail"]
    assert as_driver.get(address).json()["contact"]["name"] == "Host"
    assert as_driver.post(f"{address}/on-site", {}).json()["state"] == "on_site"
    assert as_driver.post(f"{address}/wait", {"reason": "part"}).json()["waiting_for"] == "part"
    assert as_driver.post(f"{address}/resume", {}).json()["state"] == "given"
    assert as_driver.post(f"{address}/note", {"said": "Spare came."}).status_code == 200
    work = {
        "cause": tickets.cause().pk,
        "work": "Cleaned and changed the sensor.",
        "minutes": 20,
        "parts": [{"product": tickets.sensor.pk, "quantity": 1}],
        "place": tickets.truck.pk,
        "test_vends_made": 3,
        "test_vends_passed": 3,
    }
    closed = as_driver.post(f"{address}/close", work)
    assert closed.status_code == 200, closed.content
    assert closed.json()["work"]["parts_cost"] == "18.40"
    assert tickets.held(tickets.sensor) == 4
    body = refused(as_driver.post(f"{address}/close", work), 409, "illegal_move")
    refused(as_driver.post(f"{address}/reopen", {"reason": "again"}), 403)
    opened = desk.post(f"{address}/reopen", {"reason": "It is back."}).json()
    assert opened["id"] != ticket["id"]
    assert opened["reopens"] == ticket["id"]
    assert desk.get(address).json()["work"]["first_time"] is False


def test_lists_are_narrowed_and_become_files(
    desk: Caller, as_driver: Caller, tickets: TicketWork, other_driver: Person, refused: Any
) -> None:
    one = reported(desk, tickets)["ticket"]
    other = reported(desk, tickets, symptom=tickets.symptom("dark").pk, column=None)["ticket"]
    desk.post(f"/tickets/{other['id']}/give", {"to": other_driver.pk})

    def found(**asked: Any) -> list[int]:
        return [row["id"] for row in desk.get("/tickets", asked).json()["items"]]

    assert found() == [other["id"], one["id"]]
    assert found(unassigned="true") == [one["id"]]
    assert found(search=one["reference"]) == [one["id"]]
    assert found(search="dark") == [other["id"]]
    assert found(open="false") == []
    assert found(given_to=other_driver.pk) == [other["id"]]
    assert found(late="true") == []
    # What is given to another is not there for a driver.
    assert [row["id"] for row in as_driver.get("/tickets").json()["items"]] == [one["id"]]
    refused(as_driver.get(f"/tickets/{other['id']}"), 404)
    file = desk.get("/tickets/export", {"state": "new"})
    assert file.status_code == 200
    assert one["reference"] in file.content.decode()
    assert other["reference"] not in file.content.decode()


def test_a_change_needs_the_state_it_saw(
    desk: Caller, tickets: TicketWork, dispatcher: Person, refused: Any
) -> None:
    ticket = reported(desk, tickets)["ticket"]
    address = f"/tickets/{ticket['id']}"
    seen = desk.get(address)
    refused(desk.patch(address, {"priority": 2}), 428)
    changed = desk.patch(address, {"priority": 2, "owner": dispatcher.pk}, tag=seen["ETag"])
    assert (changed.json()["priority"], changed.json()["owner_name"]) == (2, dispatcher.name)
    refused(desk.patch(address, {"priority": 1}, tag=seen["ETag"]), 412)


def test_files_are_checked_and_served_as_what_they_are(
    desk: Caller, as_driver: Caller, tickets: TicketWork, refused: Any
) -> None:
    ticket = reported(desk, tickets)["ticket"]
    address = f"/api/v1/tickets/{ticket['id']}/attachments"
    put = as_driver.client.post(
        f"{address}?name=door.jpg", data=picture(), content_type="image/jpeg"
    )
    assert put.status_code == 201, put.content
    (made,) = put.json()["attachments"]
    assert made["media_type"] == "image/jpeg"
    wrong = as_driver.client.post(address, data=b"<script>", content_type="image/png")
    refused(wrong, 422, "file_type")
    fetched = desk.get(f"/attachments/{made['id']}/content")
    assert fetched["Content-Type"] == "image/jpeg"
    assert fetched["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in fetched["Content-Security-Policy"]
    assert Image.open(BytesIO(fetched.content)).size == (60, 40)
    removed = desk.post(f"/attachments/{made['id']}/remove", {"reason": "a face is on it"})
    assert removed.status_code == 204
    assert not Attachment.objects.exists()


def test_a_refund_is_asked_paid_and_listed(
    desk: Caller, caller: Any, accountant: Person, tickets: TicketWork, refused: Any
) -> None:
    ticket = reported(desk, tickets, refund={"amount": "1.75", "method": "cash"})["ticket"]
    (refund,) = ticket["refunds"]
    more = desk.post(f"/tickets/{ticket['id']}/refunds", {"amount": "2.00", "method": "post"})
    assert more.status_code == 201, more.content
    books = caller(accountant)
    assert len(books.get("/refunds", {"state": "asked"}).json()["items"]) == 2
    refused(books.post(f"/refunds/{refund['id']}/pay", {}), 400)
    paid = books.post(f"/refunds/{refund['id']}/pay", {"paid_out_by": "the host"}, key="a")
    assert paid.json()["state"] == "paid"
    refused(books.post(f"/refunds/{refund['id']}/refuse", {"reason": "no"}, key="b"), 409)
    refused(books.post(f"/tickets/{ticket['id']}/take", {}), 403)
    assert Refund.objects.filter(state="paid").count() == 1
    assert b"1.75" in books.get("/refunds/export").content


def test_the_words_and_the_settings(desk: Caller, as_owner: Caller, refused: Any) -> None:
    made = desk.post("/symptoms", {"code": "smell", "words": "smells burnt", "urgency": "down"})
    assert made.status_code == 201, made.content
    address = f"/symptoms/{made.json()['id']}"
    changed = desk.patch(address, {"active": False}, tag=made["ETag"])
    assert changed.json()["active"] is False
    refused(desk.patch(address, {"code": "x"}, tag=changed["ETag"]), 422)
    cause = desk.post("/causes", {"code": "mice", "words": "a mouse"})
    assert cause.status_code == 201
    kept = desk.get("/service-settings")
    refused(desk.patch("/service-settings", {"reopen_days": 7}, tag=kept["ETag"]), 403)
    now = as_owner.patch("/service-settings", {"reopen_days": 7}, tag=kept["ETag"])
    assert now.json()["reopen_days"] == 7


def test_a_drivers_tickets_come_with_the_day_and_are_told_once(
    desk: Caller, as_driver: Caller, tickets: TicketWork, driver: Person, refused: Any
) -> None:
    ticket = tickets.given()
    day = as_driver.get("/road/day", {"date": "2026-03-02"}).json()
    assert [one["id"] for one in day["tickets"]] == [ticket.pk]
    assert as_driver.get("/road/tickets").json() == day["tickets"]
    address = f"/road/tickets/{ticket.pk}"
    refused(as_driver.post(f"{address}/on-site", {"at": clock(10).isoformat()}), 400)
    begun = as_driver.post(f"{address}/on-site", {"at": clock(10).isoformat()}, key="a")
    assert begun.json()["ticket"]["state"] == "on_site"
    again = as_driver.post(f"{address}/on-site", {"at": clock(10).isoformat()}, key="a")
    assert again["Idempotency-Replayed"] == "true"
    assert again.json() == begun.json()
    close = {
        "at": clock(10, 30).isoformat(),
        "cause": tickets.cause().pk,
        "minutes": 25,
        "work": "Cleaned the sensor.",
    }
    report = {"at": clock(10, 31).isoformat(), "symptom": tickets.symptom("dark").pk}
    acts = [
        {"key": "b", "verb": "close", "ticket": ticket.pk, "body": close},
        {"key": "c", "verb": "report", "machine": tickets.machine.pk, "body": report},
        {"key": "d", "verb": "take", "body": {"at": clock(10).isoformat()}},
        {"key": "e", "verb": "take", "ticket": 10**9, "body": {"at": clock(10).isoformat()}},
    ]
    answers = as_driver.post("/road/batch", {"acts": acts}).json()["answers"]
    assert [one["status"] for one in answers] == [200, 200, 422, 404]
    assert answers[0]["result"]["ticket"]["state"] == "closed"
    again = as_driver.post("/road/batch", {"acts": acts}).json()["answers"]
    assert [one["replayed"] for one in again] == [True, True, False, False]
    assert Ticket.objects.filter(symptom__code="dark", source="driver").count() == 1
    row = Ticket.objects.get(pk=ticket.pk)
    assert (row.closed_at, row.on_site_at) == (clock(10, 30), clock(10))
    assert row.reported_at >= NOW


def test_what_was_done_before_a_ticket_went_to_another_is_still_taken(
    desk: Caller, as_driver: Caller, tickets: TicketWork, other_driver: Person, refused: Any
) -> None:
    ticket = tickets.given()
    address = f"/road/tickets/{ticket.pk}"
    desk.post(f"/tickets/{ticket.pk}/give", {"to": other_driver.pk})
    refused(as_driver.get(f"/tickets/{ticket.pk}"), 404)
    begun = {"at": clock(10).isoformat()}
    later = {"at": timezone.now().isoformat()}
    refused(as_driver.post(f"{address}/on-site", later, key="a"), 409, "given_to_another")
    assert as_driver.post(f"{address}/on-site", begun, key="a").status_code == 200
    close = {"at": clock(10).isoformat(), "cause": tickets.cause().pk, "minutes": 20}
    done = as_driver.post(f"{address}/close", close, key="b")
    assert done.status_code == 200, done.content
    assert Ticket.objects.get(pk=ticket.pk).work.done_by == tickets.driver
    refused(as_driver.post("/road/tickets/999999/take", begun, key="c"), 404)
