"""Calorie signs, access and energy through the API."""

import uuid
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from fleet.machines.models import Machine
from people.models import Person
from service.compliance.actions import measured
from service.compliance.models import AccessCheck
from tests.world import World

pytestmark = pytest.mark.django_db


def moment(**back: int) -> str:
    return (timezone.now() - timedelta(**back)).isoformat()


def test_access_is_written_once_judged_and_taken_back(
    lobby: Machine, as_driver: Any, refused: Any
) -> None:
    body = {
        "machine": lobby.pk,
        "measured_at": moment(hours=1),
        "approach": "forward",
        "obstruction_height_mm": 700,
        "obstruction_depth_mm": 560,
        "parts": [{"part": "coin_slot", "height_mm": 1150, "force_n": 20}],
    }
    key = str(uuid.uuid4())
    first = as_driver.post("/access-checks", body, key=key)
    assert first.status_code == 201, first.content
    assert as_driver.post("/access-checks", body, key=key).json() == first.json()
    judged = first.json()["judged"]
    # 2010 ADA Standards 308.2.2: 44 in (1120 mm) over something 20 to 25 in deep.
    assert (judged["verdict"], judged["most_mm"], judged["section"]) == ("not_met", 1120, "308.2.2")
    assert "30 mm lower" in judged["change"][0]
    pk = first.json()["id"]
    assert as_driver.get(f"/access-checks/{pk}").json() == first.json()
    back = as_driver.post(f"/access-checks/{pk}/set-aside", {"why": "wrong machine"})
    assert back.status_code == 200
    assert as_driver.get("/access-checks?set_aside=false").json()["items"] == []
    assert len(as_driver.get(f"/access-checks?machine={lobby.pk}").json()["items"]) == 1
    wrong = as_driver.post("/access-checks", body | {"parts": []}, key=str(uuid.uuid4()))
    refused(wrong, 422)
    assert AccessCheck.objects.count() == 1


def test_energy_beside_its_limit(lobby: Machine, as_owner: Any, refused: Any) -> None:
    kind = as_owner.get(f"/kinds/{lobby.kind_id}")
    changed = as_owner.patch(
        f"/kinds/{lobby.kind_id}",
        {"energy_class": "B", "refrigerated_volume_l": 722.1},
        tag=kind["ETag"],
    )
    assert changed.status_code == 200, changed.content
    # A kind that cools and whose refrigerant nobody has written down says so, the manual last.
    assert any("refrigerant is not recorded" in text for text in changed.json()["cautions"])
    assert "manual" in changed.json()["cautions"][-1]
    body = {
        "machine": lobby.pk,
        "starts_at": moment(days=10),
        "ends_at": moment(days=0),
        "kwh": 35,
    }
    told = as_owner.post("/energy-readings", body, key=str(uuid.uuid4()))
    assert told.status_code == 201, told.content
    assert told.json()["within"] is None
    assert "not recorded: when it was made" in told.json()["why"]
    machine = as_owner.get(f"/machines/{lobby.pk}")
    as_owner.patch(f"/machines/{lobby.pk}", {"made_on": "2020-05-01"}, tag=machine["ETag"])
    # 10 CFR 431.296: 0.052 x 25.5 + 2.20 = 3.526 kWh a day; 35 in ten days are 3.5.
    (seen,) = as_owner.get("/energy-readings").json()["items"]
    assert (seen["limit_kwh_per_day"], seen["kwh_per_day"], seen["within"]) == (3.526, 3.5, True)
    both = body | {"meter_from": 1, "meter_until": 2}
    refused(as_owner.post("/energy-readings", both, key=str(uuid.uuid4())), 422)


def test_signs_and_who_is_covered(
    lobby: Machine, as_owner: Any, as_driver: Any, refused: Any
) -> None:
    settings = as_owner.get("/label-settings")
    assert settings.json()["coverage"]["covered"] is False
    kept = as_owner.patch(
        "/label-settings", {"registered": True, "contact": "Fennimore"}, tag=settings["ETag"]
    )
    assert kept.status_code == 200, kept.content
    assert kept.json()["coverage"]["covered"] is True
    (sign,) = as_driver.get("/calorie-signs").json()["items"]
    assert sign["asset_tag"] == "LOB-1"
    assert {line["product_name"] for line in sign["lines"]} == {"Cola", "Tea"}
    assert {line["calories"] for line in sign["lines"]} == {None}
    assert as_driver.get(f"/calorie-signs/{lobby.pk}").json() == sign
    refused(as_driver.patch("/label-settings", {"registered": False}, tag=kept["ETag"]), 403)


def test_an_accountant_writes_nothing(lobby: Machine, caller: Any, accountant: Person) -> None:
    books = caller(accountant)
    assert books.get("/energy-readings").status_code == 200
    assert books.post("/energy-readings", {}, key=str(uuid.uuid4())).status_code == 403
    assert books.post("/access-checks", {}, key=str(uuid.uuid4())).status_code == 403


@pytest.mark.parametrize("path", ["/access-checks", "/energy-readings", "/calorie-signs"])
def test_a_longer_list_takes_no_more_questions(
    path: str, lobby: Machine, world: World, as_owner: Any
) -> None:
    def more(machine: Machine) -> None:
        given: dict[str, Any] = {"machine": machine, "actor": world.owner, "now": world.now}
        measured.measure_access(
            parts=[measured.PartMeasured("coin_slot", 1100)],
            approach="side",
            measured_at=world.now,
            **given,
        )
        measured.measure_energy(
            starts_at=world.now - timedelta(days=2), ends_at=world.now, kwh=Decimal(7), **given
        )

    def count() -> int:
        with CaptureQueriesContext(connection) as told:
            assert as_owner.get(path).json()["items"]
        return len(told)

    more(lobby)
    count()  # makes rows of settings, and looks the token up
    before = count()
    for number in range(3):
        more(world.machine(f"MORE-{number}", lobby.kind, site=world.site(f"Site {number}")))
    assert count() == before
