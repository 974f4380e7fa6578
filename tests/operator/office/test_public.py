"""The page behind a sticker: what it takes from whom, what it shows, and how much it takes."""

import io
import re
from decimal import Decimal
from typing import Any

import pytest
import segno
import zxingcpp
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from fleet.machines.actions import machines
from fleet.machines.models import Machine, Selection
from office.views import public as views
from people.models import Person
from service.tickets.actions import moves, stickers
from service.tickets.models import Attachment, Refund, Sticker, Symptom, Ticket
from service.tickets.outgoing import page_of
from service.tickets.signed import token_of
from tests.cast import NOW
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def sticker(lobby: Machine, owner: Person) -> Sticker:
    (made,) = stickers.issue(machines=[lobby], actor=owner, now=NOW)
    return made


@pytest.fixture
def page(sticker: Sticker) -> str:
    return f"/at/{token_of(sticker.code)}/"


@pytest.fixture
def anybody() -> Client:
    return Client(enforce_csrf_checks=True)


def symptom(code: str = "nothing_came") -> Symptom:
    return Symptom.objects.get(code=code)


def report(client: Client, page: str, **more: Any) -> Any:
    return client.post(page, {"symptom": symptom().pk, **more})


def photo() -> io.BytesIO:
    file = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "a camera"
    Image.new("RGB", (40, 30), "red").save(file, "JPEG", exif=exif)
    file.seek(0)
    file.name = "IMG_0042.jpg"
    return file


def test_it_names_the_machine_and_its_site_and_nothing_more(
    anybody: Client, page: str, world: World, lobby: Machine
) -> None:
    site = lobby.placements.get().site
    site.contact, site.access_notes, site.street = "Jo Hostwell", "key under the mat", "1 Quay"
    site.save()
    shown = anybody.get(page)
    assert shown.status_code == 200
    text = shown.content.decode()
    assert "LOB-1" in text
    assert "Ferry landing" in text
    for secret in ("Jo Hostwell", "key under", "1 Quay", lobby.kind.name, lobby.serial or "§"):
        assert secret not in text
    assert "<script" not in text
    assert not shown.cookies
    assert shown["Cache-Control"].startswith("max-age=0, no-cache, no-store")


def test_a_report_becomes_a_ticket_and_gives_a_reference(
    anybody: Client, page: str, lobby: Machine
) -> None:
    selection = Selection.objects.get(machine=lobby, code="1")
    sent = report(
        anybody,
        page,
        selection=selection.pk,
        paid_how="coins",
        words="the light went on",
        amount="1.75",
        method="phone",
        contact_name="Jo",
        contact_reach="555-0100",
        photo=photo(),
    )
    assert sent.status_code == 302
    ticket = Ticket.objects.get()
    assert ticket.source == Ticket.Source.PUBLIC
    assert ticket.column is not None
    assert ticket.column.selection == selection
    assert (ticket.paid_how, ticket.said) == ("coins", "the light went on")
    assert (ticket.contact_name, ticket.contact_reach) == ("Jo", "555-0100")
    assert ticket.promised_at is not None
    refund = Refund.objects.get()
    assert (refund.amount, refund.method) == (Decimal("1.75"), "phone")
    kept = Attachment.objects.get()
    assert kept.added_by is None
    assert not Image.open(io.BytesIO(bytes(kept.raw))).getexif()
    assert f"reference={ticket.reference}" in sent["Location"]
    thanks = anybody.get(sent["Location"]).content.decode()
    assert "Thank you" in thanks
    assert f"{ticket.reference[:4]} {ticket.reference[4:]}" in thanks
    assert "$1.75" in thanks
    for personal in ("555-0100", ">Jo<", "the light went on"):
        assert personal not in thanks


def test_the_least_that_can_be_said_is_what_is_wrong(anybody: Client, page: str) -> None:
    assert report(anybody, page).status_code == 302
    ticket = Ticket.objects.get()
    assert (ticket.contact_reach, ticket.said, ticket.column, ticket.paid_how) == ("", "", None, "")


def test_the_same_fault_joins_the_open_one(anybody: Client, page: str, lobby: Machine) -> None:
    report(anybody, page)
    second = report(anybody, page, words="me too")
    first, joined = Ticket.objects.order_by("pk")
    assert joined.state == Ticket.State.JOINED
    assert joined.joined_to == first
    text = anybody.get(second["Location"]).content.decode()
    assert "Both go on as one" in text
    assert "We have your report" in text
    # Something else about the same machine is a ticket of its own.
    anybody.post(page, {"symptom": symptom("coins").pk})
    assert Ticket.objects.filter(state=Ticket.State.NEW).count() == 2


