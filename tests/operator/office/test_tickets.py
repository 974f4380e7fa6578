"""Tickets at the desk: who sees what, each act, refusals by their forms, files, money, paper."""

import json
from datetime import timedelta
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from people.models import Person
from service.tickets.actions import moves, refunds
from service.tickets.models import Refund, Ticket
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db


def picture(name: str = "door.jpg") -> SimpleUploadedFile:
    out = BytesIO()
    Image.new("RGB", (60, 40), "navy").save(out, "JPEG")
    return SimpleUploadedFile(name, out.getvalue(), "image/jpeg")


@pytest.fixture
def page(desk: Any, dispatcher: Person) -> Client:
    return desk(dispatcher)


def words(answer: Any) -> str:
    return answer.content.decode()


def test_a_report_shows_the_open_one_and_joins_it(page: Client, tickets: TicketWork) -> None:
    asked = {"machine": tickets.machine.pk, "symptom": tickets.symptom().pk}
    first = page.get("/tickets/report/", asked)
    assert "Open already" not in words(first)
    made = page.post("/tickets/report/", asked | {"source": "host", "column": tickets.column().pk})
    assert made.status_code == 302, words(made)
    ticket = Ticket.objects.get()
    again = page.get("/tickets/report/", asked, headers={"HX-Request": "true"})
    assert "Open already" in words(again)
    assert "<html" not in words(again)
    told = asked | {"source": "desk", "join": ticket.pk, "contact_reach": "555 0100"}
    joined = page.post("/tickets/report/", told)
    assert joined["Location"] == f"/tickets/{ticket.pk}/"
    assert Ticket.objects.get(state="joined").joined_to == ticket
    half = page.post("/tickets/report/", asked | {"source": "desk", "amount": "2.00"})
    assert half.status_code == 422
    assert "Say how the customer gets it back" in words(half)


def test_each_act_of_the_desk(page: Client, tickets: TicketWork, driver: Person) -> None:
    ticket = tickets.ticket()
    address = f"/tickets/{ticket.pk}"
    assert "sold out while full" in words(page.get(f"{address}/")).lower()

    def act(verb: str, **given: Any) -> Any:
        version = Ticket.objects.get(pk=ticket.pk).version
        return page.post(f"{address}/{verb}/", {"seen_version": version, **given})

    assert act("give", to=driver.pk).status_code == 302
    assert act("wait", reason="").status_code == 422
    assert act("wait", reason="the part comes Friday").status_code == 302
    assert act("resume").status_code == 302
    assert act("hand_back", reason="off sick").status_code == 302
    assert act("note", said="The host called.").status_code == 302
    changed = act("change", symptom=tickets.symptom("dark").pk, urgency="when_there", priority=1)
    assert changed.status_code == 302, words(changed)
    assert act("refund", amount="1.75", method="cash").status_code == 302
    assert act("attach", files=[picture()]).status_code == 302
    stale = page.post(f"{address}/drop/", {"seen_version": 1, "reason": "no"})
    assert stale.status_code == 409
    assert "was changed since you looked at it" in words(stale)
    found = Ticket.objects.get(pk=ticket.pk)
    attachment = found.attachments.get()
    file = page.get(f"/tickets/files/{attachment.pk}/")
    assert file["Content-Type"] == "image/jpeg"
    assert "sandbox" in file["Content-Security-Policy"]
    assert act("detach", attachment=attachment.pk, reason="a face").status_code == 302
    assert act("drop", reason="told twice").status_code == 302
    assert act("reopen", reason="it was not").status_code == 302
    assert Ticket.objects.get(pk=ticket.pk).state == "new"
    assert page.post(f"{address}/fly/").status_code == 404


