"""From a machine's fill lines to a planned changeover, at the desk and on a phone."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.demand.actions import runs
from fleet.demand.actions.refit import fit_chunk
from fleet.machines.models import Changeover, Machine, Product
from people.models import Person
from tests.fleet.demand.sellers import column, fit_all, sell_and_read, shop
from tests.fleet.inventory.stores import count_column
from tests.journeys.test_desk import looked_at
from tests.journeys.test_tour import kept
from tests.world import World

Picture = Callable[..., Path]
Check = Callable[[Page], None]
SignIn = Callable[[Page, Any], None]


@pytest.fixture
def sold(world: World, owner: Person) -> Machine:
    world.now = timezone.now()
    (machine,) = shop(world, 1)
    sell_and_read(machine, until=world.now, rates={"1": 6.0, "2": 0.1})
    for label, units in (("1", 17), ("2", 28)):
        count_column(
            column=column(machine, label),
            counted=units,
            counted_at=world.now,
            actor=owner,
            now=world.now,
        )
    fit_all(owner, world.now)
    return machine


def test_from_the_fill_line_to_a_planned_changeover(
    desk_page: Page, sold: Machine, owner: Person, sign_in: SignIn, axe: Check, picture: Picture
) -> None:
    page = desk_page
    sign_in(page, owner)
    page.goto(f"/fleet/{sold.pk}/")
    expect(page.locator("svg .level-now").first).to_be_attached()
    looked_at(page, axe, picture, "machine-levels")
    page.get_by_role("link", name="17 in it").click()
    expect(page.get_by_role("heading", name="What will be asked for")).to_be_visible()
    looked_at(page, axe, picture, "column-demand")
    kept(page, "demand", 760)
    page.get_by_role("link", name=f"Machine {sold.asset_tag}").click()
    page.get_by_role("link", name="What would change if").click()
    expect(page.get_by_text("gain a week")).to_be_visible()  # the suggestion has come
    page.get_by_label("Column 2 holds").select_option("Cola")
    page.get_by_role("button", name="What would change?").click()
    expect(page.get_by_role("heading", name="Asked: column 2 to Cola")).to_be_visible()
    expect(page.get_by_text("How far to believe it")).to_have_count(2)
    looked_at(page, axe, picture, "what-if")
    page.locator("#answer").get_by_role("link", name="Plan the changeover").click()
    page.get_by_label("What it is for").fill("Cola in two columns")
    page.get_by_label("Day", exact=True).fill(timezone.now().date().isoformat())
    page.get_by_role("button", name="Plan it").click()
    expect(page.get_by_text("Planned: Cola in two columns.")).to_be_visible()
    assert Changeover.objects.get().product == Product.objects.get(name="Cola")


def test_a_fit_is_started_and_watched_to_its_end(
    phone_page: Page, sold: Machine, owner: Person, sign_in: SignIn, axe: Check, picture: Picture
) -> None:
    page = phone_page
    sign_in(page, owner)
    page.goto("/demand/")
    looked_at(page, axe, picture, "fits-phone")
    page.get_by_role("button", name="Fit anew now").click()
    expect(page.get_by_role("progressbar")).to_be_visible()
    looked_at(page, axe, picture, "fit-under-way-phone", "light")
    (chunk,) = runs.due(now=timezone.now())
    assert fit_chunk(chunk_id=chunk, clock=timezone.now)
    expect(page.get_by_text("2 columns of 1 machines")).to_be_visible()
    expect(page.get_by_role("progressbar")).to_have_count(0)
    for name, address in {
        "column-demand-phone": f"/demand/columns/{column(sold, '1').pk}/",
        "what-if-phone": f"/demand/machines/{sold.pk}/",
        "demand-rules-phone": "/demand/rules/",
    }.items():
        page.goto(address)
        page.wait_for_load_state("networkidle")
        looked_at(page, axe, picture, name, "dark")
