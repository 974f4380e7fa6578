"""Stock through the API: places, levels, lots by date, movements, counts, and their files."""

import csv
import io
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import openpyxl
import pytest

from fleet.inventory.actions import places
from fleet.inventory.models import StockPlace
from people.models import Person
from tests.callers import Caller
from tests.fleet.inventory.shop import Shop
from tests.world import World

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]


@pytest.fixture
def shop(world: World) -> Shop:
    """48 cans best before in 90 days, 24 in 10, and a truck."""
    shop = Shop(world)
    shop.receives(shop.came(shop.cola, 48))
    shop.receives(shop.came(shop.cola, 24, code="K7", best_before=shop.day(10)))
    places.truck("Van 1")
    return shop


def moved(shop: Shop, **changes: Any) -> dict[str, Any]:
    return {
        "from_place": shop.warehouse.pk,
        "to_place": StockPlace.objects.get(name="Van 1").pk,
        "items": [{"product": shop.cola.pk, "quantity": 30}],
        "happened_at": shop.later(1).isoformat(),
    } | changes


def test_what_is_held_where_with_lots_by_date(shop: Shop, as_driver: Caller) -> None:
    place = as_driver.get(f"/stock-places/{shop.warehouse.pk}").json()
    assert (place["kind"], place["units"], place["products"]) == ("warehouse", 72, 1)
    assert place["first_best_before"] == shop.day(10).isoformat()
    held = as_driver.get(f"/stock-places/{shop.warehouse.pk}/levels").json()
    assert [(one["lot"]["code"], one["quantity"]) for one in held] == [("K7", 24), ("", 48)]
    near = as_driver.get("/dated-stock", {"until": shop.day(30).isoformat()}).json()["items"]
    assert [one["lot"]["code"] for one in near] == ["K7"]
    levels = as_driver.get("/stock-levels", {"kind": "warehouse", "product": shop.cola.pk})
    assert sum(one["quantity"] for one in levels.json()["items"]) == 72


def test_a_transfer_takes_the_first_expired_and_is_taken_back(
    shop: Shop, as_driver: Caller, as_owner: Caller, refused: Refused
) -> None:
    made = as_driver.post("/stock-movements/transfers", moved(shop), key="t1")
    assert made.status_code == 201, made.content
    lines = made.json()["lines"]
    assert [(one["lot"]["code"], one["quantity"]) for one in lines] == [("K7", 24), ("", 6)]
    again = as_driver.post("/stock-movements/transfers", moved(shop), key="t1")
    assert again["Idempotency-Replayed"] == "true"
    assert as_driver.get(made["Location"].partition("/api/v1")[2]).json() == made.json()
    pk = made.json()["id"]
    refused(as_driver.post(f"/stock-movements/{pk}/correct", {"note": "x"}, key="t2"), 403)
    back = as_owner.post(f"/stock-movements/{pk}/correct", {"note": "wrong van"}, key="t3")
    assert back.status_code == 201, back.content
    assert back.json()["corrects"] == pk
    assert as_owner.get(f"/stock-movements/{pk}").json()["corrected_by"] == back.json()["id"]
    twice = as_owner.post(f"/stock-movements/{pk}/correct", {"note": "again"}, key="t4")
    refused(twice, 409, "already_corrected")
    touching = as_owner.get("/stock-movements", {"place": moved(shop)["to_place"]})
    assert [one["id"] for one in touching.json()["items"]] == [back.json()["id"], pk]


def test_more_than_is_there_is_refused(shop: Shop, as_driver: Caller, refused: Refused) -> None:
    body = moved(shop, items=[{"product": shop.cola.pk, "quantity": 73}])
    said = refused(as_driver.post("/stock-movements/transfers", body, key="m1"), 409, "not_enough")
    assert "72 Cola" in said["detail"]
    assert shop.held(shop.cola) == 72


