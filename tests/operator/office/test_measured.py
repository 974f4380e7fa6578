"""The desk's pages of calorie signs, access and energy, and cautions where work is ordered."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from pypdf import PdfReader

from fleet.machines.actions import kinds, machines
from fleet.machines.models import Machine
from people.models import Business, Person
from service.compliance.models import AccessCheck, EnergyReading
from tests.service.upkeep.plans import Plans
from tests.typed import typed
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Any], Client]


@pytest.fixture
def cooled(world: World, lobby: Machine) -> Machine:
    """Class A, 25.5 cubic feet, made in 2020; its front hides what is in it; R-290."""
    kinds.save_kind(
        kind=lobby.kind,
        changes={
            "energy_class": "A",
            "refrigerated_volume_l": Decimal("722.1"),
            "front_hides_label": True,
            "refrigerant": "R-290",
            "refrigerant_charge_g": Decimal(90),
        },
        actor=world.owner,
        now=world.now,
    )
    return machines.change_machine(
        machine=lobby, changes={"made_on": date(2020, 1, 1)}, actor=world.owner, now=world.now
    )


def local(**back: int) -> str:
    at = timezone.localtime(timezone.now() - timedelta(**back), Business.the().time_zone)
    return f"{at:%Y-%m-%dT%H:%M}"


def test_every_page_opens(desk: Desk, cooled: Machine, accountant: Person) -> None:
    client = desk(accountant)
    pages = {
        "/compliance/labels/": "need not be shown",
        "/compliance/labels/signs/": "not known",
        f"/compliance/labels/signs/?machine={cooled.pk}": "Cola",
        "/compliance/access/": "not measured",
        f"/compliance/access/machines/{cooled.pk}/": "Nobody measured it yet",
        "/compliance/energy/": "3.7560",
        f"/compliance/energy/machines/{cooled.pk}/": "Nothing was measured yet",
    }
    for address, words in pages.items():
        answer = client.get(address)
        assert answer.status_code == 200, address
        assert words in answer.content.decode(), address


def test_signs_as_a_file(desk: Desk, cooled: Machine, owner: Person) -> None:
    client = desk(owner)
    said = {"registered": "on", "registered_until": "2027-11-01", "contact": "Fennimore, 555 0100"}
    kept = client.post("/compliance/labels/keep/", typed(client, "/compliance/labels/") | said)
    assert kept.status_code == 302
    assert "Calories must be shown" in client.get("/compliance/labels/").content.decode()
    answer = client.get("/compliance/labels/signs.pdf")
    assert answer["Content-Type"] == "application/pdf"
    text = "".join(page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages)
    assert "Cola" in text
    assert "Fennimore, 555 0100" in text
    past = typed(client, "/compliance/labels/") | {"registered_until": "2020-11-01"}
    assert client.post("/compliance/labels/keep/", past).status_code == 302
    assert "The registration ended on" in client.get("/compliance/labels/").content.decode()
    given = typed(client, "/compliance/labels/")
    del given["registered"]
    wrong = client.post("/compliance/labels/keep/", given)
    assert wrong.status_code == 422


def test_access_is_measured_in_inches_and_pounds(
    desk: Desk, lobby: Machine, driver: Person
) -> None:
    client = desk(driver)
    address = f"/compliance/access/machines/{lobby.pk}/"
    told = client.post(
        f"{address}measure/",
        {
            "measured_at": local(minutes=5),
            "approach": "side",
            "force_unit": "lbf",
            "height_coin_slot": "49",
            "force_coin_slot": "5.5",
            "height_product_door": "20 1/2",
        },
    )
    assert told.status_code == 302, told.content.decode()
    coin, door = AccessCheck.objects.get().measures.all()
    # 49 in are 1244.6 mm; 5.5 lbf are 24.5 N (1 lbf is 4.448 N).
    assert (coin.height_mm, coin.force_n) == (1245, Decimal("24.5"))
    assert (door.height_mm, door.force_n) == (521, None)
    page = client.get(address).content.decode()
    assert "To change" in page
    assert "25 mm lower" in page
    assert "to change" in client.get("/compliance/access/").content.decode()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, "measure at least one part"),
        ({"force_coin_slot": "4"}, "give its height too"),
        ({"height_coin_slot": "tall"}, "is no length"),
        ({"height_coin_slot": "40", "obstruction_height_mm": "30"}, "or neither"),
        ({"height_coin_slot": "40", "measured_at": "2999-01-01T09:00"}, "still to come"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(
    desk: Desk, lobby: Machine, owner: Person, changes: dict[str, str], words: str
) -> None:
    given = {"measured_at": local(minutes=5), "approach": "side", "force_unit": "lbf"} | changes
    answer = desk(owner).post(f"/compliance/access/machines/{lobby.pk}/measure/", given)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not AccessCheck.objects.exists()


def test_energy_is_read_and_taken_back(desk: Desk, cooled: Machine, owner: Person) -> None:
    client = desk(owner)
    address = f"/compliance/energy/machines/{cooled.pk}/"
    told = client.post(
        f"{address}measure/",
        {
            "starts_at": local(days=10),
            "ends_at": local(minutes=0),
            "meter_from": "100",
            "meter_until": "139",
        },
    )
    assert told.status_code == 302, told.content.decode()
    page = client.get(address).content.decode()
    # 10 CFR 431.296: 3.756 kWh a day; 39 kWh in ten days are 3.9.
    assert "above the 3.7560" in page
    assert "<svg" in page
    assert "above" in client.get("/compliance/energy/").content.decode()
    reading = EnergyReading.objects.get()
    back = f"/compliance/energy/readings/{reading.pk}/set-aside/"
    assert client.post(back, {"why": ""}).status_code == 422
    assert client.post(back, {"why": "wrong machine"}).status_code == 302
    assert "set aside by Orla Fennimore" in client.get(address).content.decode()
    assert client.post(f"{address}measure/", {"starts_at": local(days=1)}).status_code == 422


@pytest.mark.parametrize(
    ("address", "given"),
    [
        ("/compliance/access/machines/{}/measure/", {}),
        ("/compliance/energy/machines/{}/measure/", {}),
        ("/compliance/labels/keep/", {}),
    ],
)
def test_an_accountant_looks_and_writes_nothing(
    desk: Desk, lobby: Machine, accountant: Person, address: str, given: dict[str, str]
) -> None:
    assert desk(accountant).post(address.format(lobby.pk), given).status_code == 403


def test_cautions_stand_where_work_is_ordered(
    desk: Desk, cooled: Machine, owner: Person, plan: Plans
) -> None:
    client = desk(owner)
    made = plan(starts_on=(timezone.now() - timedelta(days=100)).date())
    for address in (
        f"/upkeep/record/{made.pk}/{cooled.pk}/",
        f"/fleet/{cooled.pk}/change/",
        f"/kinds/{cooled.kind_id}/",
    ):
        page = client.get(address).content.decode()
        assert "R-290, 90 g burns" in page, address
        assert "move it with two people" in page, address
        assert "manual" in page, address
