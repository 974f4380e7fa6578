"""Suppliers and orders: what is asked of whom, and what stands in the way."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.inventory.actions import orders, suppliers
from fleet.inventory.models import PurchaseOrder, StockPlace, SupplierItem
from fleet.inventory.queries.orders import on_order, owed
from people import audit
from people.errors import Unacceptable
from people.models import Person
from tests.fleet.inventory.shop import Shop
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(world: World) -> Shop:
    return Shop(world)


def test_a_supplier_comes_with_the_place_that_deliveries_leave(shop: Shop, owner: Person) -> None:
    place = StockPlace.objects.get(supplier=shop.supplier)
    assert (place.kind, place.name) == ("supplier", "Northway Beverages")
    suppliers.save_supplier(
        supplier=shop.supplier,
        changes={"name": "Northway Drinks"},
        actor=owner,
        now=shop.world.now,
    )
    place.refresh_from_db()
    assert place.name == "Northway Drinks"
    assert audit.entries_of(shop.supplier)[0].verb == "change supplier"


def test_one_supplier_is_preferred_for_a_product(shop: Shop, owner: Person) -> None:
    other = suppliers.save_supplier(
        changes={"name": "Harbour Cash and Carry"}, actor=owner, now=shop.world.now
    )
    suppliers.save_item(
        supplier=other,
        product=shop.cola,
        changes={"units_per_case": 12, "case_cost": Decimal("7.00"), "preferred": True},
        actor=owner,
        now=shop.world.now,
    )
    preferred = SupplierItem.objects.get(product=shop.cola, preferred=True)
    assert preferred.supplier == other
    with pytest.raises(Unacceptable, match="decimal places"):
        suppliers.save_item(
            supplier=other,
            product=shop.cola,
            changes={"case_cost": Decimal("7.001")},
            actor=owner,
            now=shop.world.now,
        )


def test_an_order_keeps_the_case_and_cost_of_its_day(shop: Shop) -> None:
    order = shop.ordered(cola=3, tea=1)
    shop.sells(shop.cola, units_per_case=20, case_cost=Decimal("15.00"))
    line = order.lines.get(product=shop.cola)
    assert (line.cases, line.units, line.cost) == (3, 72, Decimal("36.00"))
    assert order.state == PurchaseOrder.State.PLACED
    # The slowest of its products decides: tea takes four days.
    assert order.expected_on == shop.day(4)
    assert owed([order])[order.pk] == {shop.cola.pk: 72, shop.tea.pk: 12}
    assert on_order(shop.warehouse) == {shop.cola.pk: 72, shop.tea.pk: 12}
    assert on_order(shop.warehouse, until=shop.day(3)) == {}


def test_a_draft_is_changed_and_a_placed_order_is_not(shop: Shop, owner: Person) -> None:
    order = orders.draft(
        supplier=shop.supplier,
        place=shop.warehouse,
        lines=[orders.Wanted(shop.cola, 2, {"rule": "(s, S)", "cases": 2})],
        actor=owner,
        now=shop.world.now,
    )
    assert order.lines.get().suggestion == {"rule": "(s, S)", "cases": 2}
    orders.rewrite(
        order=order,
        lines=[orders.Wanted(shop.tea, 5)],
        changes={"note": "by the back gate"},
        actor=owner,
        now=shop.world.now,
    )
    assert [(line.product, line.cases) for line in order.lines.all()] == [(shop.tea, 5)]
    entry = audit.entries_of(order)[0]
    assert entry.verb == "write order lines"
    assert entry.before == {"lines": ["2 x 24 Cola at 12.0000 a case"]}
    orders.place(order=order, actor=owner, now=shop.world.now)
    for refused in (
        lambda: orders.rewrite(order=order, lines=[], actor=owner, now=shop.world.now),
        lambda: orders.place(order=order, actor=owner, now=shop.world.now),
    ):
        with pytest.raises(orders.UnableToOrder, match="it is placed"):
            refused()


def test_what_the_supplier_does_not_sell_so_is_refused_by_its_line(
    shop: Shop, owner: Person
) -> None:
    shop.sells(shop.tea, minimum_cases=4)
    lemon = shop.world.product("Lemon", shop.cola.package)

    def draft(*lines: orders.Wanted) -> PurchaseOrder:
        return orders.draft(
            supplier=shop.supplier,
            place=shop.warehouse,
            lines=lines,
            actor=owner,
            now=shop.world.now,
        )

    with pytest.raises(Unacceptable) as refused:
        draft(
            orders.Wanted(lemon, 1),
            orders.Wanted(shop.tea, 3),
            orders.Wanted(shop.cola, 1),
            orders.Wanted(shop.cola, 1),
        )
    assert refused.value.fields == {
        "lines.0.product": "Northway Beverages does not sell Lemon; write it into what they sell "
        "first",
        "lines.1.cases": "Tea: 3; Northway Beverages takes 4 or more",
        "lines.3.product": "Cola stands in the order twice",
    }
    assert not PurchaseOrder.objects.exists()
    empty = draft()
    with pytest.raises(orders.UnableToOrder, match="asks for nothing"):
        orders.place(order=empty, actor=owner, now=shop.world.now)


def test_only_a_warehouse_is_delivered_to_and_only_a_day_to_come_is_expected(
    shop: Shop, owner: Person
) -> None:
    with pytest.raises(Unacceptable, match="no warehouse in use"):
        orders.draft(
            supplier=shop.supplier,
            place=shop.supplier.stock_place,
            lines=[orders.Wanted(shop.cola, 1)],
            actor=owner,
            now=shop.world.now,
        )
    order = orders.draft(
        supplier=shop.supplier,
        place=shop.warehouse,
        lines=[orders.Wanted(shop.cola, 1)],
        actor=owner,
        now=shop.world.now,
    )
    with pytest.raises(Unacceptable, match="has passed"):
        orders.place(
            order=order,
            expected_on=(shop.world.now - timedelta(days=1)).date(),
            actor=owner,
            now=shop.world.now,
        )


def test_an_order_is_cancelled_with_a_reason(shop: Shop, owner: Person) -> None:
    order = shop.ordered(cola=1)
    with pytest.raises(Unacceptable, match="say why"):
        orders.cancel(order=order, reason=" ", actor=owner, now=shop.world.now)
    orders.cancel(order=order, reason="they are closed", actor=owner, now=shop.world.now)
    assert on_order(shop.warehouse) == {}
    order.refresh_from_db()
    assert (order.state, order.ended_reason) == ("cancelled", "they are closed")
    with pytest.raises(orders.UnableToOrder, match="cancelled already"):
        orders.cancel(order=order, reason="again", actor=owner, now=shop.world.now)