def test_a_ticket_is_closed_with_parts_and_the_setting(page: Client, tickets: TicketWork) -> None:
    ticket = tickets.ticket(column=tickets.column())
    address = f"/tickets/{ticket.pk}/close/"
    assert "Drop sensor" in words(page.get(address))
    given = {
        "seen_version": ticket.version,
        "cause": tickets.cause("play_great").pk,
        "minutes": 25,
        "work": "Set the plate one notch in.",
        "place": tickets.truck.pk,
        "part_0": tickets.sensor.pk,
        "part_units_0": 1,
        "test_vends_made": 10,
        "test_vends_passed": 10,
    }
    half = page.post(address, given | {"deep": 2})
    assert half.status_code == 422
    assert "Read it off, too" in words(half)
    program = ticket.machine.kind.programs.get(name="stop")
    setting = {"deep": 2, "front_setting": 19, "price": "1.75", "program": program.pk}
    done = page.post(address, given | setting | {"picture_matches": "on"})
    assert done.status_code == 302, words(done)
    work = Ticket.objects.get(pk=ticket.pk).work
    assert work.changeover is not None
    assert work.changeover.as_left_front == 19
    assert tickets.held(tickets.sensor) == 4
    shown = words(page.get(f"/tickets/{ticket.pk}/"))
    assert "changeover sheet" in shown
    assert "the first time" in shown


def test_lists_files_and_paper(page: Client, tickets: TicketWork) -> None:
    closed = tickets.closed()
    repeat = tickets.ticket(now=clock(9, days=1))
    listed = words(page.get("/tickets/"))
    assert repeat.reference[:4] in listed
    assert closed.reference[:4] not in listed
    assert "repeat" in listed
    both = words(page.get("/tickets/", {"state": ""}))
    assert closed.reference[:4] in both
    assert "No ticket is like that" in words(page.get("/tickets/", {"search": "nonsense"}))
    late = words(page.get("/tickets/", {"state": "late"}))
    assert repeat.reference[:4] in late
    file = page.get("/tickets/export/", {"state": "closed"})
    assert closed.reference in words(file)
    assert repeat.reference not in words(file)
    assert page.get("/tickets/export/", {"as": "xlsx"}).status_code == 200
    paper = words(page.get(f"/tickets/{repeat.pk}/paper/"))
    assert "What was done" in paper
    assert "Tickets" in words(page.get(f"/fleet/{tickets.machine.pk}/"))


def test_today_tells_of_open_and_late_tickets(
    page: Client, desk: Any, tickets: TicketWork, driver: Person, other_driver: Person
) -> None:
    assert "None is open." in words(page.get("/"))
    late, own = tickets.ticket(), tickets.ticket("dark")
    moves.give(ticket=own, to=other_driver, actor=tickets.dispatcher, now=clock(9))
    shown = words(page.get("/"))
    assert "1 ticket is late." in shown
    assert "2 open, 1 given to nobody" in shown
    drivers = words(desk(driver).get("/"))
    assert late.reference[:4] in drivers
    assert own.reference[:4] not in drivers


def test_refunds_are_paid_or_refused(
    page: Client, desk: Any, tickets: TicketWork, accountant: Person, driver: Person
) -> None:
    ticket = tickets.ticket(contact_name="A customer", contact_reach="555 0100 22")
    given: dict[str, Any] = {"method": "cash", "actor": tickets.dispatcher, "now": clock(9)}
    one = refunds.ask(ticket=ticket, amount=tickets.sensor.cost, **given)
    other = refunds.ask(ticket=ticket, amount=tickets.sensor.cost, **given)
    books = desk(accountant)
    shown = words(books.get("/tickets/refunds/"))
    assert "2 to be paid" in shown
    assert "A customer" not in shown
    assert "A customer" in words(page.get("/tickets/refunds/"))
    refused = books.post(f"/tickets/refunds/{one.pk}/", {"do": "refuse"})
    assert refused.status_code == 422
    why = {"do": "refuse", "reason": "paid by the host already"}
    assert books.post(f"/tickets/refunds/{one.pk}/", why).status_code == 302
    owner = desk(tickets.owner)
    paid = owner.post(f"/tickets/refunds/{other.pk}/", {"do": "pay", "reason": "once"})
    assert paid.status_code == 302, words(paid)
    states = Refund.objects.order_by("pk").values_list("state", flat=True)
    assert list(states) == ["refused", "paid"]
    assert "refused" in words(books.get("/tickets/refunds/export/"))
    assert desk(driver).get("/tickets/refunds/").status_code == 403


