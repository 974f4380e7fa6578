"""Buying through the API: suppliers, what they sell, orders, receipts, costs."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.callers import Caller
from tests.fleet.inventory.shop import Shop
from tests.world import World

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]


@pytest.fixture
def shop(world: World) -> Shop:
    return Shop(world)


def drafted(shop: Shop, caller: Caller, **changes: Any) -> Any:
    body = {
        "supplier": shop.supplier.pk,
        "place": shop.warehouse.pk,
        "lines": [{"product": shop.cola.pk, "cases": 2}],
    }
    made = caller.post("/orders", body | changes, key="draft")
    assert made.status_code == 201, made.content
    return made


def test_a_supplier_and_what_it_sells(
    shop: Shop, as_owner: Caller, as_driver: Caller, refused: Refused
) -> None:
    made = as_owner.post("/suppliers", {"name": "Harbour Cash and Carry"})
    assert made.status_code == 201, made.content
    address = f"/suppliers/{made.json()['id']}"
    changed = as_owner.patch(address, {"review_days": 14}, tag=made["ETag"])
    assert changed.json()["review_days"] == 14
    item = {"product": shop.cola.pk, "units_per_case": 12, "case_cost": "7.20"}
    sold = as_owner.post(f"{address}/items", item)
    assert (sold.status_code, sold.json()["case_cost"]) == (200, "7.20")
    refused(as_driver.post(f"{address}/items", item), 403)
    refused(as_owner.post(f"{address}/items", item | {"units_per_case": 0}), 422)
    there = as_owner.get("/supplier-items", {"product": shop.cola.pk}).json()["items"]
    assert [one["supplier_name"] for one in there] == [
        "Harbour Cash and Carry",
        "Northway Beverages",
    ]
    one = as_owner.get(f"/supplier-items/{sold.json()['id']}")
    gone = as_owner.delete(f"/supplier-items/{sold.json()['id']}", tag=one["ETag"])
    assert gone.status_code == 204


def test_an_order_from_draft_to_receipt(
    shop: Shop, as_owner: Caller, as_driver: Caller, refused: Refused
) -> None:
    made = drafted(shop, as_owner)
    address = f"/orders/{made.json()['id']}"
    lines = [{"product": shop.cola.pk, "cases": 3}, {"product": shop.tea.pk, "cases": 1}]
    changed = as_owner.patch(address, {"lines": lines, "note": "gate"}, tag=made["ETag"])
    assert [one["units"] for one in changed.json()["lines"]] == [72, 12]
    refused(as_driver.post(f"{address}/place", {}, key="p0"), 403)
    placed = as_owner.post(f"{address}/place", {}, key="p1")
    assert (placed.json()["state"], placed.json()["expected_on"]) == (
        "placed",
        placed.json()["expected_on"],
    )
    refused(
        as_owner.patch(address, {"lines": []}, tag=placed["ETag"]),
        409,
        "order_state",
    )
    body = {
        "order": made.json()["id"],
        "place": shop.warehouse.pk,
        "received_at": placed.json()["placed_at"],
        "delivery_note": "N-1",
        "lines": [
            {"product": shop.cola.pk, "units": 70, "best_before": "2026-12-01"},
        ],
    }
    came = as_owner.post("/receipts", body, key="r1")
    assert came.status_code == 201, came.content
    assert [one["code"] for one in came.json()["lines"][0]["differences"]] == ["short"]
    owed = as_owner.get(address).json()["lines"]
    assert [one["owed_units"] for one in owed] == [2, 12]
    history = as_owner.get("/costs", {"product": shop.cola.pk}).json()["items"]
    assert history[0]["cause"] == "receipt"
    back = as_owner.post(
        f"/receipts/{came.json()['id']}/take-back", {"reason": "wrong supplier"}, key="b1"
    )
    assert back.json()["taken_back_reason"] == "wrong supplier"
    files = as_owner.get("/receipts/export").content.decode().splitlines()
    assert "70 of 72 came" in files[1]
    assert len(as_owner.get("/orders/export").content.splitlines()) == 3
    gone = as_owner.post(f"{address}/cancel", {"reason": "closed"}, key="x1")
    assert gone.json()["state"] == "cancelled"


def test_suggestions_come_with_their_figures(
    shop: Shop, as_owner: Caller, refused: Refused
) -> None:
    asked = {"supplier": shop.supplier.pk, "place": shop.warehouse.pk}
    found = as_owner.get("/orders/suggestions", asked).json()
    assert [(one["product_name"], one["rule"], one["cases"]) for one in found] == [
        ("Cola", "none", 0),
        ("Tea", "none", 0),
    ]
    assert found[0]["reasons"][0]["code"] == "no_demand"
    refused(as_owner.post("/orders/suggested", asked, key="s1"), 422, "nothing_to_order")


def test_what_is_wrong_is_told_by_its_place(shop: Shop, as_owner: Caller, refused: Refused) -> None:
    lemon = shop.world.product("Lemon", shop.cola.package, cost=None)
    body = {
        "supplier": shop.supplier.pk,
        "place": shop.warehouse.pk,
        "lines": [{"product": shop.cola.pk, "cases": 2}, {"product": lemon.pk, "cases": 2}],
    }
    said = refused(as_owner.post("/orders", body, key="w1"), 422)
    assert said["errors"][0]["pointer"] == "/lines/1/product"
    receipt = {
        "supplier": shop.supplier.pk,
        "place": shop.warehouse.pk,
        "received_at": shop.world.now.isoformat(),
        "lines": [{"product": lemon.pk, "units": 6}],
    }
    said = refused(as_owner.post("/receipts", receipt, key="w2"), 422)
    assert said["errors"][0]["pointer"] == "/lines/0/unit_cost"
