"""Demand through the API: bands, needs, fits with progress, questions; money for whom it is."""

import csv
import io
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import openpyxl
import pytest
from django.utils import timezone

from fleet.demand.actions import runs
from fleet.demand.actions.refit import fit_chunk
from fleet.demand.models import ColumnNeed, FitRun
from fleet.machines.models import Machine, Product
from people.models import Person
from tests.callers import Caller
from tests.cast import Cast
from tests.fleet.demand.sellers import column, fit_all, sell_and_read, shop
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def sold(world: World, owner: Person) -> list[Machine]:
    """Two machines that sell, fitted as of now."""
    world.now = timezone.now()
    machines = shop(world, 2)
    for machine in machines:
        sell_and_read(machine, until=world.now)
    fit_all(owner, world.now)
    return machines


def test_bands_and_days_until_dry(sold: list[Machine], as_driver: Caller) -> None:
    held = column(sold[0], "1")
    until = (timezone.now() + timedelta(days=9)).date()
    body = as_driver.get(f"/column-demands/{held.pk}/ahead", {"until": until.isoformat()}).json()
    assert body["days"][-1]["day"] == until.isoformat()
    last = body["days"][-1]
    bands = {band["percent"]: band for band in last["bands"]}
    assert bands[95]["low"] <= bands[80]["low"] <= bands[50]["low"] <= last["asked"]
    assert last["asked"] <= bands[50]["high"] <= bands[80]["high"] <= bands[95]["high"]
    assert body["dry_early"] <= body["dry_median"]
    assert last["margin_lost"] is None  # a driver does not see money


def test_a_day_too_far_is_refused(
    sold: list[Machine], as_owner: Caller, refused: Callable[..., dict[str, Any]]
) -> None:
    address = f"/column-demands/{column(sold[0], '1').pk}/ahead"
    refused(as_owner.get(address, {"until": "2020-01-01"}), 400, "bad_parameter")
    refused(as_owner.get(address, {"until": "soon"}), 400, "bad_parameter")
    refused(as_owner.get("/column-demands/999999/ahead"), 404)
    refused(as_owner.get(f"/column-demands/{column(sold[0], '3').pk}/ahead"), 404)


def test_needs_of_a_machine_and_what_they_are_worth(
    sold: list[Machine], as_owner: Caller, as_driver: Caller
) -> None:
    body = as_owner.get(f"/machine-needs/{sold[0].pk}").json()
    assert float(body["prize"]) > 0
    assert len(body["lines"]) == 2
    assert all(line["level"] <= line["capacity"] for line in body["lines"])
    seen = as_driver.get(f"/machine-needs/{sold[0].pk}").json()
    assert seen["prize"] is None
    assert seen["lines"] == body["lines"]


def test_columns_listed_with_their_needs(sold: list[Machine], as_driver: Caller) -> None:
    body = as_driver.get("/column-demands", {"machine": sold[0].pk}).json()
    assert [one["product_name"] for one in body["items"]] == ["Cola", "Lemon"]
    assert body["items"][0]["need"]["fill_to"] > 0
    assert set(body["items"][0]["need"]["margin_lost_by_day"]) == {None}


def test_a_fit_started_watched_and_done(
    sold: list[Machine], as_owner: Caller, refused: Callable[..., dict[str, Any]]
) -> None:
    begun = as_owner.post("/fit-runs", key="fit-1")
    assert begun.status_code == 201
    run = begun.json()
    assert (run["state"], run["share_done"]) == ("running", 0.0)
    assert as_owner.post("/fit-runs", key="fit-1").json()["id"] == run["id"]
    refused(as_owner.post("/fit-runs", key="fit-2"), 409, "refit_running")
    for chunk in runs.due(now=timezone.now()):
        fit_chunk(chunk_id=chunk, clock=timezone.now)
    done = as_owner.get(f"/fit-runs/{run['id']}").json()
    assert (done["state"], done["share_done"]) == ("done", 1.0)
    assert done["chunks"][0]["attempt"] == 1
    first = as_owner.get(f"/fit-runs/{FitRun.objects.order_by('pk')[0].pk}").json()
    assert [band["percent"] for band in first["calibration"]["bands"]] == [50, 80, 95]


def test_who_may(sold: list[Machine], cast: Cast, caller: Callable[[Any], Caller]) -> None:
    by = {name: caller(person) for name, person in cast.by_name().items()}
    assert by["driver"].post("/fit-runs").status_code == 403
    assert by["driver"].get(f"/machine-changes/{sold[0].pk}").status_code == 403
    assert by["accountant"].get(f"/machine-changes/{sold[0].pk}").status_code == 200
    assert by["no_role"].get("/fit-runs").status_code == 403
    assert by["nobody"].get("/fit-runs").status_code == 401


