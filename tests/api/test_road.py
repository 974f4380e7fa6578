"""The road through the API: a day, single acts, queues, and whose runs are whose."""

import json
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from people.models import Person
from service.runs.models import RoadAct, Stop
from tests.callers import Caller
from tests.service.runs.roadwork import RoadWork, clock

pytestmark = pytest.mark.django_db


def at(hour: int, minute: int = 0) -> str:
    return clock(hour, minute).isoformat()


def fill_lines(work: RoadWork, quantity: int) -> list[dict[str, int]]:
    column = work.world.column(work.machines[0], "1")
    return [{"column": column.pk, "product": work.cola.pk, "quantity": quantity}]


def test_my_day_has_all_that_it_needs(work: RoadWork, as_driver: Caller) -> None:
    run = work.run()
    work.stock(work.cola, 12)
    column = work.world.column(work.machines[1], "1")
    lemon = work.world.product("Lemon", work.cola.package)
    planned = work.world.planned(column, lemon)
    day = as_driver.get("/road/day", {"date": "2026-03-02"}).json()
    (found,) = day["runs"]
    assert found["run"]["id"] == run.pk
    assert [one["stop"]["asset_tag"] for one in found["stops"]] == ["R-1", "R-2", "R-3"]
    assert found["stops"][0]["columns"][0]["product_name"] == "Cola"
    assert [one["id"] for one in found["stops"][1]["changeovers"]] == [planned.pk]
    assert found["truck"][0]["holds"] == 12
    assert as_driver.get("/road/day", {"date": "2026-03-03"}).json()["runs"] == []
    assert as_driver.get(f"/road/runs/{run.pk}").json()["run"] == found["run"]


def test_an_act_needs_its_key_and_is_done_once(
    work: RoadWork, as_driver: Caller, refused: Any
) -> None:
    stop = work.stop(work.out())
    work.stock(work.cola, 30)
    body = {"at": at(8), "lines": fill_lines(work, 10)}
    address = f"/road/stops/{stop.pk}/fill"
    refused(as_driver.post(address, body), 400, "key_required")
    first = as_driver.post(address, body, key="one")
    assert first.status_code == 200, first.content
    again = as_driver.post(address, body, key="one")
    assert again.json() == first.json()
    assert again["Idempotency-Replayed"] == "true"
    assert work.held(work.truck, work.cola) == 20
    other = body | {"lines": fill_lines(work, 9)}
    refused(as_driver.post(address, other, key="one"), 422, "key_reused")
    refused(as_driver.post(address, body | {"at": "today"}, key="two"), 422)
    refused(as_driver.post(address, body | {"lines": fill_lines(work, 21)}, key="3"), 409)


def test_a_driver_sees_and_touches_only_the_own_runs(
    work: RoadWork,
    as_driver: Caller,
    caller: Any,
    other_driver: Person,
    dispatcher: Person,
    refused: Any,
) -> None:
    run = work.out()
    stop = work.stop(run)
    other, desk = caller(other_driver), caller(dispatcher)
    for address in (
        f"/runs/{run.pk}",
        f"/road/runs/{run.pk}",
        f"/runs/{run.pk}/load",
        f"/runs/{run.pk}/stops.geojson",
        f"/stops/{stop.pk}",
    ):
        assert as_driver.get(address).status_code == 200, address
        assert desk.get(address).status_code == 200, address
        refused(other.get(address), 404)
    assert other.get("/runs").json()["items"] == []
    assert [one["id"] for one in as_driver.get("/runs").json()["items"]] == [run.pk]
    refused(other.post(f"/road/stops/{stop.pk}/arrive", {"at": at(8)}, key="k"), 404)
    refused(other.post(f"/road/runs/{run.pk}/end", {"at": at(9)}, key="k"), 404)
    refused(as_driver.post(f"/runs/{run.pk}/lock"), 403)
    assert desk.post(f"/road/stops/{stop.pk}/arrive", {"at": at(8)}, key="k").status_code == 200


