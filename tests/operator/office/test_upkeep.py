"""The desk's pages of planned maintenance: what they show, take and refuse."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import vobject
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from fleet.machines.models import Machine
from people.models import Business, Person
from service.tickets.models import Symptom, Ticket
from service.upkeep.actions import due
from service.upkeep.models import (
    CalendarAddress,
    DueWork,
    MaintenanceDone,
    MaintenancePlan,
    Reading,
)
from tests.service.upkeep.plans import Plans
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Any], Client]


@pytest.fixture
def coil(plan: Plans, lobby: Machine) -> MaintenancePlan:
    return plan(starts_on=(timezone.now() - timedelta(days=100)).date())


def now_at_the_business() -> str:
    local = timezone.localtime(timezone.now(), Business.the().time_zone)
    return f"{local:%Y-%m-%dT%H:%M}"


def answers(**changes: str) -> dict[str, str]:
    return {
        "item_0": "done",
        "item_1": "done",
        "value_cabinet_c": "39.5",
        "at": now_at_the_business(),
        "minutes": "18",
    } | changes


def test_every_page_opens(desk: Desk, coil: MaintenancePlan, lobby: Machine, owner: Person) -> None:
    client = desk(owner)
    turn = DueWork.objects.get()
    client.post(f"/upkeep/record/{coil.pk}/{lobby.pk}/", answers())
    done = MaintenanceDone.objects.get()
    pages = {
        "/upkeep/": "Upkeep",
        "/upkeep/?within=all": "LOB-1",
        "/upkeep/?within=late&who=nobody&search=lob": "Nothing is due",
        f"/upkeep/turns/{turn.pk}/": "What was done",
        f"/upkeep/record/{coil.pk}/{lobby.pk}/": "Unplug it first.",
        f"/upkeep/done/{done.pk}/": "4.17 °C",
        f"/upkeep/machines/{lobby.pk}/": "Turns",
        "/upkeep/plans/": "every 90 days",
        "/upkeep/plans/add/": "Add a maintenance plan",
        f"/upkeep/plans/{coil.pk}/": "Unplug it first.",
        f"/upkeep/plans/{coil.pk}/change/": "Coil brushed",
        "/upkeep/reliability/?months=6": "no failure",
        f"/upkeep/reliability/?kind={lobby.kind_id}": "at least",
        "/upkeep/calendars/": "Make an address",
    }
    for address, words in pages.items():
        page = client.get(address)
        assert page.status_code == 200, address
        assert words in page.content.decode(), address
    for address in ("/upkeep/export/?within=all&as=csv", "/upkeep/reliability/export/?as=xlsx"):
        assert client.get(address).status_code == 200


def test_work_is_written_down_with_a_fault_that_becomes_a_ticket(
    desk: Desk, coil: MaintenancePlan, lobby: Machine, driver: Person
) -> None:
    warm = Symptom.objects.get(code="warm")
    address = f"/upkeep/record/{coil.pk}/{lobby.pk}/"
    sent = answers(item_1="fault", said_1="Fan does not turn", symptom_1=str(warm.pk))
    page = desk(driver).post(address, sent, follow=True)
    content = page.content.decode()
    assert "written down" in content
    assert "a fault: Fan does not turn" in content
    ticket = Ticket.objects.get()
    assert ticket.reference in content
    assert (ticket.source, ticket.symptom, ticket.machine) == ("upkeep", warm, lobby)
    assert "Fan does not turn" in ticket.said
    assert DueWork.objects.get(state="done").done == MaintenanceDone.objects.get()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"item_1": ""}, "Say what became of it."),
        ({"item_1": "fault"}, "Say what the fault is."),
        ({"item_1": "not_done"}, "Say why not."),
        ({"value_cabinet_c": "warm"}, "Enter a number."),
        ({"value_cabinet_c": "900"}, "cannot be"),
        ({"at": "2099-01-01T10:00"}, "still to come"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_typed_stays(
    desk: Desk,
    coil: MaintenancePlan,
    lobby: Machine,
    driver: Person,
    changes: dict[str, str],
    words: str,
) -> None:
    sent = answers(note="Much dust here.") | changes
    page = desk(driver).post(f"/upkeep/record/{coil.pk}/{lobby.pk}/", sent)
    assert page.status_code == 422
    assert words in page.content.decode()
    assert "Much dust here." in page.content.decode()
    assert not MaintenanceDone.objects.exists()


def test_taken_back(desk: Desk, coil: MaintenancePlan, lobby: Machine, driver: Person) -> None:
    client = desk(driver)
    client.post(f"/upkeep/record/{coil.pk}/{lobby.pk}/", answers())
    done = MaintenanceDone.objects.get()
    assert client.post(f"/upkeep/done/{done.pk}/set-aside/", {"why": ""}).status_code == 422
    page = client.post(f"/upkeep/done/{done.pk}/set-aside/", {"why": "other machine"}, follow=True)
    assert "It counts for nothing" in page.content.decode()


def test_the_desk_moves_and_gives(
    desk: Desk, coil: MaintenancePlan, lobby: Machine, dispatcher: Person, driver: Person
) -> None:
    client, turn = desk(dispatcher), DueWork.objects.get()
    to = (timezone.now() + timedelta(days=6)).date()
    page = client.post(f"/upkeep/turns/{turn.pk}/put-off/", {"to": to.isoformat(), "why": ""})
    assert page.status_code == 422
    client.post(f"/upkeep/turns/{turn.pk}/put-off/", {"to": to.isoformat(), "why": "closed"})
    client.post(f"/upkeep/turns/{turn.pk}/give/", {"to": str(driver.pk)})
    turn.refresh_from_db()
    assert (turn.day, turn.given_to) == (to, driver)
    assert "LOB-1" in desk(driver).get("/upkeep/").content.decode()
    refused = desk(driver).post(f"/upkeep/turns/{turn.pk}/give/", {"to": str(driver.pk)})
    assert refused.status_code == 403


def test_a_plan_is_made_changed_and_given_own_terms(
    desk: Desk, only_own_plans: None, lobby: Machine, dispatcher: Person
) -> None:
    client = desk(dispatcher)
    sent = {
        "name": "Motors",
        "applies_to": "all",
        "trigger": "season",
        "season_text": "05-01, 10-15",
        "minutes": "30",
        "notice_days": "14",
        "checklist_text": "One\nTwo\n\n",
        "cautions_text": "Unplug it.",
        "ask_cabinet_c": "on",
        "most_cabinet_c": "5",
        "active": "on",
    }
    assert client.post("/upkeep/plans/add/", sent).status_code == 302
    plan = MaintenancePlan.objects.get()
    assert (plan.season_days, plan.checklist) == (["05-01", "10-15"], ["One", "Two"])
    assert plan.readings_asked == [{"what": "cabinet_c", "least": None, "most": "5"}]
    address = f"/upkeep/plans/{plan.pk}/change/"
    shown = client.get(address).context["form"]["shown"].value()
    wrong = client.post(address, sent | {"shown": shown, "season_text": "31.5."})
    assert wrong.status_code == 422
    assert "write it as 05-01" in wrong.content.decode()
    kept = client.post(address, sent | {"shown": shown, "trigger": "days", "every_days": "30"})
    assert kept.status_code == 302, kept.content.decode()
    plan.refresh_from_db()
    assert (plan.every_days, plan.season_days) == (30, [])
    own = {"machine": str(lobby.pk), "every_days": "7", "every_vends": "", "why": "dust"}
    assert client.post(f"/upkeep/plans/{plan.pk}/own-terms/", own).status_code == 302
    assert "every 7 days" in client.get(f"/upkeep/plans/{plan.pk}/").content.decode()
    row = plan.own_terms.get()
    client.post(f"/upkeep/own-terms/{row.pk}/remove/")
    assert not plan.own_terms.exists()


def test_a_reading_alone(desk: Desk, lobby: Machine, driver: Person) -> None:
    client = desk(driver)
    address = f"/upkeep/machines/{lobby.pk}/read/"
    sent = {"what": "supply_v", "value": "118.2", "unit": "V", "at": now_at_the_business()}
    assert client.post(address, sent).status_code == 302
    assert client.post(address, sent | {"unit": "A"}).status_code == 422
    assert Reading.objects.get().unit == "V"


def test_the_calendar_of_a_secret_address(
    desk: Desk, coil: MaintenancePlan, driver: Person, owner: Person
) -> None:
    client = desk(driver)
    page = client.post("/upkeep/calendars/", {"name": "Phone", "shows": "all"})
    address = page.content.decode().partition("data-secret>")[2].partition("<")[0]
    assert "no-store" in page["Cache-Control"]
    path = address.partition("testserver")[2]
    # Whoever asks has not signed in.
    answer = Client().get(path)
    assert answer["Content-Type"].startswith("text/calendar")
    assert vobject.readOne(answer.content.decode()).vevent.summary.value.endswith("LOB-1")
    row = CalendarAddress.objects.get()
    assert "Phone" in desk(owner).get("/upkeep/calendars/").content.decode()
    client.post(f"/upkeep/calendars/{row.pk}/revoke/")
    assert Client().get(path).status_code == 404
    assert Client().get("/calendar/guessed.ics").status_code == 404


def test_who_may_what(desk: Desk, accountant: Person, driver: Person, lobby: Machine) -> None:
    assert desk(accountant).get("/upkeep/").status_code == 200
    assert desk(accountant).get("/upkeep/reliability/").status_code == 200
    assert desk(accountant).get("/upkeep/calendars/").status_code == 200
    assert desk(driver).get("/upkeep/reliability/").status_code == 403
    assert desk(driver).get("/upkeep/plans/add/").status_code == 403


def test_as_many_queries_for_many_turns_as_for_few(
    desk: Desk, coil: MaintenancePlan, world: World, owner: Person, lobby: Machine
) -> None:
    client = desk(owner)
    addresses = [
        reverse("office:upkeep") + "?within=all",
        reverse("office:upkeep-plans"),
        reverse("office:upkeep-plan", args=[coil.pk]),
        reverse("office:reliability"),
    ]

    def asked() -> list[int]:
        found = []
        for address in addresses:
            with CaptureQueriesContext(connection) as queries:
                assert client.get(address).status_code == 200
            found.append(len(queries))
        return found

    asked()  # the one row of settings is made when it is first asked for
    few = asked()
    site = world.site("Hall")
    for number in range(12):
        world.machine(f"A-{number}", lobby.kind, site=site)
    due.work_out(now=timezone.now())
    assert asked() == few
