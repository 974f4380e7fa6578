"""The words that the service is delivered with."""

import pytest

from service.tickets.models import Cause, ServiceSettings, Symptom, Ticket

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
