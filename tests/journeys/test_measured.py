"""Access measured on a phone, what to change seen at the desk; energy and calorie signs."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.machines.actions import kinds, machines
from fleet.machines.models import Machine
from people.models import Person
from service.compliance.actions import measured
from service.compliance.models import AccessCheck
from tests.journeys.test_desk import looked_at
from tests.world import World

Check = Callable[[Page], None]
Picture = Callable[..., Path]


@pytest.fixture
def cooled(live: Any, world: World, lobby: Machine) -> Machine:
    """Class A, 25.5 cubic feet, made in 2020, a front that hides the package; energy read twice."""
    kinds.save_kind(
        kind=lobby.kind,
        changes={
            "energy_class": "A",
            "refrigerated_volume_l": Decimal("722.1"),
            "front_hides_label": True,
            "refrigerant": "R-290",
        },
        actor=world.owner,
        now=world.now,
    )
    now = timezone.now()
    for weeks, kwh in ((2, 24), (1, 31)):
        measured.measure_energy(
            machine=lobby,
            starts_at=now - timedelta(days=7 * weeks),
            ends_at=now - timedelta(days=7 * weeks - 7),
            kwh=Decimal(kwh),
            actor=world.owner,
            now=now,
        )
    return machines.change_machine(
        machine=lobby, changes={"made_on": date(2020, 1, 1)}, actor=world.owner, now=world.now
    )


def test_a_driver_measures_and_the_desk_sees_what_to_change(
    desk_page: Page,
    phone_page: Page,
    cooled: Machine,
    driver: Person,
    dispatcher: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    phone, page = phone_page, desk_page
    sign_in(phone, driver)
    phone.goto(f"/compliance/access/machines/{cooled.pk}/")
    phone.get_by_label("Coin slot, high").fill("49")
    phone.get_by_label("Coin slot, force").fill("4")
    phone.get_by_label("Product door, high").fill("20 1/2")
    looked_at(phone, axe, picture, "access-measure-phone")
    phone.get_by_role("button", name="Write it down").click()
    expect(phone.get_by_role("heading", name="What to change")).to_be_visible()
    looked_at(phone, axe, picture, "access-machine-phone")
    assert AccessCheck.objects.get().by == driver

    sign_in(page, dispatcher)
    page.goto("/compliance/access/")
    expect(page.get_by_text("25 mm lower")).to_be_visible()
    looked_at(page, axe, picture, "access")
    page.goto("/compliance/energy/")
    looked_at(page, axe, picture, "energy")
    page.get_by_role("link", name="LOB-1").first.click()
    expect(page.get_by_text("above the 3.7560")).to_be_visible()
    looked_at(page, axe, picture, "energy-machine")
    page.goto("/compliance/labels/")
    page.get_by_label("Registered by choice").check()
    page.get_by_label("Contact").fill("Fennimore, 555 0100")
    page.get_by_role("button", name="Keep").click()
    expect(page.get_by_text("Calories must be shown")).to_be_visible()
    looked_at(page, axe, picture, "labels")
    page.get_by_role("link", name="Its sign of LOB-1").click()
    expect(page.get_by_role("cell", name="Cola")).to_be_visible()
    looked_at(page, axe, picture, "calorie-signs")
