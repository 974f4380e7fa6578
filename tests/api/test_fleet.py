"""Kinds, packages, products, sites and machines: written, read back, edited with their tags."""

from collections.abc import Callable
from typing import Any

import pytest

from fleet.machines.models import Kind, Machine, Product
from tests.world import World

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]

HALF = {
    "front_depth_mm": 252,
    "front_zero_mm": 92,
    "front_pitch_mm": 8,
    "front_notches": 21,
    "front_mark_every": 3,
    "front_runs": "outward",
}
KIND = {
    "name": "narrow stack",
    "vend_window_s": 15,
    "programs": [{"name": "one deep", "deep": 1, "cycle_s": 18, "run_on_s": 10}],
    "positions": [
        {"label": "1", "width_mm": 84, "height_mm": 900.5, **HALF},
        {"label": "2", "width_mm": 84, "height_mm": 900.5, **HALF},
    ],
}


def test_a_kind_with_its_parts(as_owner: Any) -> None:
    added = as_owner.post("/kinds", KIND)
    assert added.status_code == 201, added.content
    read = as_owner.get(f"/kinds/{added.json()['id']}")
    assert read.json() == added.json()
    assert read["ETag"] == added["ETag"]
    assert read.json()["positions"][1]["height_mm"] == 900.5
    assert [one["label"] for one in read.json()["positions"]] == ["1", "2"]


def test_a_measure_that_cannot_be_true_is_named_by_its_place(
    as_owner: Any, refused: Refused
) -> None:
    bad = {**KIND, "positions": [KIND["positions"][0], {"label": "2", "width_mm": -1}]}
    said = refused(as_owner.post("/kinds", bad), 422, "unacceptable")
    assert {one["pointer"] for one in said["errors"]} == {
        "/positions/1/width_mm",
        "/positions/1/height_mm",
    }
    far = {**KIND["positions"][0], "front_notches": 200}
    said = refused(as_owner.post("/kinds", {**KIND, "positions": [far]}), 422)
    assert said["errors"][0]["pointer"].startswith("/positions/0")
    assert not Kind.objects.exists()


def test_an_edit_starts_from_the_state_that_was_seen(as_owner: Any, refused: Refused) -> None:
    added = as_owner.post("/kinds", KIND)
    address = f"/kinds/{added.json()['id']}"
    refused(as_owner.patch(address, {"notes": "x"}), 428)

    changed = as_owner.patch(address, {"notes": "measured again"}, tag=added["ETag"])
    assert changed.status_code == 200, changed.content
    assert changed["ETag"] != added["ETag"]

    stale = as_owner.patch(address, {"notes": "y"}, tag=added["ETag"])
    refused(stale, 412, "changed_meanwhile")
    assert stale["ETag"] == changed["ETag"]
    weak = as_owner.patch(address, {"notes": "y"}, tag=f"W/{changed['ETag']}")
    refused(weak, 412)
    assert Kind.objects.get().notes == "measured again"


def test_nothing_new_is_told_in_no_bytes(as_owner: Any) -> None:
    added = as_owner.post("/kinds", KIND)
    address = f"/kinds/{added.json()['id']}"
    same = as_owner.get(address, **{"If-None-Match": f'"other", W/{added["ETag"]}'})
    assert (same.status_code, same.content) == (304, b"")
    assert as_owner.get(address, **{"If-None-Match": '"other"'}).status_code == 200


def test_a_kind_in_use_stays(lobby: Machine, as_owner: Any, refused: Refused) -> None:
    address = f"/kinds/{lobby.kind_id}"
    refused(as_owner.delete(address), 428)
    refused(as_owner.delete(address, tag=as_owner.get(address)["ETag"]), 409, "in_use")

    free = as_owner.post("/kinds", KIND)
    gone = as_owner.delete(f"/kinds/{free.json()['id']}", tag=free["ETag"])
    assert (gone.status_code, gone.content) == (204, b"")


def test_a_product_with_its_gtin_and_money(world: World, as_owner: Any, refused: Refused) -> None:
    can = world.can()
    # UPC-A 036000291452: check digit verified by arithmetic (weights 3, 1 from the right).
    body = {"name": "Ginger", "package": can.pk, "gtin": "036000291452", "price": "1.5"}
    added = as_owner.post("/products", body)
    assert added.status_code == 201, added.content
    assert added.json()["gtin"] == "00036000291452"
    assert (added.json()["price"], added.json()["currency"]) == ("1.50", "USD")

    wrong = refused(as_owner.post("/products", {**body, "gtin": "036000291453"}), 422)
    assert wrong["errors"][0]["pointer"] == "/gtin"
    assert "2" in wrong["errors"][0]["detail"]
    fine = refused(as_owner.post("/products", {**body, "gtin": None, "price": "1.505"}), 422)
    assert fine["errors"][0]["pointer"] == "/price"
    assert Product.objects.count() == 1


def test_a_member_that_is_unknown_is_refused(world: World, as_owner: Any, refused: Refused) -> None:
    said = refused(as_owner.post("/packages", {"name": "x", "shape": "can", "lenght_mm": 3}), 422)
    assert said["errors"][0]["pointer"] == "/lenght_mm"
    assert "length_mm" in said["errors"][0]["detail"]


def test_sizes_that_contradict_each_other(as_owner: Any, refused: Refused) -> None:
    body = {"name": "b", "shape": "necked_bottle", "length_mm": 200, "shoulder_mm": 210}
    said = refused(as_owner.post("/packages", body), 422)
    assert said["errors"]


