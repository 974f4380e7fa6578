"""A driver's pages: each act, refusals beside what was typed, and whose the pages are."""

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from people.models import Business, Person
from service.runs.actions import byhand
from service.runs.models import RoadAct, Run, Stop
from tests.fleet.sales.meter import Meter
from tests.service.runs.roadwork import RoadWork, roadwork
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def work(world: World, driver: Person) -> RoadWork:
    return roadwork(world, driver, machines=2)


@pytest.fixture
def today(work: RoadWork) -> Run:
    now = timezone.now()
    run = byhand.add_run(
        date=timezone.localdate(now, Business.the().time_zone),
        driver=work.profile,
        machines=work.machines,
        actor=work.owner,
        now=now,
    )
    work.stock(work.cola, 30)
    return run


@pytest.fixture
def page(client: Client, driver: Person) -> Client:
    client.force_login(driver, backend="django.contrib.auth.backends.ModelBackend")
    return client


def act(page: Client, address: str, *, script: bool = False, **given: Any) -> Any:
    headers = {"Accept": "application/json"} if script else {}
    key = given.pop("key", f"key {address} {sorted(given)}")
    return page.post(address, {"key": key, **given}, headers=headers)


def started(page: Client, run: Run) -> Stop:
    assert act(page, f"/road/runs/{run.pk}/start/").status_code == 302
    return Stop.objects.get(run=run, sequence=1)


def test_my_day_and_its_pages(page: Client, today: Run) -> None:
    assert b"No run is agreed" not in page.get("/road/").content
    assert page.get(f"/road/runs/{today.pk}/").status_code == 200
    assert page.get(f"/road/runs/{today.pk}/load/").status_code == 200
    stop = started(page, today)
    answer = page.get(f"/road/stops/{stop.pk}/")
    assert answer.status_code == 200
    assert "I am here" in answer.content.decode()
    worker = page.get("/road/worker.js")
    assert worker["Content-Type"].startswith("text/javascript")


def test_every_act_of_a_stop(page: Client, work: RoadWork, today: Run) -> None:
    stop = started(page, today)
    column = work.world.column(work.machines[0], "1")
    base = f"/road/stops/{stop.pk}"
    assert act(page, f"{base}/arrive/").status_code == 302
    assert act(page, f"{base}/count/", **{f"count_{column.pk}": "4"}).status_code == 302
    assert act(page, f"{base}/fill/", **{f"fill_{column.pk}": "10"}).status_code == 302
    taken = {f"remove_{column.pk}_{work.cola.pk}": "2", "waste_reason": "damaged"}
    assert act(page, f"{base}/remove/", **taken).status_code == 302
    assert act(page, f"{base}/bag/", seal_number="B-1").status_code == 302
    left = act(page, f"{base}/leave/")
    assert left["Location"] == f"/road/runs/{today.pk}/"
    assert work.held(work.truck, work.cola) == 20
    assert work.in_column("1") == 12
    assert list(RoadAct.objects.order_by("pk").values_list("verb", flat=True)) == [
        "start",
        "arrive",
        "count",
        "fill",
        "remove",
        "bag",
        "leave",
    ]


def test_a_refusal_stands_beside_its_input_and_changes_nothing(
    page: Client, work: RoadWork, today: Run
) -> None:
    stop = started(page, today)
    column = work.world.column(work.machines[0], "1")
    address, given = f"/road/stops/{stop.pk}/fill/", {f"fill_{column.pk}": "999"}
    answer = act(page, address, **given)
    assert answer.status_code == 422
    assert 'value="999"' in answer.content.decode()
    told = act(page, address, script=True, **given)
    assert told.status_code == 422
    assert told.json()["done"] is False
    assert "holds" in " ".join(told.json()["said"])
    empty = act(page, address, script=True, **{f"fill_{column.pk}": ""})
    assert empty.json()["said"] == ["Say how many went in, of one column at least."]
    assert work.held(work.truck, work.cola) == 30
    assert RoadAct.objects.count() == 1


