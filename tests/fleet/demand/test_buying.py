"""What to order: demand over lead time and review against what is held and on order."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from scipy import stats

from fleet.demand.actions import buying
from fleet.inventory.actions import orders, suppliers
from fleet.machines.models import Machine, Product
from people.errors import Unacceptable
from people.models import Person
from tests.fleet.demand.foretold import foretell
from tests.fleet.inventory.shop import Shop
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(world: World, lobby: Machine) -> Shop:
    """A supplier of the very cola and tea that the lobby's machine sells: 10 and 2 a day."""
    shop = Shop(world, number=1)
    for name, case in (("Cola", "12.00"), ("Tea", "9.60")):
        product = Product.objects.get(name=name, package__name__endswith="fl oz")
        setattr(shop, name.lower(), product)
        shop.sells(product, units_per_case=24 if name == "Cola" else 12, case_cost=Decimal(case))
        foretell(world, product, 10.0 if name == "Cola" else 2.0)
    for item in shop.supplier.items.exclude(product__in=[shop.cola, shop.tea]):
        suppliers.remove_item(item=item, actor=world.owner, now=world.now)
    return shop


def suggested(shop: Shop, product: Product, **more: Any) -> buying.Suggestion:
    found = buying.suggest(supplier=shop.supplier, place=shop.warehouse, now=shop.world.now)
    return next(one for one in found if one.product == product.pk)


def test_base_stock_is_the_quantile_of_the_demand_until_the_next_order_has_come(
    shop: Shop,
) -> None:
    one = suggested(shop, shop.cola)
    # Today from 9:00 on, and then 2 days of lead time and 7 of review less today.
    days = 9 - 9 / 24
    assert one.mean == pytest.approx(10 * days, rel=1e-3)
    assert one.spread == pytest.approx((10 * days) ** 0.5, rel=0.01)
    # 12.00 / 24 at a quarter a year for 7 days left; 1.75 less 0.50 short.
    left, short = 50 * 0.25 * 7 / 365, 175 - 50
    assert (one.left_cost_minor, one.short_cost_minor) == pytest.approx((left, short))
    # Newsvendor quantile of a Poisson demand, by scipy.stats.
    assert one.up_to == stats.poisson.ppf(short / (short + left), 10 * days)
    assert (one.rule, one.reorder_at) == ("base_stock", one.up_to - 1)
    assert one.cases == -(-one.up_to // 24)
    assert [reason.code for reason in one.reasons][:2] == ["demand", "critical_ratio"]


def test_what_is_held_and_on_order_counts(shop: Shop, owner: Person) -> None:
    before = suggested(shop, shop.cola)
    shop.receives(shop.came(shop.cola, 48))
    order = shop.ordered(cola=2)
    after = suggested(shop, shop.cola)
    assert (after.on_hand, after.on_order, after.position) == (48, 48, 96)
    assert after.up_to == before.up_to
    assert after.cases == max(-(-(after.up_to - 96) // 24), 0)
    orders.cancel(order=order, reason="closed", actor=owner, now=shop.world.now)
    shop.receives(shop.came(shop.cola, 200))
    enough = suggested(shop, shop.cola)
    assert enough.cases == 0
    assert enough.reasons[-1].code == "enough"


def test_with_a_cost_a_line_small_amounts_wait(shop: Shop, owner: Person) -> None:
    suppliers.save_supplier(
        supplier=shop.supplier,
        changes={"line_cost": Decimal("2.00")},
        actor=owner,
        now=shop.world.now,
    )
    one = suggested(shop, shop.tea)
    assert one.rule == "s_S"
    assert one.reorder_at < one.up_to - 1
    shop.receives(shop.came(shop.tea, one.reorder_at + 1))
    assert suggested(shop, shop.tea).cases == 0
    cola = suggested(shop, shop.cola)
    # Searched in whole cases, since so many sell.
    assert (cola.reorder_at + 1) % 24 == 0
    assert cola.up_to % 24 == 0


def test_no_more_than_sells_while_it_keeps(shop: Shop) -> None:
    shop.tea.shelf_life_days = 5
    shop.tea.save()
    one = suggested(shop, shop.tea)
    assert one.up_to == int(one.mean / 9 * 5)
    assert "shelf_life" in [reason.code for reason in one.reasons]


def test_what_nobody_sells_or_others_are_preferred_for_is_not_suggested(
    shop: Shop, owner: Person
) -> None:
    lemon = shop.world.product("Lemon", shop.cola.package)
    shop.sells(lemon, units_per_case=12, case_cost=Decimal("5.00"))
    one = suggested(shop, lemon)
    assert (one.cases, one.reasons[0].code) == (0, "no_demand")
    other = suppliers.save_supplier(
        changes={"name": "Harbour Cash and Carry"}, actor=owner, now=shop.world.now
    )
    suppliers.save_item(
        supplier=other,
        product=shop.tea,
        changes={"units_per_case": 12, "case_cost": Decimal("8.00"), "preferred": True},
        actor=owner,
        now=shop.world.now,
    )
    names = [
        one.product_name
        for one in buying.suggest(supplier=shop.supplier, place=shop.warehouse, now=shop.world.now)
    ]
    assert names == ["Cola", "Lemon"]


def test_a_draft_keeps_the_figures_it_stands_on(shop: Shop, owner: Person) -> None:
    order = buying.draft_suggested(
        supplier=shop.supplier, place=shop.warehouse, actor=owner, now=shop.world.now
    )
    line = order.lines.get(product=shop.cola)
    assert line.suggestion is not None
    assert line.suggestion["cases"] == line.cases
    assert {"mean", "spread", "reorder_at", "up_to", "on_hand", "on_order", "reasons"} <= set(
        line.suggestion
    )
    orders.place(order=order, actor=owner, now=shop.world.now)
    with pytest.raises(Unacceptable, match="nothing is to be ordered"):
        buying.draft_suggested(
            supplier=shop.supplier, place=shop.warehouse, actor=owner, now=shop.world.now
        )


def test_another_warehouse_s_machines_are_not_counted(shop: Shop) -> None:
    world = shop.world
    there = {"latitude": Decimal("40.7"), "longitude": Decimal("-74.0")}
    site = world.site("Harbour yard", purpose="warehouse", **there)
    shop.warehouse.site.latitude = Decimal("42.0")
    shop.warehouse.site.longitude = Decimal("-75.0")
    shop.warehouse.site.save()
    landing = Machine.objects.get().placements.get().site
    landing.latitude, landing.longitude = there["latitude"], there["longitude"]
    landing.save()
    assert site.pk
    one = suggested(shop, shop.cola)
    assert (one.columns, one.cases) == (0, 0)


def test_only_a_warehouse_is_bought_for(shop: Shop) -> None:
    with pytest.raises(Unacceptable, match="no warehouse"):
        buying.suggest(
            supplier=shop.supplier,
            place=shop.supplier.stock_place,
            now=shop.world.now + timedelta(0),
        )
