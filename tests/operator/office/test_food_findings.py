"""Food out of its limits, all the way: read through the API, found by it, shown, made a ticket."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from fleet.machines.models import Machine, Product
from people.models import Person
from service.compliance.models import FoodLock
from service.tickets.models import Symptom, Ticket
from service.watch.models import Finding, Look
from tests.callers import Caller
from tests.service.watch.sold import looked

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]


def test_an_excursion_becomes_a_finding_and_a_ticket(
    lobby: Machine, as_driver: Caller, desk: Desk, dispatcher: Person, driver: Person
) -> None:
    Product.objects.filter(name="Tea").update(kept_cold_or_hot=True)
    now = timezone.now()

    def read(celsius: str, ago: timedelta, key: str) -> Any:
        body = {
            "machine": lobby.pk,
            "what": "cabinet_c",
            "value": celsius,
            "unit": "°C",
            "at": (now - ago).isoformat(),
        }
        return as_driver.post("/readings", body, key=key)

    assert read("4.0", timedelta(hours=3), "a").status_code == 201
    assert not Finding.objects.exists()
    assert read("9.5", timedelta(minutes=40), "b").status_code == 201
    finding = Finding.objects.get()
    assert (finding.kind, finding.state) == (Finding.Kind.FOOD, Finding.State.OPEN)
    assert FoodLock.objects.get().finding == finding
    client = desk(dispatcher)
    listed = client.get("/watch/").content.decode()
    assert f'href="/watch/{finding.pk}/"' in listed
    assert "food too warm or not hot enough" in listed
    page = client.get(f"/watch/{finding.pk}/").content.decode()
    assert "Food out of its limits" in page
    assert "<svg" in page
    assert "Food out of its limits" in client.get(f"/fleet/{lobby.pk}/").content.decode()
    # A look of the watch over all machines ends nothing that it did not find itself.
    assert looked(timezone.now()).state == Look.State.DONE
    finding.refresh_from_db()
    assert finding.state == Finding.State.OPEN
    # Left empty, the symptom is the usual one of the kind.
    given = {"ticket-symptom": "", "ticket-urgency": "", "ticket-said": ""}
    answer = client.post(f"/watch/{finding.pk}/ticket/", given)
    assert answer.status_code == 302, answer.content
    ticket = Ticket.objects.get()
    finding.refresh_from_db()
    assert (finding.state, finding.ticket) == (Finding.State.TICKETED, ticket)
    assert (ticket.machine, ticket.symptom) == (lobby, Symptom.objects.get(code="warm"))
    assert "Food out of its limits" in client.get(f"/tickets/{ticket.pk}/").content.decode()