def test_one_button_over_two_columns_is_told_in_words(
    anybody: Client, page: str, lobby: Machine, owner: Person
) -> None:
    first = Selection.objects.get(machine=lobby, code="1")
    lobby.columns.filter(position__label="2").update(selection=first)
    report(anybody, page, selection=first.pk, words="stuck")
    ticket = Ticket.objects.get()
    assert ticket.column is None
    assert ticket.said == "Selection 1. stuck"


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"symptom": ""}, "symptom"),
        ({"symptom": "999999"}, "symptom"),
        ({"selection": "999999"}, "selection"),
        ({"amount": "a lot", "method": "cash"}, "amount"),
        ({"amount": "-1", "method": "cash"}, "amount"),
        ({"amount": "1.755", "method": "cash"}, "amount"),
        ({"amount": "1.75"}, "method"),
        ({"amount": "1.75", "method": "card"}, "method"),
        ({"amount": "1.75", "method": "phone"}, "contact_reach"),
        ({"amount": "1.75", "method": "cash", "paid_how": "free"}, "amount"),
        ({"paid_how": "gold"}, "paid_how"),
        ({"words": "x" * 1001}, "words"),
        ({"leave_empty": "https://spam.example.org"}, "leave_empty"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_kept(
    anybody: Client, page: str, wrong: dict[str, str], field: str
) -> None:
    refused = report(anybody, page, **{"contact_name": "Jo", **wrong})
    assert refused.status_code == 422
    text = refused.content.decode()
    assert f'id="id_{field}_error"' in text
    assert 'value="Jo"' in text
    assert not Ticket.objects.exists()


def test_a_symptom_that_customers_are_not_asked_is_not_taken(anybody: Client, page: str) -> None:
    text = anybody.get(page).content.decode()
    assert "I paid and nothing came out" in text
    assert symptom("upkeep").words not in text
    refused = anybody.post(page, {"symptom": symptom("upkeep").pk})
    assert refused.status_code == 422


@pytest.mark.parametrize("raw", [b"<svg onload=alert(1)>", b"", b"%PDF-1.4 not a picture"])
def test_what_is_no_picture_is_refused_with_all_of_the_report(
    anybody: Client, page: str, raw: bytes
) -> None:
    file = io.BytesIO(raw)
    file.name = "photo.jpg"
    refused = report(anybody, page, photo=file)
    assert refused.status_code == 422
    assert not Ticket.objects.exists()


def test_a_withdrawn_sticker_says_so_and_an_unknown_one_too(
    anybody: Client, page: str, lobby: Machine, owner: Person
) -> None:
    stickers.issue(machines=[lobby], actor=owner, now=NOW, anew=True)
    for answer in (anybody.get(page), report(anybody, page)):
        assert answer.status_code == 410
        assert "no longer in use" in answer.content.decode()
    unknown = anybody.get("/at/made-up.token/")
    assert unknown.status_code == 404
    assert "do not know this sticker" in unknown.content.decode()
    assert not Ticket.objects.exists()


def test_one_address_sends_so_many_an_hour_and_others_still_can(
    anybody: Client, page: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(views, "REPORTS_OF_ADDRESS", 2)
    assert [report(anybody, page).status_code for _ in range(3)] == [302, 302, 429]
    refused = report(anybody, page)
    assert 1 <= int(refused["Retry-After"]) <= 3600
    assert "Nothing was reported" in refused.content.decode()
    assert Ticket.objects.count() == 2
    elsewhere = Client(REMOTE_ADDR="203.0.113.9")
    assert report(elsewhere, page).status_code == 302


def test_one_machine_takes_so_many_an_hour_from_wherever(
    page: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(views, "REPORTS_OF_MACHINE", 2)
    answers = [report(Client(REMOTE_ADDR=f"203.0.113.{n}"), page).status_code for n in range(3)]
    assert answers == [302, 302, 429]


def test_what_was_refused_counts_for_nothing(
    anybody: Client, page: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(views, "REPORTS_OF_ADDRESS", 1)
    for _ in range(3):
        assert report(anybody, page, symptom="").status_code == 422
    assert report(anybody, page).status_code == 302


def test_references_are_not_tried_through(anybody: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(views, "LOOKS_OF_ADDRESS", 3)
    tried = [anybody.get("/at/look/", {"reference": f"AAAA000{n}"}) for n in range(4)]
    assert [one.status_code for one in tried] == [422, 422, 422, 429]


def test_a_report_is_looked_up_as_people_type(
    anybody: Client, page: str, owner: Person, driver: Person
) -> None:
    report(anybody, page)
    ticket = Ticket.objects.get()
    typed = f" {ticket.reference[:4].lower()}-{ticket.reference[4:].lower()} "

    def shown() -> str:
        return anybody.get("/at/look/", {"reference": typed}).content.decode()

    assert views.BECAME["new"] in shown()
    assert "We mean to have seen to it by" in shown()
    assert "Thank you" not in shown()
    moves.give(ticket=ticket, to=driver, actor=owner, now=timezone.now())
    assert views.BECAME["given"] in shown()
    assert driver.name not in shown()
    moves.wait(ticket=ticket, reason="key is with Jo", actor=owner, now=timezone.now())
    assert views.BECAME["waiting"] in shown()
    assert "key is with Jo" not in shown()
    assert "We mean to have" not in shown()
    moves.drop(ticket=ticket, reason="a prank by Jo", actor=owner, now=timezone.now())
    assert views.BECAME["dropped"] in shown()
    assert "prank" not in shown()


def test_every_state_is_said(anybody: Client) -> None:
    assert set(views.BECAME) == set(Ticket.State) - {Ticket.State.JOINED}
    assert anybody.get("/at/look/").status_code == 200
    assert anybody.get("/at/look/", {"reference": ""}).status_code == 422


def test_a_ticket_of_a_machine_that_stands_nowhere_is_shown_too(
    anybody: Client, page: str, lobby: Machine, owner: Person
) -> None:
    machines.place_machine(machine=lobby, site=None, starts_at=NOW, actor=owner, now=NOW)
    sent = report(anybody, page)
    assert anybody.get(sent["Location"]).status_code == 200


def test_stickers_are_made_for_the_chosen_machines_and_printed(
    desk: Any, dispatcher: Person, lobby: Machine, world: World, settings: Any
) -> None:
    other = world.machine("GATE-2", lobby.kind)
    settings.ADDRESS = "https://colonnade.example.org"
    client = desk(dispatcher)
    assert "none yet" in client.get("/stickers/").content.decode()
    made = client.post("/stickers/issue/", {"machine": [lobby.pk, other.pk]}, follow=True)
    text = made.content.decode()
    assert text.count('class="label"') == 2
    for one in Sticker.objects.all():
        assert f"https://colonnade.example.org/at/{token_of(one.code)}/" in text
    assert Sticker.objects.filter(withdrawn_at__isnull=True).count() == 2
    client.post("/stickers/issue/", {"machine": lobby.pk, "anew": "on"})
    assert Sticker.objects.filter(withdrawn_at__isnull=False).get().machine == lobby
    assert client.post("/stickers/issue/", {}).status_code == 422
    assert "make them first" in client.get("/stickers/print/").content.decode()
    found = client.get("/stickers/", {"search": "gate"}).content.decode()
    assert "GATE-2" in found
    assert "LOB-1" not in found


def test_the_square_is_read_by_another_library_and_leads_to_the_page(
    desk: Any, dispatcher: Person, sticker: Sticker, lobby: Machine
) -> None:
    """Read by zxing-cpp, which shares no code with the library that draws (ISO/IEC 18004)."""
    text = desk(dispatcher).get("/stickers/print/", {"machine": lobby.pk}).content.decode()
    address = re.search(r"<title>(http[^<]+)</title>", text)
    assert address is not None
    drawn = io.BytesIO()
    segno.make_qr(address[1], error="m", boost_error=False).save(drawn, kind="png", scale=6)
    (read,) = zxingcpp.read_barcodes(Image.open(drawn))
    assert read.text == address[1]
    assert read.ec_level == "M"
    assert Client().get(read.text.removeprefix("http://testserver")).status_code == 200


def test_letters_lead_to_the_page_of_a_ticket_at_the_desk(anybody: Client, page: str) -> None:
    report(anybody, page)
    ticket = Ticket.objects.get()
    assert reverse("office:ticket", args=[ticket.pk]) == page_of(ticket)
