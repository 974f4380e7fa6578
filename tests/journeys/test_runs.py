"""A dispatcher's day in a real browser: plan, agree, move by keyboard, mouse and finger, print."""

from collections.abc import Callable
from datetime import date, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.machines.models import Site
from office import tasks
from people.models import Business, Person
from service.runs.actions import keeping
from service.runs.models import DayPlan, Run, Stop
from tests.journeys.test_desk import looked_at
from tests.journeys.test_tour import kept
from tests.service.runs.roadwork import SHIFT, RoadWork, roadwork
from tests.world import World

Check = Callable[[Page], None]
Picture = Callable[..., Path]


@pytest.fixture
def day_ahead(
    live: Any, world: World, driver: Person, other_driver: Person
) -> tuple[RoadWork, date]:
    """Two drivers, two vans, seven machines, some behind doors with hours."""
    work = roadwork(world, driver, machines=7)
    owner, now = world.owner, timezone.now()
    changes: dict[str, Any] = {"name": "Van 2", "depot": work.depot, "volume_l": 5000}
    van = keeping.save_vehicle(changes=changes, actor=owner, now=now)
    changes = {"person": other_driver, "depot": work.depot, "vehicle": van}
    keeping.save_driver(changes=changes, shifts=SHIFT, actor=owner, now=now)
    today = timezone.localdate(now, Business.the().time_zone)
    monday = today + timedelta(days=7 + (7 - today.weekday()))
    for number, hall in enumerate(Site.objects.filter(name__startswith="Hall").order_by("pk")):
        if number % 2:
            hall.opening_windows.create(weekday=0, opens=time(8), closes=time(12 + number % 3))
        hall.longitude += Decimal(number % 3 - 1) / 20
        hall.save()
    work.run(*work.machines[:4], date=monday)
    changes = {"driver": keeping.DriverProfile.objects.get(person=other_driver)}
    work.run(*work.machines[4:], date=monday, **changes)
    return work, monday


def order(vehicle: str) -> list[str]:
    stops = Stop.objects.filter(run__vehicle__name=vehicle).order_by("sequence")
    return list(stops.values_list("machine__asset_tag", flat=True))


def test_a_stop_is_moved_by_keys_and_by_mouse(
    day_ahead: tuple[RoadWork, date],
    desk_page: Page,
    dispatcher: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    _, on = day_ahead
    page = desk_page
    sign_in(page, dispatcher)
    page.goto(f"/runs/{on}/")
    looked_at(page, axe, picture, "runs-day")
    kept(page, "runs", 1000)
    # By keys alone.
    page.get_by_label("Move", exact=True).focus()
    page.keyboard.type("4 R-4")
    page.keyboard.press("Tab")
    page.keyboard.type("first of Van 1")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_text("R-4 to place 1 of Van 1")).to_be_visible()
    looked_at(page, axe, picture, "runs-change")
    assert order("Van 1") == ["R-1", "R-2", "R-3", "R-4"]
    page.get_by_role("button", name="Move it").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("R-4 is moved")).to_be_visible()
    assert order("Van 1") == ["R-4", "R-1", "R-2", "R-3"]
    # With the mouse, from one run to the end of the other.
    _drag(page, "R-2", "R-7")
    expect(page.get_by_text("R-2 to place 4 of Van 2")).to_be_visible()
    assert order("Van 2") == ["R-5", "R-6", "R-7"]
    page.get_by_role("button", name="Move it").click()
    expect(page.get_by_text("R-2 is moved")).to_be_visible()
    assert order("Van 2") == ["R-5", "R-6", "R-7", "R-2"]
    page.goto(f"/runs/{on}/map/")
    expect(page.locator(".map-place.stop")).to_have_count(7)
    looked_at(page, axe, picture, "runs-map")


