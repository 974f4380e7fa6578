"""Runs at the desk: the board and its changes, sheets, who may, and what is refused."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config import settings as settings_module
from office import tasks
from people.models import Business, Person
from service.runs.actions import board, keeping, plans
from service.runs.models import DayPlan, LoadLine, Run, Stop
from service.runs.queries.calendar import Calendar
from tests.service.runs.roadwork import RoadWork, roadwork
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Any], Client]


@pytest.fixture
def work(world: World, driver: Person) -> RoadWork:
    return roadwork(world, driver)


def monday() -> date:
    """The next Monday but one, so that it lies ahead and the driver has a shift."""
    today = timezone.localdate(timezone.now(), Business.the().time_zone)
    return today + timedelta(days=7 + (7 - today.weekday()))


@pytest.fixture
def run(work: RoadWork) -> Run:
    """Three machines on Van 1, agreed by hand."""
    return work.run(date=monday())


def text(response: Any, status: int = 200) -> str:
    assert response.status_code == status, response.content
    return str(response.content.decode())


def order(run: Run) -> list[str]:
    stops = Stop.objects.filter(run=run).order_by("sequence")
    return list(stops.values_list("machine__asset_tag", flat=True))


def stop_of(run: Run, tag: str) -> Stop:
    return Stop.objects.get(run=run, machine__asset_tag=tag)


def seen(page: str) -> str:
    return page.partition('name="seen" value="')[2].partition('"')[0]


def moved(run: Run, tag: str, behind: str | None) -> dict[str, str]:
    after = stop_of(run, behind).pk if behind else 0
    return {"stop": str(stop_of(run, tag).pk), "to": f"{run.pk}-{after}"}


def address(run: Run, what: str = "") -> str:
    return f"/runs/{run.date}/{what}"


def test_the_board_draws_lanes_and_lists_stops_with_reasons(
    run: Run, owner: Person, desk: Desk
) -> None:
    said = text(desk(owner).get(address(run)))
    assert said.count("data-stop=") == 3
    assert "shift ends 15:30" in said
    assert "Put on the run by" in said
    assert "margin saved" in said


def test_a_day_is_planned_by_the_worker_and_agreed(
    work: RoadWork, owner: Person, desk: Desk
) -> None:
    on = monday()
    for machine in work.machines[:2]:
        changes = {"machine": machine, "every_days": 1}
        keeping.save_agreement(changes=changes, actor=owner, now=timezone.now())
    client = desk(owner)
    begun = client.post(f"/runs/{on}/search/", {"what": "day"})
    waits = begun["Location"]
    assert "Waits for a worker" in text(client.get(waits))
    key = waits.rstrip("/").rpartition("/")[2]
    assert tasks.search(key) == "done"
    assert tasks.search(key) == "over"
    plan = DayPlan.objects.get()
    part = client.get(waits, headers={"HX-Request": "true"})
    assert part["HX-Redirect"] == f"/runs/{on}/?plan={plan.pk}"
    shown = text(client.get(f"/runs/{on}/"))
    assert "Left out" in shown
    assert "Agree to this plan" in shown
    assert shown.count("Has to be visited") == 2
    assert client.post(f"/runs/plans/{plan.pk}/agree/")["Location"] == f"/runs/{on}/"
    assert Run.objects.get(plan=plan).agreed
    refused = client.post(f"/runs/plans/{plan.pk}/agree/")
    assert "it is agreed" in text(refused, 409)
    assert "it is agreed" in text(client.post(f"/runs/plans/{plan.pk}/drop/"), 409)
    week = text(client.get(f"/runs/?from={on}"))
    assert "agreed" in week


def test_what_a_search_refuses_is_told(work: RoadWork, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    waits = client.post("/runs/2020-01-06/search/", {"what": "day"})["Location"]
    assert tasks.search(waits.rstrip("/").rpartition("/")[2]) == "refused"
    assert "is past" in text(client.get(waits))
    assert client.post("/runs/2020-01-06/search/", {"what": "moon"}).status_code == 404
    assert client.get("/runs/searches/none/").status_code == 404
    waits = client.post(f"/runs/{monday()}/search/", {"what": "rest"})["Location"]
    assert tasks.search(waits.rstrip("/").rpartition("/")[2]) == "refused"
    assert "no run of" in text(client.get(waits))


def test_a_week_is_planned_in_one_search(work: RoadWork, owner: Person, desk: Desk) -> None:
    on = monday()
    changes = {"machine": work.machines[0], "every_days": 2}
    keeping.save_agreement(changes=changes, actor=owner, now=timezone.now())
    client = desk(owner)
    waits = client.post(f"/runs/{on}/search/", {"what": "week"})["Location"]
    assert tasks.search(waits.rstrip("/").rpartition("/")[2]) == "done"
    assert DayPlan.objects.filter(week_of=on).count() == 5
    said = text(client.get(f"/runs/?from={on}"))
    assert "draft" in said
    assert "R-1" in said


def test_a_move_is_shown_with_its_minutes_and_then_made(
    run: Run, owner: Person, desk: Desk
) -> None:
    client = desk(owner)
    asked = moved(run, "R-3", None)
    said = text(client.get(address(run, "move/"), asked))
    assert "R-3 to place 1 of Van 1" in said
    assert " min more in all" in said
    assert order(run) == ["R-1", "R-2", "R-3"]
    part = text(client.get(address(run, "move/"), asked, headers={"HX-Request": "true"}))
    assert "<html" not in part
    done = client.post(address(run, "move/"), asked | {"seen": seen(said)})
    assert done["Location"] == address(run)
    assert order(run) == ["R-3", "R-1", "R-2"]
    behind = moved(run, "R-3", "R-1")
    said = text(client.get(address(run, "move/"), behind))
    client.post(address(run, "move/"), behind | {"seen": seen(said)})
    assert order(run) == ["R-1", "R-3", "R-2"]


def test_a_stale_move_is_refused_with_what_changed(run: Run, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    asked = moved(run, "R-3", None)
    before = seen(text(client.get(address(run, "move/"), asked)))
    board.move_stop(stop=stop_of(run, "R-2"), run=run, position=1, actor=owner, now=timezone.now())
    refused = client.post(address(run, "move/"), asked | {"seen": before})
    said = text(refused, 409)
    assert "no longer as they were" in said
    assert "move stop" in said
    assert order(run) == ["R-2", "R-1", "R-3"]
    assert client.post(address(run, "move/"), asked).status_code == 409


def test_moves_that_cannot_be(run: Run, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    itself = moved(run, "R-3", "R-3")
    assert "behind itself" in text(client.get(address(run, "move/"), itself), 422)
    assert text(client.get(address(run, "move/"), {"stop": "9", "to": "x"}), 422)
    stop = stop_of(run, "R-1")
    locked = client.post(f"/runs/stops/{stop.pk}/lock/", {"locked": "yes"})
    assert locked["Location"] == f"{address(run)}#stop-{stop.pk}"
    assert f'id="stop-{stop.pk}"' in text(client.get(address(run)))
    assert text(client.get(address(run, "move/"), moved(run, "R-1", "R-3")), 422)
    assert text(client.get(f"/runs/stops/{stop.pk}/take-off/"), 409)
    assert text(client.post(f"/runs/stops/{stop.pk}/take-off/", {"reason": "shut"}), 409)
    client.post(f"/runs/stops/{stop.pk}/lock/", {"locked": "no"})
    assert not stop_of(run, "R-1").locked


def test_a_stop_is_taken_off_and_put_on_again(run: Run, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    stop = stop_of(run, "R-2")
    assert "Take R-2 off" in text(client.get(f"/runs/stops/{stop.pk}/take-off/"))
    assert text(client.post(f"/runs/stops/{stop.pk}/take-off/", {"reason": ""}), 422)
    asked_off = {"reason": "the hall is shut"}
    assert text(client.post(f"/runs/stops/{stop.pk}/take-off/", asked_off), 409)
    said = text(client.get(f"/runs/stops/{stop.pk}/take-off/"))
    assert "min less in all" in said
    asked_off["seen"] = seen(said)
    client.post(f"/runs/stops/{stop.pk}/take-off/", asked_off)
    assert order(run) == ["R-1", "R-3"]
    asked = {"machine": str(stop.machine_id), "run": ""}
    said = text(client.get(address(run, "insert/"), asked))
    assert "at place 2 of Van 1" in said
    given = asked | {"seen": seen(said), "must_go": "on"}
    assert text(client.post(address(run, "insert/"), given | {"reason": ""}), 422)
    stale = given | {"reason": "they called", "seen": "0-none"}
    assert "no longer as they were" in text(client.post(address(run, "insert/"), stale), 409)
    client.post(address(run, "insert/"), given | {"reason": "they called"})
    assert order(run) == ["R-1", "R-2", "R-3"]
    assert stop_of(run, "R-2").must_go
    twice = text(client.get(address(run, "insert/"), asked), 422)
    assert "is on the run of" in twice


def test_a_run_is_locked_and_let_go(run: Run, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    client.post(f"/runs/run/{run.pk}/lock/", {"locked": "yes"})
    assert Run.objects.get(pk=run.pk).state == Run.State.LOCKED
    assert client.post(f"/runs/run/{run.pk}/lock/", {"locked": "yes"}).status_code == 409
    client.post(f"/runs/run/{run.pk}/lock/", {"locked": "no"})
    assert Run.objects.get(pk=run.pk).state == Run.State.PLANNED


def test_a_run_by_hand(work: RoadWork, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    on = monday()
    given = {"driver": work.profile.pk, "machines": [one.pk for one in work.machines]}
    site = work.machines[0].placements.get(ends_at__isnull=True).site
    assert f"R-1, {site}" in text(client.get(f"/runs/{on}/by-hand/"))
    assert text(client.post(f"/runs/{on}/by-hand/", {"driver": work.profile.pk}), 422)
    sunday = on + timedelta(days=6)
    assert "no shift on Sunday" in text(client.post(f"/runs/{sunday}/by-hand/", given), 422)
    assert client.post(f"/runs/{on}/by-hand/", given)["Location"] == f"/runs/{on}/"
    assert order(Run.objects.get()) == ["R-1", "R-2", "R-3"]


def test_sheets_load_list_map_and_files(
    run: Run, work: RoadWork, owner: Person, desk: Desk
) -> None:
    client = desk(owner)
    assert "No load list" in text(client.get(f"/runs/run/{run.pk}/load/"))
    made = client.post(f"/runs/run/{run.pk}/load/make/")
    assert made["Location"] == f"/runs/run/{run.pk}/load/"
    sheet = text(client.get(f"/runs/run/{run.pk}/"))
    assert "Hall 3" in sheet
    assert "Fill to" in sheet
    on_map = text(client.get(address(run, "map/")))
    assert '"type": "FeatureCollection"' in on_map
    assert "plain grid" in on_map
    for where in (f"/runs/run/{run.pk}/export/", f"/runs/run/{run.pk}/load/export/"):
        assert client.get(where)["Content-Type"].startswith("text/csv")
        assert client.get(f"{where}?as=xlsx").status_code == 200
        assert client.get(f"{where}?as=tape").status_code == 422
    plan = plans.plan_day(date=monday() + timedelta(days=1), actor=owner, now=timezone.now())
    lines = text(client.get(f"/runs/{plan.date}/export/"))
    assert "R-2" in lines


def test_today_tells_of_runs_drafts_and_what_is_short(
    work: RoadWork, owner: Person, driver: Person, other_driver: Person, desk: Desk
) -> None:
    now = timezone.now()
    today = timezone.localdate(now, Business.the().time_zone)
    hours = {"starts_at": now, "ends_at": now + timedelta(hours=6)}
    run = work.run(date=today, **hours)
    line = LoadLine.objects.create(
        run=run, product=work.cola, basis="service_level", wanted=9, picked=4, picked_at=now
    )
    days = [today + timedelta(days=number) for number in range(1, 10)]
    calendar = Calendar(days[0], days[-1])
    ahead = next(day for day in days if calendar.duty(day).on)
    plans.plan_day(date=ahead, actor=owner, now=now)
    said = text(desk(owner).get("/"))
    assert f"/runs/{ahead}/" in said
    assert f"{line.short} Cola" in said
    assert "A draft waits to be agreed to" in said
    mine = text(desk(driver).get("/"))
    assert "/road/" in mine
    assert "5 Cola" in mine
    assert "A draft" not in mine
    assert "Van 1" not in text(desk(other_driver).get("/"))


def test_the_pages_of_a_day_ask_as_many_questions_for_more_stops(
    work: RoadWork, owner: Person, desk: Desk
) -> None:
    client = desk(owner)
    asked = []
    for number, machines in enumerate((work.machines[:1], work.machines)):
        run = work.run(*machines, date=monday() + timedelta(days=number))
        client.post(f"/runs/run/{run.pk}/load/make/")
        pages = (address(run), address(run, "map/"), f"/runs/?from={run.date}")
        pages += (f"/runs/run/{run.pk}/", f"/runs/run/{run.pk}/load/")
        for page in pages:
            text(client.get(page))
            with CaptureQueriesContext(connection) as queries:
                client.get(page)
            asked.append((page.replace(str(run.date), ""), len(queries)))
    few, many = [count for _, count in asked[:5]], [count for _, count in asked[5:]]
    assert few == many, asked


def test_a_draft_beside_a_run_made_by_hand_since(work: RoadWork, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    on = monday()
    for machine in work.machines:
        changes = {"machine": machine, "every_days": 1}
        keeping.save_agreement(changes=changes, actor=owner, now=timezone.now())
    plan = plans.plan_day(date=on, actor=owner, now=timezone.now())
    run = work.run(date=on)
    said = text(client.get(f"/runs/{on}/?plan={plan.pk}"))
    assert "margin saved" not in said
    drafted = plan.runs.get()
    stop = drafted.stops.order_by("sequence")[0]
    asked = {"plan": plan.pk, "stop": stop.pk, "to": f"{run.pk}-0"}
    assert "of one day and plan" in text(client.get(f"/runs/{on}/move/", asked), 422)
    refused = client.post(f"/runs/plans/{plan.pk}/agree/")
    assert "has another run that day" in text(refused, 409)


def test_the_map_may_fetch_tiles_from_its_server_alone() -> None:
    assert settings_module._origins("") == []
    found = settings_module._origins("https://{s}.tiles.example.org/{z}/{x}/{y}.png")
    assert found == ["https://*.tiles.example.org"]


def test_the_load_list_shows_what_was_picked_short_and_taken_instead(
    run: Run, work: RoadWork, driver: Person, desk: Desk
) -> None:
    stop = stop_of(run, "R-2")
    picked: dict[str, Any] = {"run": run, "picked_at": timezone.now()}
    LoadLine.objects.create(
        **picked,
        stop=stop,
        column=work.world.column(work.machines[1], "1"),
        product=work.cola,
        basis="known",
        wanted=12,
        carried=3,
        picked=5,
        substitute=work.tea,
        substituted=4,
    )
    LoadLine.objects.create(**picked, product=work.tea, basis="service_level", wanted=6, picked=6)
    client = desk(driver)
    said = text(client.get(f"/runs/run/{run.pk}/load/"))
    assert "Something is short." in said
    assert "3 short" in said
    assert "in its place 4 Tea" in said
    assert "Loose, for all stops" in said
    assert f"/road/runs/{run.pk}/load/" in said
    assert "Work it out anew" not in said
    lines = client.get(f"/runs/run/{run.pk}/load/export/").content.decode().splitlines()
    assert lines[1].startswith("2,R-2,Hall 2,1,Cola,")
    assert lines[1].endswith(",12,3,5,3,Tea,4")


def test_days_and_plans_that_are_none(owner: Person, desk: Desk) -> None:
    client = desk(owner)
    for where in ("/runs/someday/", "/runs/2026-03-02/?plan=4", "/runs/2026-03-02/?plan=x"):
        assert client.get(where).status_code == 404
    assert client.get("/runs/?from=9999-12-30").status_code == 404
    assert client.get("/runs/2026-03-02/map/").status_code == 200


def test_who_may(
    run: Run, desk: Desk, driver: Person, other_driver: Person, accountant: Person
) -> None:
    sheet = f"/runs/run/{run.pk}/"
    reads = desk(accountant)
    said = text(reads.get(address(run)))
    assert "Lock the run" not in said
    assert reads.get(address(run, "move/"), moved(run, "R-3", None)).status_code == 403
    mine = desk(driver)
    assert "Hall 1" in text(mine.get(sheet))
    assert text(mine.get(f"{sheet}load/"))
    assert mine.get(address(run)).status_code == 403
    assert mine.post(f"{sheet}lock/").status_code == 403
    assert mine.post(f"{sheet}load/make/").status_code == 403
    assert desk(other_driver).get(sheet).status_code == 404


def test_a_day_that_nobody_drives_is_not_offered_for_planning(
    work: RoadWork, owner: Person, desk: Desk
) -> None:
    client = desk(owner)
    assert "Plan this day" in text(client.get(f"/runs/{monday()}/"))
    keeping.add_day_off(
        profile=None, date=monday(), why="the fair", actor=owner, now=timezone.now()
    )
    said = text(client.get(f"/runs/{monday()}/"))
    assert "Nobody works: the fair." in said
    assert "Plan this day" not in said
    asked = client.post(f"/runs/{monday()}/search/", {"what": "day"})["Location"]
    assert tasks.search(asked.rstrip("/").rpartition("/")[2]) == "refused"
    assert "nobody drives on" in text(client.get(asked))
    assert not DayPlan.objects.exists()
