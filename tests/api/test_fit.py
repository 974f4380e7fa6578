"""What fits where: the bare question, a column and a product, and the two lists."""

from collections.abc import Callable
from typing import Any

import pytest

from fleet.machines.models import Machine, Product
from tests.world import World

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]

QUESTION: dict[str, Any] = {
    "position": {
        "label": "1",
        "width_mm": 84,
        "height_mm": 900,
        "greatest_deep": 2,
        "front": {"depth_mm": 252, "rail": {"zero_mm": 92, "pitch_mm": 8, "notches": 21}},
    },
    "package": {"kind": "can", "length_mm": 122.2, "diameter_mm": 66.1},
}


def test_the_bare_question(as_driver: Any) -> None:
    answer = as_driver.post("/fit", QUESTION)
    assert answer.status_code == 200, answer.content
    # 2 x 122.2 = 244.4 of 252 mm: two deep, since 7.6 mm of play is more than a quarter inch.
    assert answer.json()["deep"] == 2
    assert answer.json()["verdict"] in {"fits", "fits_with_caution"}


def test_a_bad_question_names_every_fault(as_driver: Any, refused: Refused) -> None:
    bad = {**QUESTION, "package": {"kind": "can", "lenght_mm": 122}}
    said = refused(as_driver.post("/fit", bad), 422)
    assert [one["pointer"] for one in said["errors"]] == ["/package/lenght_mm"]


def test_a_product_in_a_column_and_a_package_in_a_position(
    lobby: Machine, world: World, as_driver: Any, refused: Refused
) -> None:
    column, tea = world.column(lobby, "1"), Product.objects.get(name="Tea")
    whole = as_driver.get(f"/columns/{column.pk}/fit", {"product": tea.pk})
    assert whole.status_code == 200, whole.content
    assert whole.json()["deep"] == 1
    assert whole.json()["front"]["said"]
    same = as_driver.get(f"/positions/{column.position_id}/fit", {"package": tea.package_id})
    assert same.json() == whole.json()
    refused(as_driver.get(f"/columns/{column.pk}/fit"), 400, "bad_parameter")
    refused(as_driver.get(f"/columns/{column.pk}/fit", {"product": 987654321}), 400)
    refused(as_driver.get("/columns/987654321/fit", {"product": tea.pk}), 404)


def test_the_lists_agree_with_the_whole_answers(
    lobby: Machine, world: World, as_driver: Any
) -> None:
    world.product("Drum", world.can("drum", diameter_mm=120))
    column = world.column(lobby, "1")
    products = as_driver.get(f"/columns/{column.pk}/what-fits").json()
    assert {one["product_name"]: one["verdict"] for one in products}["Drum"] == "does_not_fit"
    assert products[-1]["product_name"] == "Drum"
    assert products[-1]["because"]
    for one in products:
        whole = as_driver.get(f"/columns/{column.pk}/fit", {"product": one["product"]}).json()
        assert (one["verdict"], one["deep"]) == (whole["verdict"], whole["deep"])

    tea = Product.objects.get(name="Tea")
    columns = as_driver.get(f"/products/{tea.pk}/where-fits", {"search": "LOB"}).json()
    assert len(columns) == 4
    assert {one["holds_now"] for one in columns} == {"Cola", "Tea", None}
    fewer = as_driver.get(f"/products/{tea.pk}/where-fits", {"limit": 2}).json()
    assert fewer == columns[:2]