def test_what_if(
    sold: list[Machine], as_owner: Caller, refused: Callable[..., dict[str, Any]], world: World
) -> None:
    held = column(sold[0], "2")
    cola = Product.objects.get(name="Cola")
    address = f"/machine-changes/{sold[0].pk}/what-if"
    body = as_owner.post(address, {"asks": [{"column": held.pk, "product": cola.pk}]}).json()
    (change,) = body["changes"]
    assert (change["after_name"], change["fit"]["verdict"]) == ("Cola", "fits")
    assert float(body["low_a_week"]) <= float(body["gain_a_week"]) <= float(body["high_a_week"])
    wide = world.product("Wide", world.can("wide can", diameter_mm=200))
    said = refused(
        as_owner.post(address, {"asks": [{"column": held.pk, "product": wide.pk}]}),
        422,
        "does_not_fit",
    )
    assert said["errors"][0]["pointer"] == "/asks/0/product"


def test_rules_are_changed_by_whoever_saw_them(
    as_owner: Caller, refused: Callable[..., dict[str, Any]]
) -> None:
    tag = as_owner.get("/demand-rules")["ETag"]
    changed = as_owner.patch("/demand-rules", {"usual_gap_days": 5}, tag=tag)
    assert changed.json()["usual_gap_days"] == 5
    refused(as_owner.patch("/demand-rules", {"usual_gap_days": 6}, tag=tag), 412)
    refused(as_owner.patch("/demand-rules", {"usual_gap_days": 0}, tag=changed["ETag"]), 422)


def test_unusual_days(as_owner: Caller, world: World) -> None:
    site = world.site()
    given = {"site": site.pk, "day": "2026-12-25", "part": 0, "note": "closed"}
    made = as_owner.post("/unusual-days", given)
    assert made.status_code == 201
    again = as_owner.post("/unusual-days", given | {"part": 0.5})
    assert again.json()["id"] == made.json()["id"]
    (one,) = as_owner.get("/unusual-days").json()["items"]
    assert (one["part"], one["site_name"]) == (0.5, site.name)
    where = f"/unusual-days/{one['id']}"
    seen = as_owner.get(where)
    assert seen.json() == one
    assert as_owner.delete(where).status_code == 428
    assert as_owner.delete(where, tag=made["ETag"]).status_code == 412
    assert as_owner.delete(where, tag=seen["ETag"]).status_code == 204
    assert as_owner.get("/unusual-days").json()["items"] == []


def read(answer: Any) -> list[dict[str, str]]:
    assert answer.status_code == 200, answer.content
    return list(csv.DictReader(io.StringIO(answer.content.decode(), newline="")))


def test_needs_are_given_as_a_file(
    sold: list[Machine], as_owner: Caller, as_driver: Caller, refused: Callable[..., dict[str, Any]]
) -> None:
    (cola, lemon) = read(as_owner.get("/column-demands/export", {"machine": sold[0].pk}))
    (listed, _) = as_owner.get("/column-demands", {"machine": sold[0].pk}).json()["items"]
    need = listed["need"]
    assert (cola["machine"], cola["product"], lemon["product"]) == ("M-0", "Cola", "Lemon")
    assert cola["fill to"] == str(need["fill_to"])
    assert float(cola["units a day"]) == pytest.approx(listed["a_day"], abs=0.005)
    assert float(cola["units lost in a week"]) == pytest.approx(
        need["units_lost_by_day"][6], abs=0.05
    )
    assert Decimal(cola["margin lost in a week"]) > 0
    ahead = as_owner.get(f"/column-demands/{column(sold[0], '1').pk}/ahead").json()
    assert cola["dry in half of cases"] == ahead["dry_median"]
    assert cola["why"]
    seen = read(as_driver.get("/column-demands/export", {"machine": sold[0].pk}))
    assert "margin lost in a week" not in seen[0]
    assert seen[0] == {name: cola[name] for name in seen[0]}
    book = as_owner.get("/column-demands/export", {"as": "xlsx"})
    assert openpyxl.load_workbook(io.BytesIO(book.content)).active.max_row == 5
    refused(as_owner.get("/column-demands/export", {"as": "pdf"}), 400, "bad_parameter")


def test_a_column_without_a_need_says_so_in_the_file(sold: list[Machine], as_owner: Caller) -> None:
    ColumnNeed.objects.filter(column=column(sold[0], "1")).delete()
    (cola, lemon) = read(as_owner.get("/column-demands/export", {"machine": sold[0].pk}))
    assert (cola["fill to"], cola["why"]) == ("", "not worked out yet")
    assert lemon["fill to"]


def test_fits_are_given_as_a_file(sold: list[Machine], as_owner: Caller) -> None:
    (line,) = read(as_owner.get("/fit-runs/export"))
    run = FitRun.objects.get()
    fared = as_owner.get(f"/fit-runs/{run.pk}").json()["calibration"]
    assert line["intervals"] == str(run.intervals)
    assert line["held against"] == str(fared["intervals"])
    assert line["tried back"] == "yes"
    band = next(one for one in fared["bands"] if one["percent"] == 80)
    assert float(line["in 80 % band"]) == pytest.approx(band["inside"], abs=0.0005)
    assert float(line["meant in 80 % band"]) == pytest.approx(band["meant"], abs=0.0005)
    assert read(as_owner.get("/fit-runs/export", {"state": "running"})) == []
