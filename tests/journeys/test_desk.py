"""The day's work in a real browser: at the desk, and on a phone beside the machine."""

import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from fleet.machines.models import Changeover, Machine
from fleet.sales.models import EventMeaning
from people.models import Person
from tests.cast import PASSWORD
from tests.journeys.conftest import PHONE
from tests.world import World

SAMPLES = Path(__file__).resolve().parents[1] / "checks" / "audit_reads"
Picture = Callable[..., Path]
Check = Callable[[Page], None]
SignIn = Callable[[Page, Any], None]


@pytest.fixture
def amiss(lobby: Machine, world: World) -> Machine:
    """Column 1 lies two deep under the program for one deep."""
    column = world.column(lobby, "1")
    world.set_up(
        column,
        column.set_ups.get().product,
        deep=2,
        front_setting=20,
        program=lobby.kind.programs.get(name="run on"),
        starts_at=world.now - timedelta(days=1),
    )
    return lobby


def fits_the_width(page: Page) -> None:
    """Nothing reaches beyond the right edge, so nobody has to drag the page about."""
    over = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert over <= 0, f"{page.url} is {over} px too wide"


def pages_of(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def looked_at(
    page: Page, axe: Check, picture: Picture, name: str, scheme: str | None = None
) -> None:
    """A page in light and dark, or in one: accessible, within its width, kept as a picture."""
    # A click does not wait for the style sheet.
    page.wait_for_load_state()
    fits_the_width(page)
    for chosen in [scheme] if scheme else ["light", "dark"]:
        page.emulate_media(color_scheme=chosen)  # type: ignore[arg-type]
        axe(page)
        picture(page, f"{name}-{chosen}", full_page=True, scale="css")
    page.emulate_media(color_scheme="light")


def test_signing_in_by_keyboard_alone(
    desk_page: Page, owner: Person, axe: Check, picture: Picture
) -> None:
    desk_page.goto("/fleet/")
    looked_at(desk_page, axe, picture, "sign-in")
    expect(desk_page.get_by_label("E-mail")).to_be_focused()
    desk_page.keyboard.type(owner.email)
    desk_page.keyboard.press("Tab")
    desk_page.keyboard.type("not this")
    desk_page.keyboard.press("Enter")
    expect(desk_page.get_by_role("alert")).to_contain_text("do not belong together")
    axe(desk_page)
    desk_page.get_by_label("E-mail").fill(owner.email)
    desk_page.keyboard.press("Tab")
    desk_page.keyboard.type(PASSWORD)
    desk_page.keyboard.press("Enter")
    expect(desk_page.get_by_role("heading", name="Fleet")).to_be_visible()
    desk_page.keyboard.press("Tab")
    expect(desk_page.get_by_role("link", name="To the matter of the page")).to_be_focused()
    desk_page.keyboard.press("Enter")
    expect(desk_page.locator("main")).to_be_focused()
    desk_page.get_by_role("button", name="Sign out").focus()
    desk_page.keyboard.press("Enter")
    expect(desk_page.get_by_role("heading", name="Sign in")).to_be_visible()


@pytest.mark.parametrize(("width", "scheme"), [("desk", "light"), ("phone", "dark")])
def test_every_page_is_accessible_and_within_its_width(
    width: str,
    scheme: str,
    request: pytest.FixtureRequest,
    owner: Person,
    amiss: Machine,
    world: World,
    sign_in: SignIn,
    axe: Check,
    picture: Picture,
) -> None:
    page: Page = request.getfixturevalue(f"{width}_page")
    column = world.column(amiss, "1")
    tea = world.column(amiss, "2").set_ups.get().product
    changeover = world.planned(column, tea)
    meaning = EventMeaning.objects.order_by("pk").first()
    assert meaning is not None
    sign_in(page, owner)
    for name, address in {
        "today": "/",
        "fleet": "/fleet/",
        "machine": f"/fleet/{amiss.pk}/",
        "machine-wire": f"/fleet/{amiss.pk}/selections/",
        "machine-change": f"/fleet/{amiss.pk}/change/",
        "fit": f"/fit/?machine={amiss.pk}",
        "column": f"/fit/columns/{column.pk}/",
        "where-fits": f"/fit/products/{tea.pk}/",
        "changeovers": "/changeovers/",
        "planner": f"/changeovers/plan/?machine={amiss.pk}",
        "outlook": f"/changeovers/plan/?column={world.column(amiss, '3').pk}&product={tea.pk}",
        "replace": f"/changeovers/replace/?old={tea.pk}&new={column.set_ups.all()[0].product_id}",
        "plan": f"/changeovers/plans/{changeover.plan_id}/",
        "sheet": f"/changeovers/{changeover.pk}/",
        "reads": "/reads/",
        "products": "/products/",
        "product": f"/products/{tea.pk}/",
        "product-change": f"/products/{tea.pk}/change/",
        "packages": "/packages/",
        "package-change": f"/packages/{tea.package_id}/change/",
        "kinds": "/kinds/",
        "kind": f"/kinds/{amiss.kind_id}/",
        "kind-change": f"/kinds/{amiss.kind_id}/change/",
        "chart": f"/kinds/{amiss.kind_id}/chart/",
        "meanings": "/events/",
        "meaning": f"/events/{meaning.pk}/",
        "as-found": f"/fit/columns/{column.pk}/as-found/",
        "sites": "/sites/",
        "site": f"/sites/{amiss.placements.get().site_id}/",
        "site-add": "/sites/add/",
        "people": "/people/",
        "person": f"/people/{owner.pk}/",
        "business": "/business/",
        "own-page": "/me/",
    }.items():
        answer = page.goto(address)
        assert answer is not None
        assert answer.status == 200, address
        looked_at(page, axe, picture, f"{width}-{name}", scheme)


def test_a_refusal_is_a_page_like_any_other(
    live: Any, browser: Browser, driver: Person, sign_in: SignIn, axe: Check, picture: Picture
) -> None:
    # Chromium notes such an answer as an error of the console, so this page's is not listened to.
    with browser.new_context(base_url=live.url, **PHONE) as context:
        page = context.new_page()
        sign_in(page, driver)
        for address, status, heading in (
            ("/no-such-page/", 404, "Nothing here"),
            ("/fleet/999999/", 404, "Nothing here"),
            ("/changeovers/plan/", 403, "Not yours to open"),
        ):
            answer = page.goto(address)
            assert answer is not None
            assert answer.status == status
            expect(page.get_by_role("heading", name=heading)).to_be_visible()
            looked_at(page, axe, picture, f"phone-refused-{status}")


def test_from_a_suspicion_to_a_planned_correction(
    desk_page: Page,
    dispatcher: Person,
    amiss: Machine,
    sign_in: SignIn,
    picture: Picture,
) -> None:
    sign_in(desk_page, dispatcher)
    desk_page.goto("/fleet/")
    desk_page.get_by_label("Tag, serial or site").press_sequentially("ferry")
    expect(desk_page.locator("#found tbody tr")).to_have_count(1)
    desk_page.get_by_role("link", name="LOB-1").click()
    expect(desk_page.get_by_text("two for one likely")).to_be_visible()
    picture(desk_page, "tour-machine")
    desk_page.get_by_role("link", name="Cola").first.click()
    desk_page.get_by_label("Product").press_sequentially("tea")
    expect(desk_page.locator("#answers tbody tr")).to_have_count(1)
    desk_page.get_by_role("link", name="Plan a changeover to Tea").click()
    expect(desk_page.get_by_role("img", name="Column 1 with Tea")).to_be_visible()
    desk_page.get_by_label("What it is for").fill("Tea sells better here")
    desk_page.get_by_role("button", name="Plan it").click()
    expect(desk_page.get_by_role("heading", name="Tea sells better here")).to_be_visible()
    desk_page.get_by_role("link", name="LOB-1").click()
    expect(desk_page.get_by_role("heading", name="Steps")).to_be_visible()
    picture(desk_page, "tour-sheet")
    desk_page.emulate_media(media="print")
    picture(desk_page, "sheet-printed", full_page=True)
    expect(desk_page.get_by_text("taken out, good")).to_be_visible()
    expect(desk_page.locator("nav").first).to_be_hidden()
    for paper in ("Letter", "A4"):
        assert pages_of(desk_page.pdf(format=paper)) == 1, paper


def part_of(page: Page, heading: str, part: str) -> None:
    """Goes to a part of the desk under a heading of the bar, by keys."""
    page.locator(".bar summary", has_text=heading).focus()
    page.keyboard.press("Enter")
    page.get_by_role("link", name=part, exact=True).focus()
    page.keyboard.press("Enter")


def test_the_bar_stays_on_one_line(
    desk_page: Page, owner: Person, dispatcher: Person, sign_in: SignIn, axe: Check
) -> None:
    for person in (owner, dispatcher):
        sign_in(desk_page, person)
        desk_page.goto("/")
        bar = desk_page.locator("header.bar").bounding_box()
        assert bar is not None
        assert bar["height"] < 62
    machines = desk_page.locator(".bar summary", has_text="Machines")
    kinds = desk_page.get_by_role("link", name="Kinds", exact=True)
    expect(kinds).to_be_hidden()
    machines.click()
    expect(kinds).to_be_visible()
    axe(desk_page)
    desk_page.keyboard.press("Escape")
    expect(kinds).to_be_hidden()
    expect(machines).to_be_focused()


def test_the_way_back_through_a_search_shows_whole_pages(
    desk_page: Page, dispatcher: Person, lobby: Machine, world: World, sign_in: SignIn
) -> None:
    world.machine("YARD-2", lobby.kind)
    sign_in(desk_page, dispatcher)
    desk_page.goto("/changeovers/")
    part_of(desk_page, "Machines", "Fleet")
    rows = desk_page.locator("#found tbody tr")
    expect(rows).to_have_count(2)
    desk_page.get_by_label("Tag, serial or site").press_sequentially("yard")
    expect(rows).to_have_count(1)
    desk_page.get_by_role("link", name="YARD-2").click()
    expect(desk_page.get_by_role("heading", name="YARD-2")).to_be_visible()
    desk_page.go_back()
    expect(desk_page.get_by_role("heading", name="Fleet")).to_be_visible()
    expect(rows).to_have_count(1)
    expect(desk_page.get_by_label("Tag, serial or site")).to_have_value("yard")
    desk_page.go_back()  # one search is one step, however many letters it took
    expect(desk_page.get_by_role("heading", name="Changeovers", exact=True)).to_be_visible()


def test_carrying_it_out_on_a_phone(
    phone_page: Page,
    driver: Person,
    lobby: Machine,
    world: World,
    sign_in: SignIn,
    axe: Check,
    picture: Picture,
) -> None:
    tea = world.column(lobby, "2").set_ups.get().product
    changeover = world.planned(world.column(lobby, "1"), tea)
    sign_in(phone_page, driver)
    phone_page.goto("/")
    phone_page.get_by_role("link", name="LOB-1 ·").click()
    phone_page.get_by_role("button", name="Take it in hand").tap()
    phone_page.get_by_role("link", name="Record how it was left").tap()
    expect(phone_page.get_by_role("heading", name="how it was left")).to_be_visible()
    looked_at(phone_page, axe, picture, "phone-as-left")
    out = phone_page.get_by_role("group", name="Taken out")
    out.get_by_label("Good, back to stock").fill("21")
    notch = phone_page.get_by_label("Front spacers at notch")
    notch.fill(str((changeover.front_setting or 0) + 1))
    box = notch.bounding_box()
    assert box is not None
    assert box["height"] >= 44  # a thumb's width on a phone, about 44 px
    phone_page.get_by_label("The button's picture shows the product").check()
    phone_page.get_by_label("Test vends made").fill("4")
    phone_page.get_by_label("Test vends passed").fill("4")
    keep = phone_page.get_by_role("button", name="Keep it: the changeover is done")
    keep.tap()
    wrong = phone_page.get_by_label("Why it differs from the plan")
    expect(wrong).to_have_attribute("aria-invalid", "true")
    axe(phone_page)
    wrong.fill("the notch between is bent")
    phone_page.get_by_role("button", name="Keep it: the changeover is done").tap()
    expect(phone_page.get_by_role("heading", name="As left")).to_be_visible()
    picture(phone_page, "tour-phone")
    changeover.refresh_from_db()
    assert changeover.state == Changeover.State.DONE


def test_two_quick_presses_do_it_once(
    desk_page: Page, driver: Person, lobby: Machine, world: World, sign_in: SignIn
) -> None:
    tea = world.column(lobby, "2").set_ups.get().product
    changeover = world.planned(world.column(lobby, "1"), tea)
    sign_in(desk_page, driver)
    desk_page.goto(f"/changeovers/{changeover.pk}/")
    desk_page.get_by_role("button", name="Take it in hand").dblclick()
    expect(desk_page.get_by_role("status")).to_contain_text("It is in your hand")
    changeover.refresh_from_db()
    assert changeover.state == Changeover.State.IN_HAND


def test_a_kind_is_drawn_as_it_is_typed(
    desk_page: Page, owner: Person, sign_in: SignIn, axe: Check, picture: Picture
) -> None:
    sign_in(desk_page, owner)
    desk_page.goto("/kinds/add/")
    expect(desk_page.locator("#drawing svg")).to_have_count(0)
    for label, text in {
        "Labels": "1-9",
        "Inner width (in)": "3 1/8",
        "Inner height (in)": "36",
        "Front depth (in)": "10",
        "Front zero (in)": "3.5",
        "Front pitch (in)": "1/4",
        "Front notches": "26",
    }.items():
        desk_page.get_by_label(label).fill(text)
    desk_page.get_by_label("Front count runs").select_option("outward")
    drawing = desk_page.locator("#drawing svg")
    expect(drawing).to_have_count(1)
    expect(drawing.locator(".notch")).to_have_count(26)
    desk_page.get_by_label("Front notches").fill("27")
    expect(drawing.locator(".notch")).to_have_count(27)
    desk_page.get_by_label("Front notches").fill("90")
    expect(desk_page.locator("#drawing .why")).to_contain_text("beyond the depth")
    desk_page.get_by_label("Front notches").fill("26")
    expect(drawing).to_have_count(1)
    axe(desk_page)
    picture(desk_page, "tour-kind")
    desk_page.get_by_label("Name").first.fill("Nine-column stack")
    desk_page.get_by_role("button", name="Another depth program").click()
    expect(desk_page.get_by_label("Labels")).to_have_value("1-9")
    desk_page.get_by_role("button", name="Keep").click()
    expect(desk_page.get_by_role("heading", name="Nine-column stack")).to_be_visible()


def test_files_are_handed_in_and_one_is_matched(
    desk_page: Page,
    dispatcher: Person,
    lobby: Machine,
    sign_in: SignIn,
    axe: Check,
    picture: Picture,
) -> None:
    sign_in(desk_page, dispatcher)
    desk_page.goto("/reads/")
    desk_page.get_by_label("Audit files").set_input_files(
        [SAMPLES / "read_a.dts", SAMPLES / "read_a_lf_only.dts"]
    )
    desk_page.get_by_role("button", name="Read them in").click()
    expect(desk_page.get_by_role("heading", name="What became of 2 files")).to_be_visible()
    axe(desk_page)
    desk_page.get_by_role("link", name="read_a.dts", exact=True).click()
    expect(desk_page.get_by_role("heading", name="read_a.dts")).to_be_visible()
    looked_at(desk_page, axe, picture, "read-waiting")
    form = desk_page.locator("form", has_text="It is of this machine")
    form.get_by_label("Machine").select_option(label="LOB-1")
    form.get_by_label("Why").fill("written on the file")
    form.get_by_role("button", name="It is of this machine").click()
    expect(desk_page.get_by_role("status")).to_contain_text("accepted")
    looked_at(desk_page, axe, picture, "read-accepted")


def test_a_chart_selections_and_the_meaning_of_an_event_are_kept(
    desk_page: Page,
    owner: Person,
    lobby: Machine,
    sign_in: SignIn,
    axe: Check,
) -> None:
    sign_in(desk_page, owner)
    desk_page.goto(f"/kinds/{lobby.kind_id}/")
    desk_page.get_by_role("link", name="Its chart").click()
    expect(desk_page.get_by_text("Nothing yet.").first).to_be_visible()
    desk_page.get_by_label("Position").select_option(label="1")
    desk_page.get_by_label("Package").select_option(label="can, 12 fl oz")
    desk_page.get_by_label("Products deep").fill("2")
    desk_page.get_by_label("Front setting").fill("99")
    desk_page.get_by_role("button", name="Add it").click()
    expect(desk_page.get_by_label("Front setting")).to_have_attribute("aria-invalid", "true")
    axe(desk_page)
    desk_page.get_by_label("Front setting").fill("19")
    desk_page.get_by_role("button", name="Add it").click()
    expect(desk_page.get_by_role("row", name="can, 12 fl oz")).to_contain_text("19")
    axe(desk_page)

    desk_page.goto(f"/fleet/{lobby.pk}/")
    desk_page.get_by_role("link", name="Selections").click()
    desk_page.get_by_label("Column 4").fill("1")
    desk_page.get_by_role("button", name="Keep").click()
    expect(desk_page.get_by_role("status")).to_contain_text("wired so")
    assert lobby.selections.get(code="1").columns.count() == 2

    desk_page.goto("/events/")
    desk_page.get_by_label("Code or words").press_sequentially("coin jam")
    desk_page.locator("#found tbody a").first.click()
    words = desk_page.get_by_label("In plain words")
    words.fill("Coin stuck: clear the acceptor")
    desk_page.get_by_role("button", name="Keep").click()
    expect(desk_page.get_by_role("status")).to_be_visible()
    assert EventMeaning.objects.filter(words="Coin stuck: clear the acceptor").count() == 1


def test_the_menu_on_a_phone_opens_by_keyboard(
    phone_page: Page, owner: Person, sign_in: SignIn, axe: Check
) -> None:
    sign_in(phone_page, owner)
    phone_page.goto("/")
    head = phone_page.locator("header.bar").bounding_box()
    assert head is not None
    assert head["height"] < 80  # the page's own matter comes first
    kinds = phone_page.get_by_role("link", name="Kinds", exact=True)
    expect(kinds).to_be_hidden()
    for _ in range(3):  # past the skip link and the mark
        phone_page.keyboard.press("Tab")
    phone_page.keyboard.press("Enter")
    expect(kinds).to_be_visible()
    fits_the_width(phone_page)
    axe(phone_page)
    kinds.focus()
    phone_page.keyboard.press("Enter")
    expect(phone_page.get_by_role("heading", name="Kinds of machine")).to_be_visible()
    phone_page.get_by_text("Menu").tap()
    phone_page.get_by_role("button", name="Sign out").tap()
    expect(phone_page.get_by_role("heading", name="Sign in")).to_be_visible()


def test_a_device_token_is_shown_once(
    desk_page: Page, driver: Person, sign_in: SignIn, axe: Check
) -> None:
    sign_in(desk_page, driver)
    desk_page.goto("/me/")
    desk_page.get_by_label("Which device carries it").fill("phone in the van")
    desk_page.get_by_role("button", name="Make a token").click()
    expect(desk_page.locator("[data-secret]")).to_be_visible()
    axe(desk_page)
    secret = desk_page.locator("[data-secret]").inner_text()
    desk_page.get_by_role("link", name="It is copied").click()
    assert secret not in desk_page.content()
    desk_page.on("dialog", lambda dialog: dialog.accept())
    desk_page.get_by_role("button", name="Take away").click()
    expect(desk_page.get_by_text("the token opens nothing any more")).to_be_visible()


def test_the_desk_works_without_scripts(
    live: Any, browser: Any, dispatcher: Person, lobby: Machine, sign_in: SignIn
) -> None:
    with browser.new_context(base_url=live.url, java_script_enabled=False) as context:
        page = context.new_page()
        sign_in(page, dispatcher)
        page.goto("/fleet/")
        page.get_by_label("Tag, serial or site").fill("ferry")
        page.get_by_role("button", name="Look").click()
        page.get_by_role("link", name="LOB-1").click()
        page.get_by_role("link", name="Tea").first.click()
        page.get_by_label("Product").fill("cola")
        page.get_by_role("button", name="Look").click()
        page.get_by_role("link", name="Plan a changeover to Cola").click()
        page.get_by_role("button", name="Plan it").click()
        expect(page.get_by_role("heading", name="Cola goes in")).to_be_visible()
    assert Changeover.objects.count() == 1
