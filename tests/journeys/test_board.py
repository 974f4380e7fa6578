"""A dispatcher's morning on the board, by keys, mouse and finger; and two dispatchers at once."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from people.models import Business, Person
from service.runs.models import TicketStop
from service.tickets.models import Ticket
from tests.journeys.test_desk import looked_at
from tests.journeys.test_tour import kept
from tests.service.runs.dispatchwork import DispatchWork, dispatchwork, more_drivers, spread
from tests.world import World

Check = Callable[[Page], None]
Picture = Callable[..., Path]
SYMPTOMS = ("warm", "notes", "two_for_one", "coins", "nothing_works", "leak", "sold_out_full")


@pytest.fixture
def morning(live: Any, world: World, driver: Person, dispatcher: Person) -> DispatchWork:
    """Four drivers on a Monday ahead, a fifth without a run, and ten tickets."""
    now = timezone.now()
    today = timezone.localdate(now, Business.the().time_zone)
    monday = today + timedelta(days=7 - today.weekday())
    others = more_drivers(4)
    work = dispatchwork(
        world, dispatcher, driver, day=monday, now=now, others=others, machines=16, each=4
    )
    yards = spread(world, work, 7)
    long_ago = now - timedelta(days=9)
    for number, machine in enumerate(yards):
        when = long_ago if number in (0, 3) else now - timedelta(hours=number)
        said = "The compressor hums and nothing cools."
        work.ticket(machine, SYMPTOMS[number], now=when, said=said)
    work.ticket(work.machines[1], "cards")
    work.ticket(work.machines[6], "door_lock", priority=Ticket.Priority.SOONER)
    work.assign(work.ticket(work.machines[9], "notes"), work.runs[2])
    return work


def address(work: DispatchWork) -> str:
    return f"/board/?day={work.day}"


def on_run_of(ticket: Ticket) -> str:
    row = TicketStop.objects.filter(ticket=ticket).select_related("stop__run__driver").first()
    return row.stop.run.driver.name if row else ""


def of(tag: str) -> Ticket:
    return Ticket.objects.get(machine__asset_tag=tag, state__in=Ticket.OPEN)


def free(page: Page, tag: str) -> Any:
    """The card of a ticket that nobody has."""
    return page.locator(".free .ticket", has=page.locator("b", has_text=tag))


def lane(page: Page, driver: str) -> Any:
    return page.locator(f".lane-row[aria-label='{driver}']")


def test_a_ticket_is_given_by_keys_alone(
    morning: DispatchWork,
    desk_page: Page,
    dispatcher: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    page = desk_page
    sign_in(page, dispatcher)
    page.goto(address(morning))
    looked_at(page, axe, picture, "board")
    page.locator(".free .pick").first.focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    expect(page.locator("#chosen")).to_be_focused()
    expect(page.get_by_text("Suggested", exact=True)).to_be_visible()
    looked_at(page, axe, picture, "board-chosen")
    kept(page, "board", 900)
    tag = page.locator(".free .pick[aria-current] b").inner_text()
    page.keyboard.press("Escape")
    expect(page.locator("#chosen")).to_have_count(0)
    page.keyboard.press("Enter")
    best = page.locator(".offers .best th").inner_text()
    page.locator(".offers .best button").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("status").filter(has_text=f"{tag}: given to {best}")).to_be_visible()
    assert on_run_of(of(tag)) == best
    expect(free(page, tag)).to_have_count(0)
    looked_at(page, axe, picture, "board-given")


def test_a_ticket_is_dragged_onto_a_driver_and_back(
    morning: DispatchWork, desk_page: Page, dispatcher: Person, sign_in: Any
) -> None:
    page = desk_page
    sign_in(page, dispatcher)
    page.goto(address(morning))
    _drag(page, free(page, "Y-6"), lane(page, "Tobin Ashgrove"))
    expect(page.get_by_role("status").filter(has_text="Y-6: given to Tobin")).to_be_visible()
    assert on_run_of(of("Y-6")) == "Tobin Ashgrove"
    given = lane(page, "Tobin Ashgrove").locator(".ticket")
    expect(given).to_have_count(1)
    _drag(page, given, page.locator(".free .tally"))
    expect(page.get_by_role("status").filter(has_text="nobody's again")).to_be_visible()
    assert on_run_of(of("Y-6")) == ""
    assert of("Y-6").state == "new"


def test_a_board_is_searched_kept_mapped_and_printed(
    morning: DispatchWork,
    desk_page: Page,
    dispatcher: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    page = desk_page
    sign_in(page, dispatcher)
    page.goto(address(morning))
    page.get_by_label("Machine, site, words or reference").press_sequentially("yard 2", delay=30)
    expect(page.locator(".free .ticket")).to_have_count(1)
    expect(page.get_by_label("Machine, site, words or reference")).to_be_focused()
    page.get_by_text("Views", exact=True).click()
    page.get_by_label("Keep these filters as").fill("Second yard")
    # The answer to the last letter draws the views anew, and keeps what is open and typed in them.
    expect(page.locator('a[href*="/board/map/?search=yard+2&"]')).to_have_count(1)
    expect(page.get_by_label("Keep these filters as")).to_have_value("Second yard")
    page.get_by_role("button", name="Keep this view").click()
    expect(page.get_by_role("link", name="Second yard").first).to_be_visible()
    page.goto(address(morning))
    expect(page.locator(".free .ticket")).to_have_count(9)
    page.get_by_role("link", name="Second yard").first.click()
    expect(page.locator(".free .ticket")).to_have_count(1)
    page.get_by_label("Machine, site, words or reference").fill("")
    expect(page.locator(".free .ticket")).to_have_count(9)
    page.get_by_role("link", name="Map").click()
    expect(page.locator(".ticket-place")).to_have_count(9)
    looked_at(page, axe, picture, "board-map")
    page.go_back()
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 720, "height": 1000})
    picture(page, "board-print", full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= 720


def test_on_a_phone_a_ticket_is_tapped_and_given(
    morning: DispatchWork,
    phone_page: Page,
    dispatcher: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    phone = phone_page
    sign_in(phone, dispatcher)
    phone.goto(address(morning))
    looked_at(phone, axe, picture, "board-phone")
    free(phone, "Y-2").tap()
    expect(phone.get_by_text("Suggested", exact=True)).to_be_visible()
    expect(phone.locator(".free")).to_be_hidden()
    looked_at(phone, axe, picture, "board-chosen-phone")
    phone.get_by_role("link", name="All tickets").tap()
    expect(free(phone, "Y-2")).to_be_visible()
    free(phone, "Y-2").tap()
    expect(phone.locator("#chosen")).to_be_focused()
    phone.get_by_role("button", name="Give to Wren Halloway").tap()
    expect(phone.get_by_role("status").filter(has_text="Y-2: given to Wren")).to_be_visible()
    assert on_run_of(of("Y-2")) == "Wren Halloway"
    phone.goto(f"/board/map/?day={morning.day}")
    looked_at(phone, axe, picture, "board-map-phone")


def test_a_finger_drags_beside_the_lanes(
    morning: DispatchWork, phone_page: Page, dispatcher: Person, sign_in: Any
) -> None:
    tablet = phone_page
    tablet.set_viewport_size({"width": 1024, "height": 768})
    sign_in(tablet, dispatcher)
    tablet.goto(address(morning))
    _finger(tablet, free(tablet, "Y-6"), lane(tablet, "Tobin Ashgrove"))
    expect(tablet.get_by_role("status").filter(has_text="Y-6: given to Tobin")).to_be_visible()
    assert on_run_of(of("Y-6")) == "Tobin Ashgrove"


def test_two_dispatchers_see_each_other_and_the_second_is_told(
    morning: DispatchWork,
    desk_page: Page,
    phone_page: Page,
    dispatcher: Person,
    owner: Person,
    sign_in: Any,
    picture: Picture,
) -> None:
    first, second = desk_page, phone_page
    second.set_viewport_size({"width": 1280, "height": 900})
    sign_in(first, dispatcher)
    sign_in(second, owner)
    first.goto(address(morning))
    second.goto(address(morning))
    # Both look at the same ticket; the second one is held up.
    free(second, "Y-2").locator("a").click()
    expect(second.get_by_text("Suggested", exact=True)).to_be_visible()
    second.evaluate("document.querySelector('.offers .best button').focus()")
    digest = second.evaluate("document.querySelector('#board').dataset.digest")
    as_it_was = {"digest": digest, "last": 0, "told": []}
    second.route("**/board/digest/**", lambda route: route.fulfill(json=as_it_was))
    free(first, "Y-2").locator("a").click()
    first.get_by_role("button", name="Give to Wren Halloway").click()
    expect(first.get_by_role("status").filter(has_text="Y-2: given to Wren")).to_be_visible()
    second.get_by_role("button", name="Give to Tobin Ashgrove").click()
    refused = second.get_by_role("alert")
    expect(refused).to_contain_text("was changed since you looked at it")
    expect(refused).to_contain_text("Dev Castellane")
    picture(second, "board-refused", full_page=True, scale="css")
    assert on_run_of(of("Y-2")) == "Wren Halloway"
    second.unroute("**/board/digest/**")
    # What the second does now, the first sees by itself.
    first.get_by_text("Views", exact=True).click()
    first.get_by_label("Keep these filters as").fill("Half typed")
    first.get_by_role("heading", name="Board").click()
    second.get_by_role("link", name="All tickets").click()
    free(second, "Y-6").locator("a").click()
    second.get_by_role("button", name="Give to Ilse Marchbank").click()
    expect(free(first, "Y-6")).to_have_count(0)
    expect(lane(first, "Ilse Marchbank").locator(".ticket")).to_have_count(1)
    expect(first.locator("#told")).to_contain_text("Orla Fennimore")
    expect(first.get_by_label("Keep these filters as")).to_have_value("Half typed")


def _middle(box: Any) -> tuple[float, float]:
    return box["x"] + box["width"] / 2, box["y"] + min(20, box["height"] / 2)


def _drag(page: Page, held: Any, to: Any) -> None:
    page.mouse.move(*_middle(held.bounding_box()))
    page.mouse.down()
    x, y = _middle(to.bounding_box())
    page.mouse.move(x - 40, y, steps=5)
    # The offers come in while the ticket is held; the lanes keep their places.
    expect(page.locator(".price").first).to_be_visible()
    page.mouse.move(*_middle(to.bounding_box()), steps=4)
    page.mouse.up()


def _finger(page: Page, held: Any, to: Any) -> None:
    """A drag as a touch screen sends it: sideways first, as a list is scrolled up and down."""
    wire = page.context.new_cdp_session(page)
    x, y = _middle(held.bounding_box())
    end_x, end_y = _middle(to.bounding_box())

    def send(kind: str, *at: float) -> None:
        points = [{"x": at[0], "y": at[1]}] if at else []
        wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    send("touchStart", x, y)
    for part in (0.2, 0.5, 0.8, 1):
        send("touchMove", x + (end_x - x) * part, y + (end_y - y) * part * part)
    expect(page.locator(".price").first).to_be_visible()
    send("touchEnd")
