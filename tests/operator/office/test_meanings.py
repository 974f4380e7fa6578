"""What event codes mean, said in the operator's own words."""

from collections.abc import Callable

import pytest
from django.test import Client

from fleet.sales.models import EventMeaning
from people.models import Person
from tests.typed import typed

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]


def test_a_meaning_is_said_in_other_words(dispatcher: Person, driver: Person, desk: Desk) -> None:
    meaning = EventMeaning.objects.order_by("pk").first()
    assert meaning is not None
    address = f"/events/{meaning.pk}/"
    given = {
        "about": meaning.about,
        "words": "Coin stuck: clear the acceptor",
        "urgency": "soon",
        "job": meaning.job,
        "shown": typed(desk(dispatcher), address)["shown"],
    }
    assert desk(driver).post(address, given).status_code == 403
    empty = desk(dispatcher).post(address, {**given, "words": ""})
    assert empty.status_code == 422
    said = desk(dispatcher).post(address, given, follow=True)
    assert b"kept" in said.content
    meaning.refresh_from_db()
    assert (meaning.words, meaning.urgency) == ("Coin stuck: clear the acceptor", "soon")