def test_a_site_with_its_hours(as_owner: Any, refused: Refused) -> None:
    monday = {"weekday": 0, "opens": "08:00", "closes": "17:30"}
    body = {"name": "Quarry office", "time_zone": "America/Denver", "opening_windows": [monday]}
    added = as_owner.post("/sites", body)
    assert added.status_code == 201, added.content
    assert added.json()["opening_windows"][0]["opens"] == "08:00:00"
    address = f"/sites/{added.json()['id']}"
    said = refused(
        as_owner.patch(
            address,
            {"opening_windows": [monday, {**monday, "opens": "12:00", "closes": "18:00"}]},
            tag=added["ETag"],
        ),
        422,
    )
    assert said["errors"][0]["pointer"] == "/opening_windows/1/opens"
    nowhere = refused(as_owner.post("/sites", {"name": "x", "time_zone": "Mars/Base"}), 422)
    assert nowhere["errors"][0]["pointer"] == "/time_zone"


def test_a_machine_added_wired_and_placed(world: World, as_owner: Any, refused: Refused) -> None:
    kind, site = world.kind(), world.site()
    wiring = [{"code": "A", "positions": ["1", "2"]}, {"code": "B", "positions": ["3"]}]
    added = as_owner.post("/machines", {"kind": kind.pk, "asset_tag": "M-7", "selections": wiring})
    assert added.status_code == 201, added.content
    address = f"/machines/{added.json()['id']}"
    assert added.json()["selections"][0]["positions"] == ["1", "2"]
    assert added.json()["placement"] is None

    placed = as_owner.post(
        f"{address}/placements", {"site": site.pk, "starts_at": "2026-03-02T09:00:00-05:00"}
    )
    assert placed.status_code == 200, placed.content
    assert placed.json()["placement"]["site_name"] == site.name
    assert as_owner.get("/machines", {"site": site.pk}).json()["items"][0]["asset_tag"] == "M-7"

    naive = as_owner.post(f"{address}/placements", {"site": None, "starts_at": "2026-03-03T09:00"})
    assert refused(naive, 422)["errors"][0]["pointer"] == "/starts_at"
    twice = [{"code": "A", "positions": ["1"]}, {"code": "B", "positions": ["1"]}]
    said = refused(as_owner.patch(address, {"selections": twice}, tag=placed["ETag"]), 422)
    assert said["errors"][0]["pointer"] == "/selections/1/positions"

    columns = as_owner.get(f"{address}/columns").json()
    assert [one["selection"] for one in columns] == ["A", "A", "B", None]


def test_filters_add_up_and_unknown_ones_are_refused(
    lobby: Machine, world: World, as_owner: Any, refused: Refused
) -> None:
    world.machine("LOB-2", lobby.kind, status="in_shop")
    tags = lambda query: [m["asset_tag"] for m in as_owner.get("/machines", query).json()["items"]]  # noqa: E731
    assert tags({"search": "lob"}) == ["LOB-1", "LOB-2"]
    assert tags({"search": "lob", "status": "in_shop"}) == ["LOB-2"]
    assert tags({"product": Product.objects.get(name="Tea").pk}) == ["LOB-1"]
    said = refused(as_owner.get("/machines", {"stauts": "in_shop"}), 400, "bad_parameter")
    assert said["errors"][0]["parameter"] == "stauts"
    assert "status" in said["errors"][0]["detail"]
    refused(as_owner.get("/machines", {"status": "lost"}), 400, "bad_parameter")
    refused(as_owner.get("/machines", {"kind": "1e99"}), 400, "bad_parameter")


def test_recorded_as_found(lobby: Machine, world: World, as_owner: Any, refused: Refused) -> None:
    column = world.column(lobby, "4")
    tea = Product.objects.get(name="Tea")
    body = {
        "product": tea.pk,
        "deep": 1,
        "rear_setting": 9,
        "price": "2.00",
        "starts_at": "2026-03-02T09:00:00-05:00",
    }
    added = as_owner.post(f"/columns/{column.pk}/set-ups", body)
    assert added.status_code == 201, added.content
    assert added.json()["capacity"] > 0
    refused(as_owner.post(f"/columns/{column.pk}/set-ups", body), 409, "set_up_later")
    said = refused(
        as_owner.post(f"/columns/{column.pk}/set-ups", {**body, "rear_setting": 99}), 422
    )
    assert said["errors"][0]["pointer"] == "/rear_setting"


def test_what_was_done_can_be_read(world: World, as_owner: Any) -> None:
    package = world.can()
    address = f"/packages/{package.pk}"
    tag = as_owner.get(address)["ETag"]
    as_owner.patch(address, {"length_mm": 123}, tag=tag)
    entries = as_owner.get(
        "/audit-entries", {"object_type": "machines.Package", "object_id": package.pk}
    ).json()["items"]
    assert [one["verb"] for one in entries] == ["change package", "add package"]
    assert entries[0]["before"]["length_mm"] == "122.200"
    assert entries[0]["after"]["length_mm"] in {"123", "123.000"}
    changed = as_owner.patch(address, {"length_mm": 124}, tag=as_owner.get(address)["ETag"])
    latest = as_owner.get("/audit-entries", {"actor": entries[0]["actor"]}).json()["items"][0]
    assert latest["request_id"] == changed["X-Request-ID"]
