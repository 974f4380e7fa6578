"""A customer before a machine: the sticker's square read, a fault reported on a phone, and looked
up; with scripts and without. Then the desk, where stickers are printed."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from fleet.machines.models import Machine
from people.models import Person
from service.tickets.actions import stickers
from service.tickets.models import Attachment, Refund, Sticker, Ticket
from service.tickets.signed import token_of
from tests.cast import NOW
from tests.journeys.conftest import PHONE, page_on
from tests.world import World

Picture = Callable[..., Path]
Check = Callable[[Page], None]
SignIn = Callable[[Page, Any], None]


@pytest.fixture
def token(lobby: Machine, owner: Person) -> str:
    (made,) = stickers.issue(machines=[lobby], actor=owner, now=NOW)
    return token_of(made.code)


def photo(tmp_path: Path) -> Path:
    path = tmp_path / "machine.jpg"
    exif = Image.Exif()
    exif[0x010F] = "a camera"
    Image.new("RGB", (640, 480), "#865").save(path, exif=exif)
    return path


def test_a_customer_reports_a_fault_on_a_phone(
    phone_page: Page, token: str, axe: Check, picture: Picture, tmp_path: Path
) -> None:
    page = phone_page
    page.goto(f"/at/{token}/")
    expect(page.get_by_role("heading", level=1)).to_have_text("What is wrong with this machine?")
    expect(page.get_by_text("Machine LOB-1 · Ferry landing")).to_be_visible()
    axe(page)
    fits_the_width(page)
    picture(page, "public-report-phone", full_page=True)

    # Sent as it is: it says what is missing, and keeps what was filled in.
    page.get_by_label("How much do you want back?").fill("1.75")
    page.get_by_role("button", name="Send the report").click()
    expect(page.get_by_text("Choose what comes nearest.")).to_be_visible()
    expect(page.get_by_label("How much do you want back?")).to_have_value("1.75")
    axe(page)
    picture(page, "public-report-refused-phone", full_page=True)

    page.get_by_label("I paid and nothing came out").check()
    page.get_by_label("Which button?").select_option(label="1 · Cola")
    page.get_by_label("Coins", exact=True).check()
    page.get_by_label("How do you want it back?").select_option(label="To my phone")
    page.get_by_label("Where we reach you").fill("555-0100")
    page.get_by_label("A photo").set_input_files(photo(tmp_path))
    page.get_by_role("button", name="Send the report").click()

    expect(page.get_by_role("heading", level=1)).to_have_text("Thank you, we have it")
    ticket = Ticket.objects.get()
    said = f"{ticket.reference[:4]} {ticket.reference[4:]}"
    expect(page.get_by_text(said)).to_be_visible()
    expect(page.get_by_text("555-0100")).to_have_count(0)
    axe(page)
    fits_the_width(page)
    picture(page, "public-thanks-phone", full_page=True)
    assert Refund.objects.get().ticket == ticket
    assert Attachment.objects.get().ticket == ticket

    page.get_by_role("link", name="Look up another report").click()
    page.get_by_label("Reference").fill(said.lower())
    page.get_by_role("button", name="Look up").click()
    expect(page.get_by_text("Nobody has been sent yet")).to_be_visible()
    axe(page)
    picture(page, "public-look-phone", full_page=True)
    assert not page.context.cookies()


def test_it_works_without_scripts_and_by_keys_alone(
    live: Any, browser: Browser, token: str
) -> None:
    for page in page_on(browser, live.url, PHONE | {"java_script_enabled": False}):
        page.goto(f"/at/{token}/")
        page.get_by_label("It leaks").focus()
        page.keyboard.press("Space")
        page.get_by_role("button", name="Send the report").focus()
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", level=1)).to_have_text("Thank you, we have it")
    assert Ticket.objects.get().symptom.code == "leak"


def test_a_withdrawn_sticker_on_a_phone(
    live: Any, browser: Browser, token: str, lobby: Machine, owner: Person, axe: Check
) -> None:
    stickers.issue(machines=[lobby], actor=owner, now=NOW, anew=True)
    with browser.new_context(base_url=live.url, **PHONE) as context:
        page = context.new_page()
        answer = page.goto(f"/at/{token}/")
        assert answer is not None
        assert answer.status == 410
        expect(page.get_by_role("heading", level=1)).to_have_text(
            "This sticker is no longer in use"
        )
        axe(page)


def test_stickers_are_printed_and_their_squares_read(
    desk_page: Page,
    dispatcher: Person,
    sign_in: SignIn,
    lobby: Machine,
    world: World,
    axe: Check,
    picture: Picture,
) -> None:
    world.machine("GATE-2", lobby.kind, site=world.site("Harbour gate"))
    page = desk_page
    sign_in(page, dispatcher)
    page.goto("/stickers/")
    axe(page)
    picture(page, "stickers-desk", full_page=True)
    page.get_by_label("LOB-1").check()
    page.get_by_label("GATE-2").check()
    page.get_by_role("button", name="Print the chosen ones").click()
    labels = page.locator(".label")
    expect(labels).to_have_count(2)
    axe(page)
    picture(page, "stickers-to-print-desk", full_page=True)
    # As drawn by the browser, by day and by night, and read by a library that did not draw it.
    wanted = {
        f"{page.url.partition('/stickers')[0]}/at/{token_of(one.code)}/"
        for one in Sticker.objects.all()
    }
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        assert {squares_of(labels.nth(number).screenshot()) for number in (0, 1)} == wanted
    page.emulate_media(media="print")
    picture(page, "stickers-printed-desk", full_page=True)
    assert {squares_of(labels.nth(number).screenshot()) for number in (0, 1)} == wanted


def squares_of(drawn: bytes) -> str:
    (read,) = zxingcpp.read_barcodes(Image.open(io.BytesIO(drawn)))
    return str(read.text)


def fits_the_width(page: Page) -> None:
    """Nobody has to push a page aside on a phone."""
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= page.viewport_size["width"]  # type: ignore[index]
