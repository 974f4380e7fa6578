"""A changeover through the API, from the plan to the new set-up, and what it refuses."""

from collections.abc import Callable
from typing import Any

import pytest

from fleet.machines.models import Changeover, Machine, Product, SetUp
from people.models import AuditEntry
from tests.world import World

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]


@pytest.fixture
def bottle_in_1(lobby: Machine, world: World, as_owner: Any) -> dict[str, Any]:
    """Tea is planned for column 1, where cans are."""
    answer = as_owner.post(
        "/changeover-plans",
        {
            "purpose": "Tea sells better here",
            "planned_for": "2026-03-03",
            "lines": [
                {
                    "column": world.column(lobby, "1").pk,
                    "product": Product.objects.get(name="Tea").pk,
                }
            ],
        },
    )
    assert answer.status_code == 201, answer.content
    assert answer["Location"].endswith(f"/changeover-plans/{answer.json()['id']}")
    return answer.json()["changeovers"][0]


def done(planned: dict[str, Any], **changes: Any) -> dict[str, Any]:
    settings = ("deep", "front_setting", "rear_setting", "program", "price", "orientation")
    return {
        "as_left": {name: planned[name] for name in settings},
        "removed": [
            {"product": Product.objects.get(name="Cola").pk, "condition": "good", "count": 9}
        ],
        "test_vends_made": planned["test_vends_asked"],
        "test_vends_passed": planned["test_vends_asked"],
        "picture_matches": True,
    } | changes