def queue(work: RoadWork, run: int, stop: int) -> list[dict[str, Any]]:
    """A visit as a device kept it while it had no signal; one act of it cannot be."""
    column = work.world.column(work.machines[0], "1")
    foreign = work.world.column(work.machines[1], "1")
    counted = {"lines": [{"column": column.pk, "count": 4}]}
    wrong = {"lines": [{"column": foreign.pk, "count": 4}]}
    return [
        {"key": "a", "verb": "start", "run": run, "body": {"at": at(7)}},
        {"key": "b", "verb": "arrive", "stop": stop, "body": {"at": at(8)}},
        {"key": "c", "verb": "count", "stop": stop, "body": {"at": at(8, 2)} | counted},
        {"key": "d", "verb": "count", "stop": stop, "body": {"at": at(8, 3)} | wrong},
        {
            "key": "e",
            "verb": "fill",
            "stop": stop,
            "body": {"at": at(8, 5), "lines": fill_lines(work, 10)},
        },
        {"key": "f", "verb": "bag", "stop": stop, "body": {"at": at(8, 6), "seal_number": "9"}},
        {"key": "g", "verb": "leave", "stop": stop, "body": {"at": at(8, 9)}},
        {"key": "h", "verb": "leave", "body": {"at": at(8, 9)}},
        {"key": "i", "verb": "skip", "stop": 10**9, "body": {"at": at(8, 9), "reason": "x"}},
    ]


def test_a_queue_is_answered_act_by_act(work: RoadWork, as_driver: Caller) -> None:
    run = work.run()
    stop = work.stop(run)
    work.stock(work.cola, 30)
    acts = queue(work, run.pk, stop.pk)
    answer = as_driver.post("/road/batch", {"acts": acts})
    assert answer.status_code == 200, answer.content
    answers = answer.json()["answers"]
    assert [one["key"] for one in answers] == list("abcdefghi")
    assert [one["status"] for one in answers] == [200, 200, 200, 422, 200, 200, 200, 422, 404]
    assert answers[3]["problem"]["code"] == "other_machine"
    assert answers[3]["problem"]["errors"][0]["pointer"] == "/lines/0/column"
    assert answers[4]["result"]["columns"][0]["holds"] == 14
    assert Stop.objects.get(pk=stop.pk).state == "done"
    before = RoadAct.objects.count(), work.held(work.truck, work.cola)
    again = as_driver.post("/road/batch", {"acts": acts}).json()["answers"]
    assert (RoadAct.objects.count(), work.held(work.truck, work.cola)) == before
    assert [one["replayed"] for one in again] == [one["status"] == 200 for one in answers]
    for one, other in zip(answers, again, strict=True):
        assert {**one, "replayed": None} == {**other, "replayed": None}
    # A queue and a single act are the same to a key.
    single = as_driver.post(f"/road/stops/{stop.pk}/leave", {"at": at(8, 9)}, key="g")
    assert single.json() == answers[6]["result"]


def test_a_queue_that_is_none(as_driver: Caller, refused: Any) -> None:
    refused(as_driver.post("/road/batch", {"acts": []}), 422)
    refused(as_driver.post("/road/batch", {"acts": [{"key": "a"}]}), 422)
    act = {"key": "a", "verb": "fly", "body": {}}
    refused(as_driver.post("/road/batch", {"acts": [act]}), 422)


def test_stops_are_geojson(work: RoadWork, as_driver: Caller) -> None:
    """The members that RFC 7946 asks for, sections 3, 3.1.2 and 3.2."""
    run = work.run()
    answer = as_driver.get(f"/runs/{run.pk}/stops.geojson")
    assert answer["Content-Type"] == "application/geo+json"
    found = json.loads(answer.content)
    assert found["type"] == "FeatureCollection"
    assert [one["properties"]["role"] for one in found["features"]] == ["depot"] + 3 * ["stop"]
    for one in found["features"]:
        assert one["type"] == "Feature"
        assert one["geometry"]["type"] == "Point"
        longitude, latitude = one["geometry"]["coordinates"]
        assert (longitude, round(latitude)) == (-74.0, 41)