def test_what_tickets_stand_on_is_kept(page: Client, desk: Any, tickets: TicketWork) -> None:
    assert "sold out while full" in words(page.get("/tickets/kept/"))
    made = page.post(
        "/tickets/kept/causes/add/",
        {"code": "mice", "words": "a mouse", "order": 5, "active": "on"},
    )
    assert made.status_code == 302, words(made)
    symptom = tickets.symptom()
    form = page.get(f"/tickets/kept/symptoms/{symptom.pk}/").context["form"]
    given = {name: form[name].value() or "" for name in form.fields}
    kept = page.post(
        f"/tickets/kept/symptoms/{symptom.pk}/",
        given | {"words": "sold out, and it is full", "active": "on", "asks_column": "on"},
    )
    assert kept.status_code == 302, words(kept)
    assert page.get("/tickets/kept/settings/").status_code == 403
    owner = desk(tickets.owner)
    form = owner.get("/tickets/kept/settings/").context["form"]
    given = {name: form[name].value() for name in form.fields}
    assert owner.post("/tickets/kept/settings/", given | {"reopen_days": 7}).status_code == 302


def told(page: Client, address: str, key: str, **given: Any) -> Any:
    return page.post(address, {"key": key, **given}, headers={"Accept": "application/json"})


def test_a_driver_sees_to_tickets_on_the_phone(
    desk: Any, tickets: TicketWork, driver: Person, other_driver: Person
) -> None:
    ticket = tickets.ticket()
    phone = desk(driver)
    assert ticket.machine.asset_tag in words(phone.get("/road/tickets/"))
    address = f"/road/tickets/{ticket.pk}"
    assert "First" not in words(phone.get(f"{address}/"))
    assert json.loads(words(told(phone, f"{address}/take/", "a")))["done"]
    assert desk(other_driver).get(f"{address}/").status_code == 404
    at = (clock(9) + timedelta(minutes=20)).isoformat()
    assert told(phone, f"{address}/on_site/", "b", at=at).status_code == 200
    wrong = told(phone, f"{address}/close/", "c", cause="", minutes="9")
    assert wrong.status_code == 422
    assert any("What it was" in one for one in json.loads(words(wrong))["said"])
    close = {"cause": tickets.cause().pk, "minutes": "20", "work": "Cleaned.", "photos": picture()}
    done = told(phone, f"{address}/close/", "d", at=at, **close)
    assert done.status_code == 200, words(done)
    again = told(phone, f"{address}/close/", "d", at=at, **(close | {"photos": picture()}))
    assert again.status_code == 200
    row = Ticket.objects.get(pk=ticket.pk)
    assert (row.state, row.closed_at.isoformat()) == ("closed", at)
    assert row.attachments.count() == 1
    report = f"/road/machines/{tickets.machine.pk}/report/"
    assert "something is wrong" in words(phone.get(report))
    made = told(phone, report, "e", symptom=tickets.symptom("dark").pk, words="Both lamps.")
    assert made.status_code == 200, words(made)
    assert Ticket.objects.get(symptom__code="dark").said == "Both lamps."


def test_without_a_script_the_phones_forms_post(
    desk: Any, tickets: TicketWork, driver: Person
) -> None:
    ticket = tickets.given()
    phone = desk(driver)
    address = f"/road/tickets/{ticket.pk}"
    empty = phone.post(f"{address}/hand_back/", {"key": "a", "reason": ""})
    assert empty.status_code == 422
    assert "Why you do not go" in words(empty)
    assert phone.post(f"{address}/note/", {"key": "b", "words": "No key."}).status_code == 302
    back = phone.post(f"{address}/hand_back/", {"key": "c", "reason": "no key"})
    assert back["Location"] == "/road/tickets/"
    taken = moves.take(ticket=ticket, actor=driver, now=clock(12))
    assert taken.given_to == driver
