"""What runs stand on at the desk: kept by plain forms, refused beside their fields."""

from collections.abc import Callable
from datetime import time, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from people.models import Person
from service.runs.models import (
    DayOff,
    Depot,
    DriverProfile,
    RunAssumptions,
    ServiceAgreement,
    Vehicle,
    WorkingDay,
)
from tests.service.runs.roadwork import RoadWork, roadwork, site
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Any], Client]


@pytest.fixture
def work(world: World, driver: Person) -> RoadWork:
    return roadwork(world, driver)


def text(response: Any, status: int = 200) -> str:
    assert response.status_code == status, response.content
    return str(response.content.decode())


def shown(client: Client, address: str) -> str:
    """What a form sends back of the state it was filled from."""
    said = text(client.get(address))
    return said.partition('name="shown" value="')[2].partition('"')[0]


def test_depots_and_vehicles(work: RoadWork, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    assert "Marl Street store" in text(client.get("/runs/kept/"))
    hall = site(work.world, "Dock nine", 20, purpose="warehouse")
    given = {"site": hall.pk, "loading_minutes": 25, "unloading_minutes": 10, "active": "on"}
    assert client.post("/runs/kept/depots/add/", given)["Location"] == "/runs/kept/"
    depot = Depot.objects.get(site=hall)
    address = f"/runs/kept/depots/{depot.pk}/"
    assert "no longer what" in text(client.post(address, given | {"loading_minutes": 30}), 409)
    given |= {"loading_minutes": 30, "shown": shown(client, address)}
    assert client.post(address, given).status_code == 302
    assert Depot.objects.get(site=hall).loading_minutes == 30
    van = {"name": "Van 9", "depot": depot.pk, "volume_l": "7000", "active": "on"}
    assert client.post("/runs/kept/vehicles/add/", van).status_code == 302
    assert Vehicle.objects.get(name="Van 9").weight_kg is None
    assert "already" in text(client.post("/runs/kept/vehicles/add/", van), 422)


def test_a_driver_with_shifts_in_words(
    work: RoadWork, owner: Person, other_driver: Person, desk: Desk
) -> None:
    client = desk(owner)
    given = {"person": other_driver.pk, "depot": work.depot.pk, "active": "on"}
    given |= {"skills": "keys, lifts", "shifts": "Mon-Thu 6:30-14:00\nSat 8-12"}
    wrong = given | {"shifts": "whenever"}
    assert "cannot be read" in text(client.post("/runs/kept/drivers/add/", wrong), 422)
    twice = given | {"shifts": "Mon 6-9\nMon 10-12"}
    assert "stands twice" in text(client.post("/runs/kept/drivers/add/", twice), 422)
    assert client.post("/runs/kept/drivers/add/", given).status_code == 302
    profile = DriverProfile.objects.get(person=other_driver)
    assert profile.skills == ["keys", "lifts"]
    assert [one.weekday for one in profile.shifts.all()] == [0, 1, 2, 3, 5]
    assert profile.shifts.all()[0].starts == time(6, 30)
    address = f"/runs/kept/drivers/{profile.pk}/"
    said = text(client.get(address))
    assert "Mon-Thu 06:30-14:00" in said


def test_days_off_and_holidays_worked(work: RoadWork, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    on = timezone.now().date() + timedelta(days=3)
    given = {"off-profile": work.profile.pk, "off-date": str(on), "off-why": "leave"}
    assert text(client.post("/runs/kept/days-off/", given | {"off-why": ""}), 422)
    assert client.post("/runs/kept/days-off/", given).status_code == 302
    assert client.post("/runs/kept/days-off/", given).status_code in {409, 422}
    assert "leave" in text(client.get("/runs/kept/"))
    day = DayOff.objects.get()
    assert client.post(f"/runs/kept/days-off/{day.pk}/remove/").status_code == 302
    given = {"work-date": str(on), "work-why": "the fair"}
    assert text(client.post("/runs/kept/holidays/", {"work-date": "soon"}), 422)
    assert client.post("/runs/kept/holidays/", given).status_code == 302
    kept = WorkingDay.objects.get()
    assert "the fair" in text(client.get("/runs/kept/"))
    assert client.post(f"/runs/kept/holidays/{kept.pk}/remove/").status_code == 302
    assert not WorkingDay.objects.exists()


def test_agreements_and_assumptions(work: RoadWork, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    given = {"machine": work.machines[0].pk, "every_days": 14, "note": "the host counts"}
    wrong = given | {"every_days": 0}
    assert "1 to 366" in text(client.post("/runs/kept/agreements/add/", wrong), 422)
    assert client.post("/runs/kept/agreements/add/", given).status_code == 302
    kept = ServiceAgreement.objects.get()
    address = f"/runs/kept/agreements/{kept.pk}/"
    changed = given | {"every_days": 7, "shown": shown(client, address)}
    assert client.post(address, changed).status_code == 302
    assert ServiceAgreement.objects.get().every_days == 7
    assert client.post(f"{address}end/").status_code == 302
    assert client.get(address).status_code == 404
    where = "/runs/kept/assumptions/"
    form = client.get(where).context["form"]
    given = {name: "" if form[name].value() is None else form[name].value() for name in form.fields}
    given["shown"] = shown(client, where)
    refused = client.post(where, given | {"circuity": "9"})
    assert refused.status_code == 422
    assert list(refused.context["form"].errors) == ["circuity"]
    assert client.post(where, given | {"circuity": "1.4"}).status_code == 302
    assert str(RunAssumptions.the().circuity) == "1.400"


def test_who_may(work: RoadWork, accountant: Person, driver: Person, desk: Desk) -> None:
    said = text(desk(accountant).get("/runs/kept/"))
    assert "Add a driver" not in said
    assert desk(accountant).get("/runs/kept/assumptions/").status_code == 403
    assert desk(accountant).get(f"/runs/kept/depots/{work.depot.pk}/").status_code == 403
    assert desk(driver).get("/runs/kept/").status_code == 403