def test_more_than_the_truck_holds_is_a_conflict(page: Client, work: RoadWork, today: Run) -> None:
    stop = started(page, today)
    tea = work.world.column(work.machines[0], "2")
    answer = act(page, f"/road/stops/{stop.pk}/fill/", script=True, **{f"fill_{tea.pk}": "3"})
    assert answer.status_code in {409, 422}
    assert "Tea" in " ".join(answer.json()["said"])


def test_sent_twice_it_counts_once(page: Client, work: RoadWork, today: Run) -> None:
    stop = started(page, today)
    column = work.world.column(work.machines[0], "1")
    moment = timezone.now().isoformat()
    given = {f"fill_{column.pk}": "5", "at": moment, "key": "once"}
    for _ in range(2):
        answer = act(page, f"/road/stops/{stop.pk}/fill/", script=True, **given)
        assert answer.json() == {"done": True}
    assert work.held(work.truck, work.cola) == 25
    other = given | {f"fill_{column.pk}": "6"}
    assert act(page, f"/road/stops/{stop.pk}/fill/", script=True, **other).status_code == 422


def test_a_file_read_there_does_not_move_the_visit(
    page: Client, work: RoadWork, today: Run
) -> None:
    stop = started(page, today)
    lasted = timezone.now()
    by_its_clock = timezone.make_naive(lasted - timedelta(hours=5), ZoneInfo("America/New_York"))
    meter = Meter.with_buttons("1", "2", asset="R-1", serial="", board="")
    file = SimpleUploadedFile("a.dts", meter.read(by_its_clock))
    answer = page.post(f"/road/stops/{stop.pk}/read-file/", {"files": file})
    assert answer.status_code == 302, answer.content.decode()[:400]
    act = RoadAct.objects.get(verb="read")
    assert act.read is not None
    assert act.read.taken_at is not None
    assert act.read.taken_at < lasted - timedelta(hours=4)
    assert act.visit is not None
    assert act.visit.arrived_at >= lasted


def test_picking_and_coming_back(page: Client, work: RoadWork, today: Run) -> None:
    started(page, today)
    part = act(page, f"/road/runs/{today.pk}/end/", found_0=work.tea.pk)
    assert part.status_code == 422
    done = act(page, f"/road/runs/{today.pk}/end/", **{f"truck_{work.cola.pk}_0": "28"})
    assert done.status_code == 302
    assert work.held(work.truck, work.cola) == 28
    assert Run.objects.get(pk=today.pk).state == Run.State.ENDED


def test_another_driver_finds_nothing(
    client: Client, today: Run, other_driver: Person, accountant: Person
) -> None:
    stop = Stop.objects.get(run=today, sequence=1)
    client.force_login(other_driver, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(f"/road/runs/{today.pk}/").status_code == 404
    assert client.get(f"/road/stops/{stop.pk}/").status_code == 404
    assert act(client, f"/road/stops/{stop.pk}/arrive/").status_code == 404
    client.force_login(accountant, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/road/").status_code == 403


def test_no_such_act(page: Client, today: Run) -> None:
    stop = Stop.objects.get(run=today, sequence=1)
    assert act(page, f"/road/stops/{stop.pk}/dance/").status_code == 404
    assert act(page, f"/road/runs/{today.pk}/dance/").status_code == 404


def test_many_inputs_refused_alike_are_said_in_one_line(
    page: Client, work: RoadWork, today: Run
) -> None:
    for name in ("Berry", "Lime", "Mango", "Peach", "Zest"):
        work.stock(work.world.product(name, work.cola.package), 3)
    started(page, today)
    counted = {f"truck_{work.cola.pk}_0": "28"}
    refused = act(page, f"/road/runs/{today.pk}/end/", script=True, **counted)
    assert refused.status_code == 422
    assert refused.json()["said"] == [
        "Berry, Lime, Mango, 2 more: Count this too; 0 if there is none."
    ]
