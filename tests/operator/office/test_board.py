"""The dispatcher's board as pages: what it shows, gives, refuses and keeps."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from people.models import Business, Person
from service.runs.models import BoardView, TicketStop
from service.tickets.models import Ticket
from tests.service.runs.dispatchwork import DispatchWork, dispatchwork, spread
from tests.world import World

At = Callable[[Person], Client]


@pytest.fixture
def work(world: World, dispatcher: Person, driver: Person, other_driver: Person) -> DispatchWork:
    now = timezone.now()
    today = timezone.localdate(now, Business.the().time_zone)
    monday = today + timedelta(days=7 - today.weekday())
    return dispatchwork(
        world,
        dispatcher,
        driver,
        day=monday,
        now=now,
        others=[other_driver],
        machines=6,
        each=2,
    )


def given(work: DispatchWork, ticket: Ticket, **more: Any) -> dict[str, Any]:
    return {
        "ticket": ticket.pk,
        "lane": f"run-{work.runs[0].pk}",
        "day": work.day.isoformat(),
        "seen": f"{ticket.version}-",
    } | more


def test_the_board_gives_a_ticket_and_takes_it_back(work: DispatchWork, desk: At) -> None:
    client = desk(work.dispatcher)
    ticket = work.ticket(work.machines[4])
    page = client.get("/board/", {"day": work.day, "ticket": ticket.pk}).content.decode()
    assert "R-5" in page
    assert page.count('name="seen"') == 2
    sent = client.post("/board/give/", given(work, ticket))
    assert sent["Location"] == f"/board/?day={work.day}"
    assert TicketStop.objects.get().stop.run == work.runs[0]
    # What was seen before is stale now, and the page says who did what.
    refused = client.post("/board/give/", given(work, ticket, lane=f"run-{work.runs[1].pk}"))
    assert refused.status_code == 409
    assert "given to Rosa Quillfeather by Dev Castellane" in refused.content.decode()
    client.post("/board/take-back/", {"ticket": ticket.pk, "reason": "no time", "day": work.day})
    assert not TicketStop.objects.exists()
    assert work.fresh(ticket).state == "new"


def test_nonsense_is_refused(work: DispatchWork, desk: At) -> None:
    client = desk(work.dispatcher)
    ticket = work.ticket(work.machines[4])
    for change in ({"lane": "bus-1"}, {"day": "soon"}, {"seen": "x"}, {"ticket": "0"}):
        assert client.post("/board/give/", given(work, ticket) | change).status_code == 422
    assert client.post("/board/give/", given(work, ticket, lane="run-999999")).status_code == 404
    assert client.get("/board/?day=never&ticket=x&symptom=999&urgency=no").status_code == 200
    assert client.get("/board/digest/?day=never&since=x").status_code == 200


def test_the_digest_tells_what_others_did(work: DispatchWork, desk: At, owner: Person) -> None:
    client = desk(owner)
    address = f"/board/digest/?day={work.day}"
    before = client.get(address).json()
    work.assign(work.ticket(work.machines[4]), work.runs[0])
    after = client.get(f"{address}&since={before['last']}").json()
    assert after["digest"] != before["digest"]
    assert after["told"][0] == "Dev Castellane: R-5 given to Rosa Quillfeather"
    mine = desk(work.dispatcher).get(f"{address}&since={before['last']}").json()
    assert mine["told"] == []
    assert client.get(address).json()["digest"] == after["digest"]


def test_views_are_ones_own(work: DispatchWork, desk: At, owner: Person) -> None:
    client = desk(work.dispatcher)
    kept = {"name": "Cold ones", "search": "warm", "show": "open", "day": work.day.isoformat()}
    client.post("/board/views/", kept)
    view = BoardView.objects.get()
    assert view.query == f"search=warm&show=open&day={work.day}"
    assert "Cold ones" in client.get("/board/").content.decode()
    other = desk(owner)
    assert "Cold ones" not in other.get("/board/").content.decode()
    assert other.post(f"/board/views/{view.pk}/remove/").status_code == 404
    client.post(f"/board/views/{view.pk}/remove/")
    assert not BoardView.objects.exists()


def test_queries_do_not_grow_with_tickets_or_stops(
    work: DispatchWork, desk: At, world: World
) -> None:
    client = desk(work.dispatcher)
    address = f"/board/?day={work.day}&show=open"
    ticket = work.ticket(work.machines[4])
    asked = []
    for more in (0, 6):
        for machine in spread(world, work, more):
            work.assign(work.ticket(machine), work.runs[0])
        for where in (address, f"{address}&ticket={ticket.pk}"):
            client.get(where)
            with CaptureQueriesContext(connection) as counted:
                client.get(where)
            asked.append(len(counted))
    assert asked[0] == asked[2] <= 28
    assert asked[1] == asked[3] <= 60