def test_the_desk_plans_agrees_and_changes(work: RoadWork, as_owner: Caller, refused: Any) -> None:
    day = (timezone.now() + timedelta(days=1)).date()
    while day.weekday() > 4:
        day += timedelta(days=1)
    for machine in work.machines:
        body = {"machine": machine.pk, "every_days": 1}
        assert as_owner.post("/service-agreements", body).status_code == 201
    as_owner.post("/working-days", {"date": day.isoformat(), "why": "if it is a holiday"})
    made = as_owner.post("/day-plans", {"date": day.isoformat(), "effort": 50})
    assert made.status_code == 201, made.content
    plan = made.json()
    (run,) = plan["runs"]
    assert len(run["stops"]) == 3
    whys = as_owner.get("/planned-machines", {"plan": plan["id"]}).json()["items"]
    assert all(one["reasons"][0]["code"] == "agreed" for one in whys)
    assert as_owner.post(f"/day-plans/{plan['id']}/agree", key="x").status_code == 200
    refused(as_owner.post(f"/day-plans/{plan['id']}/agree", key="y"), 409, "unable_to_agree")
    first, _, last = (stop["id"] for stop in run["stops"])
    move = {"run": run["id"], "position": 3}
    seen = as_owner.post(f"/stops/{first}/preview-move", move).json()
    moved = as_owner.post(f"/stops/{first}/move", move).json()
    assert moved["change"] == seen
    assert moved["stop"]["sequence"] == 3
    off = as_owner.post(f"/stops/{last}/take-off", {"reason": "the hall is closed"})
    assert off.status_code == 200, off.content
    machine = run["stops"][2]["machine"]
    wanted = {"machine": machine, "day": day.isoformat()}
    seen = as_owner.post("/runs/preview-insert", wanted).json()
    put = as_owner.post("/runs/insert", wanted | {"reason": "open after all"})
    assert put.status_code == 201, put.content
    assert put.json()["change"]["minutes"] == pytest.approx(seen["minutes"], abs=0.2)
    load = as_owner.post(f"/runs/{run['id']}/make-load").json()
    assert load["by_product"]
    assert as_owner.get(f"/runs/{run['id']}/load").json() == load
    assert as_owner.post(f"/runs/{run['id']}/lock").json()["state"] == "locked"
    assert as_owner.post("/runs/replan", {"date": day.isoformat()}).status_code == 200
    week = as_owner.post("/day-plans/week", {"starts_on": day.isoformat(), "days": 2, "effort": 30})
    assert week.status_code == 201, week.content
    dropped = week.json()["plans"][0]["id"]
    assert as_owner.post(f"/day-plans/{dropped}/drop", key="z").json()["state"] == "dropped"


def address(made: Any) -> str:
    return made["Location"].partition("/api/v1")[2]


def test_depots_vehicles_and_drivers_are_kept(work: RoadWork, as_owner: Caller) -> None:
    depot = as_owner.get("/depots").json()["items"][0]["id"]
    made = as_owner.post("/vehicles", {"name": "Van 9", "depot": depot, "cases": 80})
    assert made.status_code == 201, made.content
    changed = as_owner.patch(address(made), {"active": False}, tag=made["ETag"])
    assert changed.json()["active"] is False
    driver = as_owner.get("/drivers").json()["items"][0]
    found = as_owner.get(f"/drivers/{driver['id']}")
    shifts = [{"weekday": 5, "starts": "08:00", "ends": "12:00"}]
    changed = as_owner.patch(f"/drivers/{driver['id']}", {"shifts": shifts}, tag=found["ETag"])
    assert changed.json()["shifts"][0]["weekday"] == 5
    off = as_owner.post("/days-off", {"profile": driver["id"], "date": "2026-07-01", "why": "x"})
    assert off.status_code == 201, off.content
    assert as_owner.delete(address(off), tag=off["ETag"]).status_code == 204
    assumed = as_owner.get("/run-assumptions")
    changed = as_owner.patch("/run-assumptions", {"circuity": 1.4}, tag=assumed["ETag"])
    assert changed.json()["circuity"] == 1.4
    assert changed.json()["cost_per_hour"] == "28.00"
