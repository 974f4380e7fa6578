"""The desk's stock pages as forms: what a count sheet, a move and a delivery take and refuse."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from fleet.inventory.actions import places
from fleet.inventory.models import Movement, PurchaseOrder, Receipt, StockCount, StockLevel
from people.models import Business, Person
from tests.fleet.inventory.shop import Shop
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Any], Client]


@pytest.fixture
def shop(world: World) -> Shop:
    """48 cans best before in 90 days and 24 in 10, received yesterday."""
    world.now = timezone.now() - timedelta(days=1)
    shop = Shop(world)
    shop.receives(shop.came(shop.cola, 48))
    shop.receives(shop.came(shop.cola, 24, code="K7", best_before=shop.day(10)))
    return shop


def level(shop: Shop, code: str) -> int:
    return StockLevel.objects.get(place=shop.warehouse, lot__code=code).pk


def now_at_the_business() -> str:
    local = timezone.localtime(timezone.now(), Business.the().time_zone)
    return f"{local:%Y-%m-%dT%H:%M}"


def test_a_lot_left_out_beside_one_that_is_counted_is_asked_for(
    shop: Shop, driver: Person, desk: Desk
) -> None:
    address = f"/stock/places/{shop.warehouse.pk}/count/"
    sent = {
        f"level-{level(shop, 'K7')}-quantity": "20",
        "counted_at": now_at_the_business(),
        "new-count": "1",
    }
    page = desk(driver).post(address, sent)
    assert page.status_code == 422
    assert "Count this lot too" in page.content.decode()
    assert not StockCount.objects.exists()
    sent[f"level-{level(shop, '')}-quantity"] = "48"
    sent |= {"new-0-product": "", "note": "by two"}
    page = desk(driver).post(address, sent, follow=True)
    assert "1 of 2 lines differ" in page.content.decode()
    assert shop.held(shop.cola) == 68


def test_a_move_names_the_lots_it_takes(shop: Shop, driver: Person, desk: Desk) -> None:
    van = places.truck("Van 1")
    sent = {
        "to_place": van.pk,
        "happened_at": now_at_the_business(),
        f"level-{level(shop, '')}-quantity": "12",
    }
    page = desk(driver).post(f"/stock/places/{shop.warehouse.pk}/move/", sent)
    assert page.status_code == 302, page.content.decode()
    movement = Movement.objects.get(reason="transfer")
    assert [(line.lot.code, line.quantity) for line in movement.lines.all()] == [("", 12)]  # type: ignore[union-attr]
    nothing = desk(driver).post(
        f"/stock/places/{shop.warehouse.pk}/move/",
        {"to_place": van.pk, "happened_at": now_at_the_business()},
    )
    assert nothing.status_code == 422
    assert "write at least one figure" in nothing.content.decode()


def test_a_driver_counts_and_does_not_buy(
    shop: Shop, driver: Person, accountant: Person, desk: Desk
) -> None:
    order = shop.ordered(cola=1)
    assert desk(driver).get(f"/stock/orders/{order.pk}/").status_code == 200
    assert desk(driver).get(f"/stock/orders/{order.pk}/receive/").status_code == 403
    assert desk(driver).get("/stock/waste/").status_code == 403
    assert desk(accountant).get("/stock/waste/").status_code == 200
    assert desk(accountant).get(f"/stock/places/{shop.warehouse.pk}/count/").status_code == 403


def test_a_second_lot_of_a_product_is_asked_for_and_received(
    shop: Shop, owner: Person, desk: Desk
) -> None:
    order = shop.ordered(cola=1)
    address, pk = f"/stock/orders/{order.pk}/receive/", shop.cola.pk
    sent = {
        "received_at": now_at_the_business(),
        f"lots-{pk}": "1",
        f"came-{pk}-0-units": "12",
        f"came-{pk}-0-best_before": str(shop.day(60)),
        "add": str(pk),
    }
    page = desk(owner).post(address, sent).content.decode()
    assert f'name="came-{pk}-1-units"' in page
    assert 'value="12"' in page
    assert not Receipt.objects.filter(order=order).exists()
    del sent["add"]
    sent |= {
        f"lots-{pk}": "2",
        f"came-{pk}-1-units": "10",
        f"came-{pk}-1-best_before": str(shop.day(80)),
        f"came-{pk}-1-refused_units": "2",
        "closes": "on",
    }
    assert desk(owner).post(address, sent).status_code == 302
    receipt = Receipt.objects.get(order=order)
    assert sorted(line.units for line in receipt.lines.all()) == [10, 12]
    order.refresh_from_db()
    assert (order.state, order.ended_reason) == ("received", "closed with less than ordered")


def test_a_draft_is_written_by_hand_and_changed(shop: Shop, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    empty = client.get("/stock/orders/suggest/").content.decode()
    assert "is required" not in empty, "nothing was asked yet"
    address = f"/stock/orders/suggest/?supplier={shop.supplier.pk}"
    assert "No column of the machines" in client.get(address).content.decode()
    made = client.post(address, {f"item-{shop.tea.pk}-cases": "3", "note": ""})
    order = PurchaseOrder.objects.get()
    assert made["Location"] == f"/stock/orders/{order.pk}/"
    change = f"/stock/orders/{order.pk}/change/"
    client.post(change, {f"item-{shop.cola.pk}-cases": "2", "note": "by the gate"})
    order.refresh_from_db()
    assert [(line.product, line.cases) for line in order.lines.all()] == [(shop.cola, 2)]
    assert order.note == "by the gate"


def test_lists_go_out_as_files(shop: Shop, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    for address, name in (
        ("/stock/export/levels/", "stock-levels.csv"),
        ("/stock/export/lots/", "lots-by-best-before.csv"),
        ("/stock/export/movements/?reason=receipt", "movements.csv"),
        ("/stock/waste/export/", "waste.csv"),
        ("/stock/orders/export/", "orders.csv"),
    ):
        answer = client.get(address)
        assert answer.status_code == 200, address
        assert answer["Content-Disposition"] == f'attachment; filename="{name}"'
    assert client.get("/stock/export/levels/?as=xlsx").content[:2] == b"PK"
    assert client.get("/stock/export/levels/?as=pdf").status_code == 422
    assert client.get("/stock/export/waste/").status_code == 404


def test_older_movements_follow_the_latest(shop: Shop, owner: Person, desk: Desk) -> None:
    for _ in range(26):
        shop.receives(shop.came(shop.cola, 1), shop.came(shop.tea, 1))
    for number in range(26):
        shop.receives(shop.came(shop.cola, 1, code=f"L{number}"))
    page = desk(owner).get("/stock/movements/").content.decode()
    assert "Older ones" in page
    older = page.partition('href="?older=')[2].partition('"')[0]
    rest = desk(owner).get(f"/stock/movements/?older={older}").content.decode()
    assert "The latest" in rest
    assert rest.count("<tbody>") == 1
    assert rest.count('<th scope="row"') == 4
    assert desk(owner).get("/stock/movements/?older=nonsense~9").status_code == 200
