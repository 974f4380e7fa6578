"""The tour that README.md shows: one column's way to another package, from question to machine.

Pictures are kept in `tour/` where one is missing; to renew one, delete it and run this journey.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.machines.actions import kinds
from fleet.machines.models import Changeover, Machine
from fleet.sales.actions.receive import ReceivedFile, receive
from people.models import Person
from tests.fleet.sales.meter import Meter
from tests.journeys.test_desk import part_of
from tests.world import World, stack

TOUR = Path(__file__).parent / "tour"
LARGEST = 200_000
PICTURES = {"fit", "plan", "sheet", "as-left", "machine", "reads"}
OF_OTHER_JOURNEYS = {"demand", "runs", "road", "board", "finding"}
NEW_YORK = ZoneInfo("America/New_York")
SignIn = Callable[[Page, Any], None]


def kept(page: Page, name: str, height: int, top: str = "") -> None:
    """Keep a strip of the page, from its top or an element's, unless there is such a picture."""
    path = TOUR / f"{name}.png"
    if path.exists():
        return
    box = page.locator(top).bounding_box() if top else None
    size = page.viewport_size
    assert size is not None
    strip = {"x": 0, "y": box["y"] - 12 if box else 0, "width": size["width"], "height": height}
    page.evaluate("document.activeElement.blur()")
    page.screenshot(path=path, full_page=True, clip=strip, animations="disabled")  # type: ignore[arg-type]


@pytest.fixture
def library(world: World) -> Machine:
    """A machine of nine columns in a library; column 3 lies two deep under the wrong program."""
    kind = kinds.save_kind(
        changes={"name": "Nine-column stack", "vend_window_s": Decimal(15), "drop_sensor": True},
        programs=[
            {"name": "one deep", "deep": 1, "cycle_s": Decimal(18), "run_on_s": Decimal(10)},
            {"name": "two deep", "deep": 2, "cycle_s": Decimal(18), "run_on_s": Decimal(0)},
        ],
        positions=[stack(str(number)) for number in range(1, 10)],
        actor=world.owner,
        now=world.now,
    )
    can = world.can("12 oz can")
    tall = world.can("16 oz can", length_mm=Decimal("157.2"))
    holds = {
        "can": [
            world.product(name, can)
            for name in ("Hollin Cola 12 oz", "Pepperwort Root Beer 12 oz", "Sundry Orange 12 oz")
        ],
        "bottle": [
            world.product("Hollin Cola 20 oz", world.bottle("20 oz bottle"), price=Decimal("2.50")),
            world.product(
                "Cress Water 20 oz",
                world.bottle("20 oz water bottle", length_mm=Decimal("204.4")),
                price=Decimal("2.00"),
            ),
        ],
        "tall": [
            world.product("Nettle Energy 16 oz", tall, price=Decimal("3.00")),
            world.product("Marigold Iced Tea 16 oz", tall, price=Decimal("2.25")),
        ],
    }
    world.product(
        "Elderby Lemonade 20 oz",
        world.bottle(
            "20 oz wide bottle",
            length_mm=Decimal(209),
            diameter_mm=Decimal(75),
            neck_from_mm=Decimal(160),
            neck_to_mm=Decimal(184),
        ),
        price=Decimal("2.60"),
    )
    world.product(
        "Tatham Potato Crisps",
        world.package("small bag", "bag", height_mm=Decimal(170), thickness_mm=Decimal(45)),
        price=Decimal("1.50"),
    )
    machine = world.machine("LIB-014", kind, site=world.site("Alder Street Library"))
    shelf = [*holds["can"], holds["can"][0], *holds["tall"], holds["can"][1], *holds["bottle"]]
    for label, product in enumerate(shelf, 1):
        deep = 2 if product in holds["can"] else 1
        bottle = product in holds["bottle"]
        world.set_up(
            world.column(machine, str(label)),
            product,
            deep=deep,
            front_setting=20 if deep == 2 else 10 if bottle else 9,
            program=kind.programs.get(deep=1 if label == 3 else deep),
        )
    return machine


def days_of(meter: Meter, *, damaged: bool = False) -> None:
    """A week of files, one each morning up to today, and one that a bad cable spoilt."""
    today = timezone.localtime(timezone.now(), NEW_YORK).replace(
        hour=5, minute=40, second=0, microsecond=0
    )
    for ago in range(7, 0, -1):
        at = today - timedelta(days=ago)
        for number, code in enumerate(meter.buttons):
            meter.sell(code, cash=(ago + number) % 4, cashless=(ago * number) % 5)
        spoilt = damaged and ago == 1
        _hand_in(meter.read(at.replace(tzinfo=None), wrong_check=spoilt), meter.asset, at)


