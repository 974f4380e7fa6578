"""What machines earn, at the desk and on a phone: from the ranking to what would change it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from people.models import Person
from tests.fleet.demand.sellers import fit_all
from tests.journeys.test_desk import looked_at
from tests.service.earnings.earner import Earner

Check = Callable[[Page], None]
Picture = Callable[..., Path]
PERIOD = "since=2026-03-01&until=2026-03-07"


@pytest.fixture
def earning(live: Any, earner: Earner) -> Earner:
    earner.visit()
    fit_all(earner.work.owner, timezone.now())
    return earner


def test_an_accountant_reads_what_a_machine_earns(
    earning: Earner,
    desk_page: Page,
    phone_page: Page,
    accountant: Person,
    sign_in: Callable[[Page, Person], None],
    axe: Check,
    picture: Picture,
) -> None:
    page = desk_page
    sign_in(page, accountant)
    page.goto(f"/earnings/?by=machine&{PERIOD}")
    expect(page.get_by_role("heading", name="Earnings")).to_be_visible()
    looked_at(page, axe, picture, "earnings")
    page.get_by_role("link", name="R-1").click()
    expect(page.get_by_role("img", name="What is left of R-1's receipts")).to_be_visible()
    looked_at(page, axe, picture, "earnings-machine")
    page.get_by_role("link", name="What would change it").click()
    expect(page.get_by_role("heading", name="How often it is visited")).to_be_visible()
    looked_at(page, axe, picture, "earnings-changes")

    phone = phone_page
    sign_in(phone, accountant)
    addresses = (
        f"/earnings/?by=driver&{PERIOD}",
        f"/earnings/machine/{earning.machine.pk}/?{PERIOD}",
        f"/earnings/changes/{earning.machine.pk}/",
        "/earnings/settings/",
    )
    for number, address in enumerate(addresses):
        phone.goto(address)
        looked_at(phone, axe, picture, f"earnings{number}-phone", "light")