def words_of(notch: int) -> str:
    marks = ["", "first", "second", "third", "fourth", "fifth", "sixth"][notch // 3]
    more = ["", ", then one more", ", then two more"][notch % 3]
    return f"the {marks} mark{more}"


def test_planned_taken_and_completed(bottle_in_1: dict[str, Any], as_driver: Any) -> None:
    address = f"/changeovers/{bottle_in_1['id']}"
    assert bottle_in_1["deep"] == 1
    assert bottle_in_1["price"] == "1.75"
    assert bottle_in_1["currency"] == "USD"

    taken = as_driver.post(f"{address}/take", key="k-1")
    assert taken.status_code == 200, taken.content
    assert taken.json()["state"] == "in_hand"

    ended = as_driver.post(f"{address}/complete", done(bottle_in_1), key="k-2")
    assert ended.status_code == 200, ended.content
    assert ended.json()["state"] == "done"
    assert ended.json()["removed"][0]["count"] == 9

    column = as_driver.get(f"/columns/{bottle_in_1['column']}").json()
    # Marks at every third notch: the words are the count's own quotient and remainder.
    assert column["front_said"] == words_of(bottle_in_1["front_setting"])
    assert column["rear_said"] is None
    now = column["set_up"]
    assert now["product_name"] == "Tea"
    assert now["id"] == ended.json()["to_set_up"]
    history = as_driver.get("/set-ups", {"column": bottle_in_1["column"]}).json()["items"]
    assert [one["product_name"] for one in history] == ["Tea", "Cola"]
    assert history[1]["ends_at"] == history[0]["starts_at"]


def test_a_lost_answer_is_given_again_and_nothing_happens_twice(
    bottle_in_1: dict[str, Any], as_driver: Any, as_owner: Any, refused: Refused
) -> None:
    address = f"/changeovers/{bottle_in_1['id']}/take"
    first = as_driver.post(address, key="only-once")
    again = as_driver.post(address, key="only-once")

    assert again.content == first.content
    assert again["ETag"] == first["ETag"]
    assert again["Idempotency-Replayed"] == "true"
    assert "Idempotency-Replayed" not in first
    assert AuditEntry.objects.filter(verb="take changeover").count() == 1
    # Another key, or the same one of another person, is another request.
    refused(as_driver.post(address, key="another"), 409, "not_planned")
    refused(as_owner.post(address, key="only-once"), 409, "not_planned")


def test_left_otherwise_than_planned_asks_why(
    bottle_in_1: dict[str, Any], as_driver: Any, refused: Refused
) -> None:
    address = f"/changeovers/{bottle_in_1['id']}"
    as_driver.post(f"{address}/take", key="k-1")
    body = done(bottle_in_1)
    body["as_left"]["front_setting"] += 1
    body["as_left"]["price"] = "9.5"

    said = refused(
        as_driver.post(f"{address}/complete", body, key="k-2"), 422, "mismatch_needs_reason"
    )
    assert said["errors"][0]["pointer"] == "/mismatch_reason"
    # Amounts are told with the decimal places of the currency.
    assert said["errors"][0]["detail"].endswith(f"price: {bottle_in_1['price']} planned, 9.50 left")
    assert Changeover.objects.get().state == "in_hand"
    assert SetUp.objects.filter(product__name="Tea").count() == 1  # the one in column 2

    # What was refused is not remembered under the key.
    body["mismatch_reason"] = "the notch is bent"
    ended = as_driver.post(f"{address}/complete", body, key="k-2")
    assert ended.status_code == 200, ended.content
    assert ended.json()["mismatches"][0]["what"] == "front_setting"
    assert ended.json()["mismatches"][1]["as_left"] == "9.50"
    # Done is done: nobody is told to take it in hand again.
    late = refused(as_driver.post(f"{address}/complete", body, key="k-3"), 409, "not_in_hand")
    assert late["detail"].endswith("it is done")


def test_completion_needs_a_key_and_the_hand(
    bottle_in_1: dict[str, Any], as_driver: Any, refused: Refused
) -> None:
    address = f"/changeovers/{bottle_in_1['id']}/complete"
    said = refused(as_driver.post(address, done(bottle_in_1)), 400, "key_required")
    assert said["errors"][0]["header"] == "Idempotency-Key"
    refused(as_driver.post(address, done(bottle_in_1), key="k"), 409, "not_in_hand")


def test_abandoned_with_a_reason(
    bottle_in_1: dict[str, Any], as_driver: Any, refused: Refused
) -> None:
    address = f"/changeovers/{bottle_in_1['id']}/abandon"
    said = refused(as_driver.post(address, {}, key="a"), 422)
    assert said["errors"][0]["pointer"] == "/reason"
    gone = as_driver.post(address, {"reason": "the bottles did not come"}, key="a")
    assert gone.json()["state"] == "abandoned"
    assert as_driver.get("/changeovers", {"state": "planned"}).json()["items"] == []


def test_the_sheet_has_all_that_the_page_says(bottle_in_1: dict[str, Any], as_driver: Any) -> None:
    sheet = as_driver.get(f"/changeovers/{bottle_in_1['id']}/sheet").json()
    assert sheet["before"]["product"] == "Cola"
    assert sheet["after"]["product"] == "Tea"
    assert sheet["fit"]["verdict"] in {"fits", "fits_with_caution"}
    assert {step["code"] for step in sheet["steps"]} >= {"fill", "test"}
    assert sheet["cautions"][-1]["code"] == "manual_first"
    assert sheet["blanks"]


def test_a_line_that_cannot_be_planned_names_its_place(
    lobby: Machine, world: World, as_owner: Any, refused: Refused
) -> None:
    wide = world.product("Drum", world.can("drum", diameter_mm=120))
    lines = [
        {"column": world.column(lobby, "1").pk, "product": Product.objects.get(name="Tea").pk},
        {"column": world.column(lobby, "2").pk, "product": wide.pk},
    ]
    body = {"purpose": "x", "planned_for": "2026-03-03", "lines": lines}
    said = refused(as_owner.post("/changeover-plans", body), 422, "does_not_fit")
    assert said["errors"][0]["pointer"] == "/lines/1/product"
    assert not Changeover.objects.exists()


def test_replaced_everywhere_it_stands(lobby: Machine, as_owner: Any) -> None:
    body = {
        "old": Product.objects.get(name="Cola").pk,
        "new": Product.objects.get(name="Tea").pk,
        "purpose": "Cola goes",
        "planned_for": "2026-03-09",
    }
    answer = as_owner.post("/changeover-plans/replacements", body)
    assert answer.status_code == 201, answer.content
    assert [one["position"] for one in answer.json()["plan"]["changeovers"]] == ["1"]

    again = as_owner.post("/changeover-plans/replacements", body).json()
    assert again["plan"] is None
    assert "another changeover" in again["left_out"][0]["why"]


def test_a_driver_plans_nothing(lobby: Machine, as_driver: Any, refused: Refused) -> None:
    refused(as_driver.post("/changeover-plans", {}), 403, "not_allowed")
