"""The words that the service is delivered with."""

import pytest
from django.db import IntegrityError, transaction

from service.tickets.models import Cause, ServiceSettings, Symptom, Ticket, TicketEvent
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db


def test_a_new_service_knows_the_symptoms_and_causes_of_the_trade() -> None:
    words = set(Symptom.objects.values_list("words", flat=True))
    assert {
        "took money, gave nothing",
        "two for one",
        "sold out while full",
        "wrong product",
        "coins",
        "notes",
        "cards",
        "warm",
        "leak",
        "door or lock",
        "damage",
        "dark",
        "falls out with the door",
    } <= words
    assert Cause.objects.filter(nothing_wrong=True, code="no_fault").exists()
    assert ServiceSettings.the().reopen_days == 14


def test_whoever_is_sent_to_dangerous_work_is_told_what_to_mind() -> None:
    cautions = dict(Symptom.objects.values_list("code", "cautions"))
    assert "licensed technicians" in cautions["warm"]
    assert "nplug" in cautions["coins"]
    assert "two people" in cautions["door_lock"]


def test_every_urgency_of_a_symptom_is_known() -> None:
    assert set(Symptom.objects.values_list("urgency", flat=True)) <= set(Ticket.Urgency.values)


def test_a_timeline_is_never_changed_or_deleted(tickets: TicketWork) -> None:
    tickets.ticket()
    events = TicketEvent.objects.all()
    for wrong in (lambda: events.update(said="otherwise"), events.delete):
        with pytest.raises(IntegrityError, match="never changed or deleted"), transaction.atomic():
            wrong()
    assert events.count() == 1


@pytest.mark.parametrize(
    "half",
    [
        {"state": "closed"},
        {"state": "given"},
        {"state": "waiting"},
        {"state": "joined", "closed_at": clock(10)},
        {"closed_at": clock(10)},
        {"priority": 3},
    ],
)
def test_the_database_keeps_no_ticket_that_is_half_one_thing(
    tickets: TicketWork, half: dict[str, object]
) -> None:
    row = tickets.ticket()
    with pytest.raises(IntegrityError), transaction.atomic():
        Ticket.objects.filter(pk=row.pk).update(**half)