def test_waste_has_a_reason_and_a_report(
    shop: Shop, as_driver: Caller, as_owner: Caller, refused: Refused
) -> None:
    body = {
        "place": shop.warehouse.pk,
        "items": [{"product": shop.cola.pk, "quantity": 5}],
        "waste_reason": "damaged",
        "happened_at": shop.later(1).isoformat(),
    }
    refused(as_driver.post("/stock-movements/waste", body | {"waste_reason": ""}, key="w0"), 422)
    made = as_driver.post("/stock-movements/waste", body, key="w1")
    assert made.status_code == 201, made.content
    period = {"since": shop.later(0).isoformat(), "until": shop.later(2).isoformat()}
    (row,) = as_owner.get("/waste", period).json()
    assert (row["reason"], row["units"], row["cost"]) == ("damaged", 5, "2.50")
    refused(as_driver.get("/waste", period), 403)
    as_owner.post(f"/stock-movements/{made.json()['id']}/correct", {"note": "not so"}, key="w2")
    assert as_owner.get("/waste", period).json() == []


def test_a_count_posts_its_difference(shop: Shop, as_driver: Caller, refused: Refused) -> None:
    body = {
        "place": shop.warehouse.pk,
        "counted_at": shop.later(1).isoformat(),
        "lines": [{"product": shop.cola.pk, "counted": 70}],
    }
    made = as_driver.post("/stock-counts", body, key="c1")
    assert made.status_code == 201, made.content
    (line,) = made.json()["lines"]
    assert (line["counted"], line["book"], line["difference"]) == (70, 72, -2)
    assert made.json()["movement"] is not None
    assert shop.held(shop.cola) == 70
    assert as_driver.get(f"/stock-counts/{made.json()['id']}").json() == made.json()
    twice = body | {"lines": [*body["lines"], *body["lines"]]}
    said = refused(as_driver.post("/stock-counts", twice, key="c2"), 422)
    assert said["errors"][0]["pointer"] == "/lines/1/product"


def test_warehouses_and_trucks_are_opened(
    shop: Shop, as_owner: Caller, as_driver: Caller, refused: Refused
) -> None:
    made = as_owner.post("/stock-places", {"kind": "truck", "name": "Van 2"})
    assert made.status_code == 201, made.content
    assert made.json()["units"] == 0
    refused(as_owner.post("/stock-places", {"kind": "truck"}), 422)
    refused(as_driver.post("/stock-places", {"kind": "truck", "name": "Van 3"}), 403)
    host = shop.world.site("Ferry landing")
    refused(as_owner.post("/stock-places", {"kind": "warehouse", "site": host.pk}), 422)


def test_lists_are_given_as_files(shop: Shop, as_driver: Caller, refused: Refused) -> None:
    answer = as_driver.get("/stock-levels/export", {"kind": "warehouse"})
    assert answer["Content-Type"].startswith("text/csv")
    assert 'filename="stock-levels.csv"' in answer["Content-Disposition"]
    lines = list(csv.reader(io.StringIO(answer.content.decode(), newline="")))
    assert lines[0][:3] == ["place kind", "place", "product"]
    assert {line[6] for line in lines[1:]} == {"24", "48"}
    xlsx = as_driver.get("/dated-stock/export", {"as": "xlsx"})
    assert openpyxl.load_workbook(io.BytesIO(xlsx.content)).active.max_row == 3
    wanted = {"Accept": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}
    assert as_driver.get("/stock-places/export", **wanted).content[:2] == b"PK"
    moves = as_driver.get("/stock-movements/export", {"reason": "receipt"}, Accept="text/csv")
    assert len(moves.content.splitlines()) == 3
    refused(as_driver.get("/stock-levels/export", {"as": "pdf"}), 400, "bad_parameter")
    refused(as_driver.get("/stock-levels/export", {"colour": "red"}), 400, "bad_parameter")


def test_moments_outside_of_reason_are_refused(
    shop: Shop, owner: Person, as_driver: Caller, refused: Refused
) -> None:
    far = (shop.world.now + timedelta(days=4000)).isoformat()
    refused(
        as_driver.post("/stock-movements/transfers", moved(shop, happened_at=far), key="f"), 422
    )
