"""Audit files handed in at the desk: accepted, repeated, waiting, decided about."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from fleet.machines.models import Machine
from fleet.sales.models import AuditRead
from office.templatetags.desk import pile_address
from people.models import Person
from tests.fleet.sales.helpers import day
from tests.fleet.sales.meter import Meter
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]
SAMPLES = Path(__file__).resolve().parents[2] / "checks" / "audit_reads"


def handed_in(client: Client, *names: str) -> str:
    files = [SimpleUploadedFile(name, (SAMPLES / name).read_bytes()) for name in names]
    answer = client.post("/reads/upload/", {"files": files})
    assert answer.status_code == 200
    return str(answer.content.decode())


def days_of(meter: Meter, client: Client, count: int) -> None:
    """Hand in a file a day."""
    for number in range(count):
        data = meter.sell("1", cash=2).read(day(number))
        client.post("/reads/upload/", {"files": SimpleUploadedFile(f"day-{number}.dts", data)})


def test_files_are_read_in_and_the_same_again_changes_nothing(
    driver: Person, dispatcher: Person, desk: Desk
) -> None:
    said = handed_in(desk(driver), "read_a.dts")
    assert "waiting" in said
    assert "duplicate" in handed_in(desk(driver), "read_a.dts")
    assert AuditRead.objects.count() == 1
    assert b"read_a.dts" in desk(dispatcher).get("/reads/").content
    waits = AuditRead.objects.get()
    assert waits.asset_read.encode() in desk(dispatcher).get("/").content


def test_an_unmatched_read_is_given_its_machine_with_a_reason(
    dispatcher: Person, driver: Person, lobby: Machine, desk: Desk
) -> None:
    client = desk(dispatcher)
    handed_in(client, "read_a.dts")
    read = AuditRead.objects.get()
    page = f"/reads/{read.pk}/"
    assert b"Say which machine it came from" in client.get(page).content
    without = client.post(f"{page}match/", {"match-machine": lobby.pk, "match-reason": ""})
    assert without.status_code == 422
    given = {"match-machine": lobby.pk, "match-reason": "written on the file"}
    assert desk(driver).post(f"{page}match/", given).status_code == 403
    client.post(f"{page}match/", given)
    read.refresh_from_db()
    assert (read.state, read.machine) == ("accepted", lobby)
    assert b"written on the file" in client.get(page).content
    assert b"read_a.dts" in client.get(f"/fleet/{lobby.pk}/").content


def test_a_damaged_read_is_accepted_or_set_aside_with_a_reason(
    dispatcher: Person, lobby: Machine, desk: Desk
) -> None:
    client = desk(dispatcher)
    handed_in(client, "read_a_crc_swapped.dts", "read_a_bad_se.dts", "read_a_lf_only.dts")
    read = AuditRead.objects.order_by("pk").first()
    assert read is not None
    page = f"/reads/{read.pk}/"
    early = client.post(f"{page}accept/", {"accept-reason": "it is whole"})
    assert (early.status_code, b"say first which machine" in early.content) == (422, True)
    client.post(f"{page}set-aside/", {"aside-reason": "of no machine of ours"})
    read.refresh_from_db()
    assert (read.state, read.settled_reason) == ("set_aside", "of no machine of ours")
    twice = client.post(f"{page}set-aside/", {"aside-reason": "once more"})
    assert twice.status_code == 422


def test_what_is_no_audit_file_is_said(driver: Person, desk: Desk) -> None:
    client = desk(driver)
    files = [SimpleUploadedFile("x.txt", b"hello"), SimpleUploadedFile("empty.txt", b"")]
    text = client.post("/reads/upload/", {"files": files}).content.decode()
    assert text.count("unreadable") == 2
    none = client.post("/reads/upload/", {})
    assert none.status_code == 422


def test_a_decision_is_asked_only_where_an_interval_ends(
    dispatcher: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    client = desk(dispatcher)
    handed_in(client, "read_a.dts")
    read = AuditRead.objects.get()
    given = {"device": "control_board", "choice": "leave_out", "reason": "new board"}
    assert client.post(f"/reads/{read.pk}/decide/", given).status_code == 404


def test_reads_that_wait_alike_stand_in_one_pile(
    dispatcher: Person, accountant: Person, lobby: Machine, desk: Desk
) -> None:
    client = desk(dispatcher)
    days_of(Meter.with_buttons("1", asset="LOST-7"), client, 2)
    handed_in(client, "read_a.dts")
    today = client.get("/").context
    counts = sorted(one.count for one in today["piles"])
    assert sum(counts) == today["tray_count"] == 3
    assert counts[-1] == 2
    largest = next(one for one in today["piles"] if one.count == 2)
    page = client.get(pile_address(largest))
    assert len(page.context["pile"]) == 2
    assert b"day-1.dts" in page.content
    assert b"read_a.dts" not in page.content
    assert b"Hand in files" not in page.content
    assert b"Match again" in page.content
    assert b"Match again" not in desk(accountant).get("/reads/").content
    assert b"None waits like that" in client.get("/reads/?why=unmatched&asset=NONE").content


def test_reads_that_wait_are_matched_again_once_the_machine_is_entered(
    dispatcher: Person, driver: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    client = desk(dispatcher)
    days_of(Meter.with_buttons("1", asset="LOST-7"), client, 2)
    none = client.post("/reads/match-again/", follow=True)
    assert b"None found its machine" in none.content
    world.machine("LOST-7", lobby.kind)
    assert desk(driver).post("/reads/match-again/").status_code == 403
    done = client.post("/reads/match-again/", follow=True)
    assert b"2 reads found their machine" in done.content
    assert b"LOST-7 (2)" in done.content
    assert not AuditRead.objects.filter(state=AuditRead.State.WAITING).exists()
    assert b"Match again" not in done.content


def test_the_reads_of_one_machine_are_listed_alone(
    dispatcher: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    client = desk(dispatcher)
    handed_in(client, "read_a.dts")
    read = AuditRead.objects.get()
    given = {"match-machine": lobby.pk, "match-reason": "written on the file"}
    client.post(f"/reads/{read.pk}/match/", given)
    other = world.machine("YARD-2", lobby.kind)
    assert b"read_a.dts" in client.get(f"/reads/?machine={lobby.pk}").content
    assert b"read_a.dts" not in client.get(f"/reads/?machine={other.pk}").content
