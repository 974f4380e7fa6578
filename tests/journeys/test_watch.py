"""From a suspicion in the numbers to a ticket, a dismissal and a counted bag; desk and phone."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.sales.actions.bags import seal
from people.models import Person
from service.tickets.models import Ticket
from service.watch.actions import findings as acting
from service.watch.actions.verdicts import take_verdicts
from service.watch.models import Finding
from tests.fleet.demand.sellers import column, fit_all, shop
from tests.journeys.test_desk import looked_at
from tests.journeys.test_tour import kept
from tests.service.watch.sold import Seller, Stocked, looked, mend
from tests.service.watch.test_money import bagged
from tests.world import World

Picture = Callable[..., Path]
Check = Callable[[Page], None]
SignIn = Callable[[Page, Any], None]


@pytest.fixture
def found(world: World, owner: Person) -> list[Finding]:
    """A silent column, one that drops two for one payment, short bags, a jam that was mended."""
    world.now = now = timezone.now() - timedelta(hours=1)
    silent, double, short, jammed = shop(world, 4)
    Seller(silent, now).sell(stops={"1": 6})
    held = column(double, "1")
    world.set_up(
        held,
        held.set_ups.get().product,
        deep=2,
        front_setting=20,
        program=double.kind.programs.get(name="run on"),
        starts_at=now - timedelta(days=100),
    )
    Stocked(Seller(double, now, rates={"1": 0.0, "2": 0.0}), owner).sell(
        weeks=6, a_week=8, always=3
    )
    bagged(short, owner, now, dict.fromkeys(range(5), 900))
    jam = Seller(jammed, now, days=3)
    jam.meter.events = ["EA2*EJB_1*1*3**1*1295"]
    jam.sell()
    fit_all(owner, now)
    looked(now)
    event = Finding.objects.get(kind="event")
    ticket = acting.to_ticket(finding=event, actor=owner, now=_after(now, 31))
    mend(ticket, "motor", by=owner, at=_after(now, 100))
    take_verdicts(now=_after(now, 31))
    seal(seal_number="S-900", machine=silent, sealed_at=now, actor=owner, now=now)
    return list(Finding.objects.order_by("pk"))


def _after(now: datetime, minutes: int) -> datetime:
    return now + timedelta(minutes=minutes)


def test_from_a_suspicion_to_a_ticket(
    desk_page: Page,
    found: list[Finding],
    owner: Person,
    sign_in: SignIn,
    axe: Check,
    picture: Picture,
) -> None:
    page = desk_page
    sign_in(page, owner)
    page.goto("/watch/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("What the numbers say")
    looked_at(page, axe, picture, "watch")
    for kind in ("silent", "two_for_one", "cash"):
        one = Finding.objects.get(kind=kind)
        page.goto(f"/watch/{one.pk}/")
        expect(page.locator("svg.chart")).to_be_visible()
        looked_at(page, axe, picture, f"finding-{kind}")
        if kind == "two_for_one":
            kept(page, "finding", 900)
    silent = Finding.objects.get(kind="silent")
    page.goto(f"/fleet/{silent.machine_id}/")
    page.get_by_role("link", name="1", exact=True).first.click()
    expect(page).to_have_url(f"{page.url.split('/watch/')[0]}/watch/{silent.pk}/")
    page.get_by_label("Urgency").select_option("part")
    page.get_by_role("button", name="Make a ticket").click()
    expect(page.get_by_role("status").first).to_contain_text("Ticket")
    ticket = Ticket.objects.get(source="watch")
    expect(page.locator("main")).to_contain_text(ticket.reference)
    cash = Finding.objects.get(kind="cash")
    page.goto(f"/watch/{cash.pk}/")
    page.get_by_label("Reason").select_option("counted_wrong")
    page.get_by_role("textbox", name="Note").fill("the roll of quarters lay beside it")
    page.get_by_role("button", name="Dismiss").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("What the numbers say")
    cash.refresh_from_db()
    assert cash.state == Finding.State.DISMISSED
    page.get_by_role("link", name="How good it is").click()
    expect(page.locator("main")).to_contain_text("too few to judge by")
    looked_at(page, axe, picture, "watch-quality")
    page.goto("/watch/limits/")
    page.get_by_label("Kind").select_option("two_for_one")
    page.get_by_label("Symptom").select_option(label="two for one")
    page.get_by_label("In use").check()
    page.get_by_role("button", name="Keep the rule").click()
    expect(page.locator("main")).to_contain_text("two for one from 4 on: kept.")
    looked_at(page, axe, picture, "watch-limits")
    page.goto("/watch/")
    page.get_by_role("button", name="Look now").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Look of")
    looked_at(page, axe, picture, "watch-look")


def test_a_bag_is_counted_and_a_finding_read_on_a_phone(
    phone_page: Page,
    found: list[Finding],
    owner: Person,
    sign_in: SignIn,
    axe: Check,
    picture: Picture,
) -> None:
    page = phone_page
    sign_in(page, owner)
    page.goto("/watch/")
    looked_at(page, axe, picture, "watch-phone")
    page.goto(f"/watch/{Finding.objects.get(kind='two_for_one').pk}/")
    looked_at(page, axe, picture, "finding-phone")
    page.goto("/bags/?which=waiting")
    looked_at(page, axe, picture, "bags-phone")
    page.get_by_role("link", name="S-900").click()
    looked_at(page, axe, picture, "bag-phone")
    page.get_by_label("Coins and notes together").fill("41.25")
    page.get_by_role("button", name="Keep the count").click()
    expect(page.locator("main")).to_contain_text("bag S-900: 41.25: kept.")
