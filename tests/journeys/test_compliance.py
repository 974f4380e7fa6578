"""A driver reads a cabinet that is too warm, lets it sell again, and takes recalled goods out; the
desk sees duties, dates and the recall."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.machines.models import Product
from people.models import Person
from service.compliance.actions import duty_rules, duty_turns, recalls
from service.compliance.models import FoodLock, RecallRemoval
from tests.fleet.inventory.stores import Stores
from tests.journeys.test_desk import looked_at

Check = Callable[[Page], None]
Picture = Callable[..., Path]


def test_food_duties_and_a_recall(
    live: Any,
    desk_page: Page,
    phone_page: Page,
    stores: Stores,
    owner: Person,
    driver: Person,
    sign_in: Any,
    axe: Check,
    picture: Picture,
) -> None:
    now = timezone.now()
    stores.receive(40, stores.old)
    stores.load(30)
    stores.fill(6, lot=stores.old)
    Product.objects.filter(pk=stores.tea.pk).update(kept_cold_or_hot=True)
    site = stores.machine.placements.get().site
    site.state = "CA"
    site.save()
    duty_rules.load_packs(actor=owner, now=now)
    duty_turns.work_out(now=now)
    recall = recalls.save(
        changes={"product": stores.cola, "lot_codes": "OLD", "reason": "glass found"},
        actor=owner,
        now=now,
    )
    phone = phone_page
    sign_in(phone, driver)
    phone.goto(f"/compliance/temperatures/{stores.machine.pk}/")
    phone.get_by_label("Temperature", exact=True).fill("50")
    phone.get_by_label("Unit").first.select_option("°F")
    phone.get_by_role("button", name="Keep it").click()
    expect(phone.get_by_text("Locked since").first).to_be_visible()
    looked_at(phone, axe, picture, "food-locked-phone")
    phone.get_by_label("What was done, and what became of the food").fill("Fan changed, food out")
    phone.get_by_role("button", name="Let it sell again").click()
    expect(phone.get_by_text("it may sell again")).to_be_visible()
    assert FoodLock.objects.get().lifted_by == driver
    assert FoodLock.objects.get().reading.value == Decimal("10.00")  # type: ignore[union-attr]
    phone.goto(f"/compliance/recalls/{recall.pk}/")
    phone.get_by_text("Write down what was found and taken out").click()
    phone.get_by_label("Where", exact=True).select_option(index=1)
    phone.get_by_label("Units taken out").fill("0")
    phone.get_by_role("button", name="Write it down").click()
    expect(phone.get_by_text("looked, none there")).to_be_visible()
    looked_at(phone, axe, picture, "recall-phone")
    assert RecallRemoval.objects.get().at - now < timedelta(minutes=5)
    page = desk_page
    sign_in(page, owner)
    for name in ("duties", "duties/rules", "temperatures", "dates", "recalls"):
        page.goto(f"/compliance/{name}/")
        looked_at(page, axe, picture, f"compliance-{name.replace('/', '-')}")
        phone.goto(f"/compliance/{name}/")
        looked_at(phone, axe, picture, f"compliance-{name.replace('/', '-')}-phone")
    page.goto("/compliance/duties/?within=all")
    page.get_by_role("link", name="Seller's permit", exact=False).first.click()
    looked_at(page, axe, picture, "compliance-duty")
