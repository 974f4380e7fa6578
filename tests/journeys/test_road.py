"""A driver's whole day on a phone, part of it without a signal."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import BrowserContext, Page, expect

from fleet.inventory.models import StockLevel
from people.models import Business, Person
from service.runs.actions import byhand
from service.runs.models import RoadAct, Run, Visit
from tests.journeys.test_desk import looked_at
from tests.journeys.test_tour import kept
from tests.service.runs.roadwork import roadwork
from tests.world import World

KEPT = """(part) => caches.open("road").then((kept) => kept.keys())
    .then((keys) => keys.filter((one) => one.url.includes(part)).length)"""
Check = Callable[[Page], None]
Picture = Callable[..., Path]


@pytest.fixture
def today(live: Any, world: World, driver: Person) -> Run:
    """A run of today, agreed, with thirty colas and twenty teas on the truck."""
    work = roadwork(world, driver, machines=2)
    now = timezone.now()
    run = byhand.add_run(
        date=timezone.localdate(now, Business.the().time_zone),
        driver=work.profile,
        machines=work.machines,
        actor=work.owner,
        now=now,
    )
    work.stock(work.cola, 30)
    work.stock(work.tea, 20)
    return run


def held(place: int) -> int:
    return sum(StockLevel.objects.filter(place=place).values_list("quantity", flat=True))


def kept_pages(page: Page, part: str, at_least: int) -> None:
    """Waits until the browser keeps so many pages of an address; a promise is not waited for."""
    for _ in range(100):
        if page.evaluate(KEPT, part) >= at_least:
            return
        page.wait_for_timeout(100)
    pytest.fail(f"{page.url} keeps fewer than {at_least} pages of {part}")


def cut(context: BrowserContext, off: bool) -> None:
    context.set_offline(off)


def test_a_day_on_a_phone(
    today: Run, phone_page: Page, driver: Person, sign_in: Any, axe: Check, picture: Picture
) -> None:
    page = phone_page
    sign_in(page, driver)
    page.goto("/road/")
    looked_at(page, axe, picture, "road-day")
    page.get_by_role("link", name="Van 1 from Marl Street store").click()
    looked_at(page, axe, picture, "road-run")
    page.get_by_role("button", name="Start the day").click()
    expect(page.get_by_text("on the road; loading from")).to_be_visible()
    page.get_by_role("link", name="Next: R-1").click()
    page.get_by_role("button", name="I am here").click()
    expect(page.get_by_text("There since")).to_be_visible()
    looked_at(page, axe, picture, "road-stop")
    page.get_by_label("Cola").first.fill("4")
    page.get_by_role("button", name="Keep the count").click()
    expect(page.get_by_text("Counted at")).to_be_visible()
    page.locator("#fill").get_by_label("Cola").fill("12")
    page.get_by_role("button", name="Keep the fill").click()
    expect(page.get_by_text("Filled at")).to_be_visible()
    page.get_by_label("Seal number").fill("B-1001")
    page.get_by_role("button", name="Keep the seal").click()
    expect(page.get_by_text("Bagged the cash at")).to_be_visible()
    page.get_by_role("button", name="I am done here").click()
    expect(page.get_by_role("heading", name="Van 1, 2 stops")).to_be_visible()
    assert held(today.vehicle.truck_id) == 38
    assert Visit.objects.filter(left_at__isnull=False).count() == 1


def test_what_is_done_without_a_signal_arrives_once(
    today: Run, phone_page: Page, driver: Person, sign_in: Any, axe: Check, picture: Picture
) -> None:
    page = phone_page
    sign_in(page, driver)
    page.goto(f"/road/runs/{today.pk}/")
    page.get_by_role("button", name="Start the day").click()
    expect(page.get_by_text("on the road; loading from")).to_be_visible()
    kept_pages(page, "/road/stops/", 2)
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    cut(page.context, True)
    page.get_by_role("link", name="Next: R-1").click()
    expect(page.get_by_role("heading", name="R-1, Hall 1")).to_be_visible()
    page.get_by_role("button", name="I am here").click()
    expect(page.get_by_role("heading", name="1 thing waits to be sent")).to_be_visible()
    page.locator("#count").get_by_label("Cola").fill("5")
    page.get_by_role("button", name="Keep the count").click()
    page.locator("#fill").get_by_label("Tea").fill("7")
    page.get_by_role("button", name="Keep the fill").click()
    page.get_by_label("Seal number").fill("B-77")
    expect(page.get_by_role("heading", name="3 things wait to be sent")).to_be_visible()
    expect(page.get_by_text("No signal. It is sent by itself")).to_be_visible()
    expect(page.locator("#fill")).to_contain_text("it waits to be sent")
    looked_at(page, axe, picture, "road-waiting")
    kept(page, "road", 1120)
    # What is only typed is there again after the page was lost.
    page.reload()
    expect(page.get_by_label("Seal number")).to_have_value("B-77")
    expect(page.get_by_role("heading", name="3 things wait to be sent")).to_be_visible()
    assert RoadAct.objects.count() == 1
    cut(page.context, False)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(page.get_by_text("There since")).to_be_visible()
    expect(page.get_by_label("Seal number")).to_have_value("B-77")
    assert sorted(RoadAct.objects.values_list("verb", flat=True)) == [
        "arrive",
        "count",
        "fill",
        "start",
    ]
    assert held(today.vehicle.truck_id) == 43
    act = RoadAct.objects.get(verb="fill")
    assert act.server_at - act.client_at > timedelta(0)


def test_a_refusal_shows_what_was_typed_and_can_be_mended(
    today: Run, phone_page: Page, driver: Person, sign_in: Any, axe: Check, picture: Picture
) -> None:
    page = phone_page
    sign_in(page, driver)
    page.goto(f"/road/runs/{today.pk}/")
    page.get_by_role("button", name="Start the day").click()
    expect(page.get_by_text("on the road; loading from")).to_be_visible()
    page.get_by_role("link", name="Next: R-1").click()
    page.locator("#fill").get_by_label("Cola").fill("999")
    page.get_by_role("button", name="Keep the fill").click()
    expect(page.get_by_role("heading", name="Not taken")).to_be_visible()
    expect(page.get_by_role("alert")).to_contain_text("999 cannot have gone in")
    looked_at(page, axe, picture, "road-refused")
    assert held(today.vehicle.truck_id) == 50
    page.get_by_role("button", name="Mend it").click()
    expect(page.locator("#fill").get_by_label("Cola")).to_have_value("999")
    page.locator("#fill").get_by_label("Cola").fill("9")
    page.get_by_role("button", name="Keep the fill").click()
    expect(page.get_by_text("Filled at")).to_be_visible()
    expect(page.get_by_role("heading", name="Not taken")).to_be_hidden()
    assert held(today.vehicle.truck_id) == 41


def test_a_day_without_scripts(
    today: Run, live: Any, browser: Any, driver: Person, sign_in: Any
) -> None:
    with browser.new_context(base_url=live.url, java_script_enabled=False) as context:
        page = context.new_page()
        sign_in(page, driver)
        page.goto(f"/road/runs/{today.pk}/")
        page.get_by_role("button", name="Start the day").click()
        page.get_by_role("link", name="Next: R-1").click()
        page.locator("#fill").get_by_label("Tea").fill("99")
        page.get_by_role("button", name="Keep the fill").click()
        expect(page.locator("#fill .error")).to_be_visible()
        page.locator("#fill").get_by_label("Tea").fill("8")
        page.get_by_role("button", name="Keep the fill").click()
        expect(page.get_by_text("Filled at")).to_be_visible()
        page.get_by_role("button", name="I am done here").click()
        page.get_by_label("Cola").fill("30")
        page.get_by_label("Tea").fill("11")
        page.get_by_role("button", name="End the day").click()
        expect(page.get_by_text("ended; loading")).to_be_visible()
    assert Run.objects.get().state == Run.State.ENDED
    assert held(today.vehicle.truck_id) == 41