def test_a_stop_is_moved_by_a_finger(
    day_ahead: tuple[RoadWork, date],
    phone_page: Page,
    dispatcher: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    _, on = day_ahead
    phone = phone_page
    sign_in(phone, dispatcher)
    phone.goto(f"/runs/{on}/")
    looked_at(phone, axe, picture, "runs-day-phone")
    _finger(phone, "R-1", "R-2")
    expect(phone.get_by_text("R-1 to place 2 of Van 1")).to_be_visible()
    phone.get_by_role("button", name="Move it").tap()
    expect(phone.get_by_text("R-1 is moved")).to_be_visible()
    assert order("Van 1") == ["R-2", "R-1", "R-3", "R-4"]
    phone.goto(f"/runs/{on}/map/")
    looked_at(phone, axe, picture, "runs-map-phone")


def test_a_day_is_planned_agreed_and_printed(
    day_ahead: tuple[RoadWork, date],
    desk_page: Page,
    phone_page: Page,
    dispatcher: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    work, monday = day_ahead
    on = monday + timedelta(days=1)
    for machine in work.machines[:3]:
        changes = {"machine": machine, "every_days": 1}
        keeping.save_agreement(changes=changes, actor=work.owner, now=timezone.now())
    page = desk_page
    sign_in(page, dispatcher)
    page.goto(f"/runs/{on}/")
    page.get_by_role("button", name="Plan this day").click()
    expect(page.get_by_text("Waits for a worker")).to_be_visible()
    looked_at(page, axe, picture, "runs-search")
    tasks.search(page.url.rstrip("/").rpartition("/")[2])
    expect(page.get_by_role("button", name="Agree to this plan")).to_be_visible()
    looked_at(page, axe, picture, "runs-draft")
    page.get_by_role("button", name="Agree to this plan").click()
    expect(page.get_by_text("Agreed: the drivers see their runs.")).to_be_visible()
    assert DayPlan.objects.get().state == "agreed"
    run = Run.objects.filter(date=monday).order_by("pk")[0]
    page.goto(f"/runs/run/{run.pk}/load/")
    page.get_by_role("button", name="Make the load list").click()
    expect(page.get_by_text("The load list has")).to_be_visible()
    looked_at(page, axe, picture, "runs-load")
    page.goto(f"/runs/?from={monday}")
    looked_at(page, axe, picture, "runs-week")
    page.goto(f"/runs/run/{run.pk}/")
    looked_at(page, axe, picture, "runs-sheet")
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 720, "height": 1000})
    picture(page, "runs-sheet-print", full_page=True)
    page.goto(f"/runs/run/{run.pk}/load/")
    picture(page, "runs-load-print", full_page=True)
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 720
    phone = phone_page
    sign_in(phone, dispatcher)
    for name, where in (
        ("sheet", f"run/{run.pk}/"),
        ("load", f"run/{run.pk}/load/"),
        ("week", f"?from={monday}"),
    ):
        phone.goto(f"/runs/{where}")
        looked_at(phone, axe, picture, f"runs-{name}-phone")


def test_the_other_pages_are_accessible_and_within_their_width(
    day_ahead: tuple[RoadWork, date],
    desk_page: Page,
    phone_page: Page,
    dispatcher: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    work, on = day_ahead
    changes = {"machine": work.machines[0], "every_days": 14}
    agreed = keeping.save_agreement(changes=changes, actor=work.owner, now=timezone.now())
    hall = work.world.machine("R-9", work.machines[0].kind, site=Site.objects.get(name="Hall 2"))
    stop = Stop.objects.get(machine=work.machines[1])
    pages = {
        "kept": "kept/",
        "driver": f"kept/drivers/{work.profile.pk}/",
        "agreement": f"kept/agreements/{agreed.pk}/",
        "assumptions": "kept/assumptions/",
        "by-hand": f"{on}/by-hand/",
        "take-off": f"stops/{stop.pk}/take-off/",
        "insert": f"{on}/insert/?machine={hall.pk}&run=",
    }
    for shape, page in (("desk", desk_page), ("phone", phone_page)):
        sign_in(page, dispatcher)
        for name, where in pages.items():
            page.goto(f"/runs/{where}")
            looked_at(page, axe, picture, f"runs-{name}-{shape}")


def _boxes(page: Page, *tags: str) -> list[dict[str, float]]:
    """Where the boxes of machines stand on the screen."""
    found = []
    for tag in tags:
        stop = Stop.objects.get(machine__asset_tag=tag)
        box = page.locator(f"[data-stop='{stop.pk}']")
        box.scroll_into_view_if_needed()
        found.append(box)
    return [box.bounding_box() for box in found]


def _drag(page: Page, tag: str, behind: str) -> None:
    held, to = _boxes(page, tag, behind)
    page.mouse.move(held["x"] + held["width"] / 2, held["y"] + held["height"] / 2)
    page.mouse.down()
    page.mouse.move(to["x"] + to["width"] + 20, to["y"] + to["height"] / 2, steps=6)
    page.mouse.up()


def _finger(page: Page, tag: str, behind: str) -> None:
    """A drag as a touch screen sends it."""
    held, to = _boxes(page, tag, behind)
    wire = page.context.new_cdp_session(page)
    at = {"x": held["x"] + held["width"] / 2, "y": held["y"] + held["height"] / 2}
    end = {"x": to["x"] + to["width"] - 2, "y": to["y"] + to["height"] / 2}
    wire.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [at]})
    for part in (0.3, 0.6, 1):
        point = {axis: at[axis] + (end[axis] - at[axis]) * part for axis in ("x", "y")}
        wire.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [point]})
    wire.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
