"""Terminals for cards in the browser: taken down, and a wrong entry set right."""

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from fleet.machines.models import Machine
from fleet.sales.actions import terminals
from fleet.sales.models import CardTerminal
from people.models import Person
from tests.cast import NOW
from tests.journeys.test_desk import looked_at

Check = Callable[[Page], None]
Picture = Callable[..., Path]


@pytest.mark.parametrize("width", [1280, 390])
def test_a_terminal_is_ended_and_its_entry_corrected(
    width: int,
    lobby: Machine,
    desk_page: Page,
    accountant: Person,
    sign_in: Callable[[Page, Person], None],
    axe: Check,
    picture: Picture,
) -> None:
    hung = terminals.hang_terminal(
        code="T-9", machine=lobby, starts_on=date(2026, 1, 1), actor=accountant, now=NOW
    )
    page = desk_page
    page.set_viewport_size({"width": width, "height": 844})
    sign_in(page, accountant)
    page.goto("/settlements/terminals/all/")
    page.get_by_role("link", name="T-9").click()
    looked_at(page, axe, picture, f"terminal-{width}", "light")
    page.get_by_label("First day it hangs there no more").fill("2026-02-10")
    page.get_by_role("button", name="End it").click()
    expect(page.get_by_role("heading", name="It was taken down")).to_have_count(0)
    page.get_by_label("First day it hung there no more").fill("2026-02-12")
    page.get_by_label("What was wrong").fill("two days early")
    page.get_by_role("button", name="Set it right").click()
    expect(page.get_by_text("This entry stands in the place of")).to_be_visible()
    page.goto("/settlements/terminals/all/")
    expect(page.get_by_text("withdrawn: two days early")).to_be_visible()
    looked_at(page, axe, picture, f"terminals-{width}", "light")
    assert CardTerminal.objects.get(instead_of=hung).ends_on == date(2026, 2, 12)
