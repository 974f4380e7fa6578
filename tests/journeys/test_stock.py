"""Stock and buying in a real browser: a count, an order from draft to delivery, at both widths."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.inventory.actions import moves, places, suppliers
from fleet.inventory.models import Movement, PurchaseOrder, StockCount
from fleet.machines.models import Machine, Product
from people.models import Person
from tests.fleet.demand.foretold import foretell
from tests.fleet.inventory.shop import Shop
from tests.journeys.test_desk import looked_at
from tests.world import World

Picture = Callable[..., Path]
Check = Callable[[Page], None]
SignIn = Callable[[Page, Any], None]


@pytest.fixture
def shop(world: World, lobby: Machine) -> Shop:
    """A warehouse with two lots of cola, a truck with some, a supplier of what the lobby sells."""
    world.now = timezone.now() - timedelta(days=3)
    shop = Shop(world, number=1)
    shop.cola, shop.tea = (
        Product.objects.get(name=name, package__name__endswith="fl oz") for name in ("Cola", "Tea")
    )
    for item in shop.supplier.items.exclude(product__in=[shop.cola, shop.tea]):
        suppliers.remove_item(item=item, actor=world.owner, now=world.now)
    shop.sells(shop.cola, units_per_case=24, case_cost=Decimal("12.00"))
    shop.sells(shop.tea, units_per_case=12, case_cost=Decimal("9.60"))
    shop.receives(
        shop.came(shop.cola, 48, stated_best_before=shop.day(120)),
        shop.came(shop.cola, 24, code="K7", best_before=shop.day(10)),
        delivery_note="N-77",
    )
    moves.load(
        warehouse=shop.warehouse,
        truck=places.truck("Van 1"),
        items=[moves.Item(shop.cola, 30)],
        actor=world.owner,
        happened_at=shop.later(1),
        now=shop.later(1),
    )
    moves.waste(
        place=places.truck("Van 1"),
        items=[moves.Item(shop.cola, 2)],
        waste_reason="damaged",
        actor=world.owner,
        happened_at=shop.later(1),
        now=shop.later(1),
    )
    foretell(world, shop.cola, 10.0)
    foretell(world, shop.tea, 2.0)
    return shop


def test_every_page_of_stock_at_both_widths(
    desk_page: Page,
    phone_page: Page,
    owner: Person,
    sign_in: SignIn,
    shop: Shop,
    axe: Check,
    picture: Picture,
) -> None:
    order = shop.ordered(cola=2, tea=1)
    movement = Movement.objects.filter(reason="receipt").get()
    addresses = {
        "places": "/stock/",
        "open": "/stock/open/",
        "place": f"/stock/places/{shop.warehouse.pk}/",
        "sheet": f"/stock/places/{shop.warehouse.pk}/count/",
        "move": f"/stock/places/{shop.warehouse.pk}/move/",
        "throw-away": f"/stock/places/{shop.warehouse.pk}/throw-away/",
        "lots": "/stock/lots/",
        "movements": "/stock/movements/",
        "movement": f"/stock/movements/{movement.pk}/",
        "waste": "/stock/waste/",
        "suppliers": "/stock/suppliers/",
        "supplier": f"/stock/suppliers/{shop.supplier.pk}/",
        "supplier-change": f"/stock/suppliers/{shop.supplier.pk}/change/",
        "item-add": f"/stock/suppliers/{shop.supplier.pk}/items/add/",
        "receive-from": f"/stock/suppliers/{shop.supplier.pk}/receive/",
        "orders": "/stock/orders/",
        "suggest": f"/stock/orders/suggest/?supplier={shop.supplier.pk}",
        "order": f"/stock/orders/{order.pk}/",
        "receive": f"/stock/orders/{order.pk}/receive/",
        "receipt": f"/stock/receipts/{movement.receipt.pk}/",
    }
    for page, width in ((desk_page, "desk"), (phone_page, "phone")):
        sign_in(page, owner)
        for name, address in addresses.items():
            answer = page.goto(address)
            assert answer is not None
            assert answer.status == 200, address
            looked_at(page, axe, picture, f"stock-{name}-{width}", "light")


def test_a_count_by_keyboard_tells_what_differs(
    phone_page: Page, driver: Person, sign_in: SignIn, shop: Shop, axe: Check
) -> None:
    page = phone_page
    sign_in(page, driver)
    page.goto(f"/stock/places/{shop.warehouse.pk}/")
    page.get_by_role("link", name="Count it").click()
    # The lot that is best before soonest went on the van; of the other 42 are left.
    figure = page.get_by_label("Counted: Cola")
    figure.focus()
    page.keyboard.type("40")
    page.get_by_role("button", name="One more line").click()
    expect(page.get_by_label("Counted: Cola")).to_have_value("40")
    page.get_by_label("Counted: Cola").press("Enter")
    expect(page.get_by_text("1 of 1 lines differ")).to_be_visible()
    axe(page)
    count = StockCount.objects.get()
    assert [(one.counted, one.book) for one in count.lines.all()] == [(40, 42)]
    page.get_by_role("link", name="What was posted").click()
    expect(page.get_by_role("heading", name="Count", exact=True)).to_be_visible()


def test_an_order_from_suggestion_to_a_delivery_with_differences(
    desk_page: Page, owner: Person, sign_in: SignIn, shop: Shop, axe: Check
) -> None:
    page = desk_page
    sign_in(page, owner)
    page.goto("/stock/orders/")
    page.locator("form[action*=suggest]").get_by_label("Supplier").select_option(
        label=str(shop.supplier)
    )
    page.get_by_role("button", name="Suggest an order").click()
    page.get_by_text("Why", exact=True).first.click()
    expect(page.get_by_text("are expected to sell").first).to_be_visible()
    page.get_by_role("button", name="Keep the draft").click()
    expect(page.get_by_role("heading", name="Why so many")).to_be_visible()
    page.get_by_role("button", name="It has gone out: placed").click()
    page.get_by_role("link", name="Receive a delivery").click()
    line = PurchaseOrder.objects.get().lines.get(product=shop.cola)
    form = page.get_by_role("group", name="Cola")
    form.get_by_label("Units taken in").fill(str(line.units - 1))
    form.get_by_label("Best before, on the product").fill(str(shop.day(200)))
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_text("the rest is still owed").first).to_be_visible()
    axe(page)
    page.get_by_text("Take it back").first.click()
    page.get_by_label("Why").fill("counted wrongly")
    page.get_by_role("button", name="Take it back").click()
    expect(page.get_by_text("Taken back", exact=False).first).to_be_visible()


def test_what_is_wrong_is_told_where_it_was_typed(
    desk_page: Page, owner: Person, sign_in: SignIn, shop: Shop, axe: Check
) -> None:
    page = desk_page
    sign_in(page, owner)
    page.goto(f"/stock/places/{shop.warehouse.pk}/move/")
    page.get_by_label("To", exact=True).select_option(label="Van 1")
    page.get_by_label("Move: Cola").fill("43")
    page.get_by_role("button", name="Move").click()
    expect(page.get_by_role("alert")).to_contain_text("holds 42 Cola")
    expect(page.get_by_label("Move: Cola")).to_have_value("43")
    axe(page)