def _hand_in(data: bytes, asset: str, at: datetime) -> None:
    file = ReceivedFile(f"{asset}-{at:%Y%m%d-%H%M}.dts", data)
    receive(files=[file], source="folder", actor=None, now=at + timedelta(minutes=3))


def test_the_tour(
    desk_page: Page,
    phone_page: Page,
    dispatcher: Person,
    driver: Person,
    library: Machine,
    world: World,
    sign_in: SignIn,
) -> None:
    buttons = [str(number) for number in range(1, 10)]
    days_of(Meter.with_buttons(*buttons, asset="LIB-014", serial="", board=""), damaged=True)
    days_of(Meter.with_buttons(*buttons, asset="POOL-022", serial="ZZZ40022", board=""))
    sign_in(desk_page, dispatcher)
    sign_in(phone_page, driver)

    # What fits this column?
    desk_page.goto("/fit/")
    desk_page.get_by_label("Machine").select_option(label="LIB-014")
    desk_page.get_by_role("button", name="Show its columns").click()
    desk_page.get_by_role("link", name="7", exact=True).click()
    expect(desk_page.get_by_role("link", name="Tatham Potato Crisps")).to_be_visible()
    kept(desk_page, "fit", 640, "section:has(#answers)")

    # A plan, with its reasons before anything is planned; then the sheet.
    desk_page.get_by_role("link", name="Plan a changeover to Elderby Lemonade 20 oz").click()
    desk_page.get_by_label("What it is for").fill("Lemonade for the summer")
    section = desk_page.get_by_role("img", name="Column 7 with Elderby Lemonade")
    expect(section).to_be_visible()
    kept(desk_page, "plan", 1110)
    desk_page.get_by_role("button", name="Plan it").click()
    desk_page.get_by_role("link", name="LIB-014 · 7").click()
    expect(desk_page.get_by_role("heading", name="Steps")).to_be_visible()
    kept(desk_page, "sheet", 1320)

    # Carried out by the driver, beside the machine.
    changeover = Changeover.objects.get()
    phone_page.goto(f"/changeovers/{changeover.pk}/")
    phone_page.get_by_role("button", name="Take it in hand").tap()
    phone_page.get_by_role("link", name="Record how it was left").tap()
    out = phone_page.get_by_role("group", name="Taken out")
    out.get_by_label("Good, back to stock").fill("19")
    phone_page.get_by_label("Front spacers at notch").fill(str(changeover.front_setting))
    kept(phone_page, "as-left", 1060)
    phone_page.get_by_text("Another product came out, too").tap()
    stray = phone_page.get_by_role("group", name="Other product 1")
    stray.get_by_label("Product").select_option(label="Hollin Cola 12 oz")
    stray.get_by_label("Good, back to stock").fill("1")
    phone_page.get_by_label("The button's picture shows the product").check()
    phone_page.get_by_label("Test vends made").fill(str(changeover.test_vends_asked))
    phone_page.get_by_label("Test vends passed").fill(str(changeover.test_vends_asked))
    phone_page.get_by_role("button", name="Keep it: the changeover is done").tap()
    expect(phone_page.get_by_role("heading", name="As left")).to_be_visible()

    # The machine's page shows every column in section, and what is amiss with one.
    desk_page.goto(f"/fleet/{library.pk}/")
    expect(desk_page.get_by_text("two for one likely")).to_be_visible()
    expect(desk_page.get_by_role("img", name="Column 7: Elderby Lemonade")).to_be_visible()
    kept(desk_page, "machine", 1260)

    # The tray: what waits stands in piles, and finds its machine once that is entered.
    part_of(desk_page, "Machines", "Reads")
    expect(desk_page.get_by_role("link", name="what calls itself")).to_be_visible()
    kept(desk_page, "reads", 900)
    world.machine("POOL-022", library.kind)
    desk_page.get_by_role("button", name="Match again").click()
    expect(desk_page.get_by_role("status")).to_contain_text("7 reads found their machine")

    assert {path.stem for path in TOUR.glob("*.png")} == PICTURES | OF_OTHER_JOURNEYS
    large = [path.name for path in TOUR.glob("*.png") if path.stat().st_size > LARGEST]
    assert not large, f"too large for a page that is read over a phone line: {large}"
