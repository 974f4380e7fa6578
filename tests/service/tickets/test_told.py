"""Acts on tickets that are told late, twice, under a foreign key, or by a clock that is off."""

from datetime import datetime, timedelta
from io import BytesIO
from typing import Any

import pytest
from PIL import Image

from fleet.machines.models import Machine
from people.errors import NotAllowed, Unacceptable
from people.models import Person
from people.told import KeyReused, Sent
from service.tickets.actions import moves, reporting, told
from service.tickets.models import Cause, Symptom, Ticket, TicketAct
from tests.cast import NOW

pytestmark = pytest.mark.django_db


def picture(colour: str = "red") -> bytes:
    out = BytesIO()
    Image.new("RGB", (40, 30), colour).save(out, "JPEG")
    return out.getvalue()


@pytest.fixture
def ticket(lobby: Machine, dispatcher: Person, driver: Person) -> Ticket:
    made = reporting.report(
        machine=lobby,
        symptom=Symptom.objects.get(code="coins"),
        source="host",
        actor=dispatcher,
        now=NOW,
    ).ticket
    return moves.give(ticket=made, to=driver, actor=dispatcher, now=NOW)


def sent(key: str, minutes: int) -> Sent:
    return Sent(key, NOW + timedelta(minutes=minutes))


def closed(ticket: Ticket, key: str, driver: Person, after: int, **more: Any) -> told.Answer:
    given: dict[str, Any] = {"cause": Cause.objects.get(code="coin_path"), "work": "", "minutes": 9}
    return told.close(
        ticket=ticket,
        sent=sent(key, after),
        actor=driver,
        now=NOW + timedelta(hours=5),
        **(given | more),
    )


def test_an_act_counts_once_and_from_its_own_moment(ticket: Ticket, driver: Person) -> None:
    late: datetime = NOW + timedelta(hours=5)
    begun = told.on_site(ticket=ticket, sent=sent("a", 30), actor=driver, now=late)
    done = closed(ticket, "b", driver, 45, photos=[told.Photo("a.jpg", picture())])
    again = closed(ticket, "b", driver, 45, photos=[told.Photo("a.jpg", picture())])
    assert (begun.replayed, done.replayed, again.replayed) == (False, False, True)
    assert again.result == done.result
    row = Ticket.objects.get(pk=ticket.pk)
    assert (row.state, row.on_site_at) == ("closed", NOW + timedelta(minutes=30))
    assert row.closed_at == NOW + timedelta(minutes=45)
    assert row.attachments.count() == 1
    assert TicketAct.objects.count() == 2
    assert done.result["ticket"]["state"] == "closed"


def test_a_key_is_of_one_act_and_a_refused_one_is_free_again(
    ticket: Ticket, driver: Person
) -> None:
    with pytest.raises(Unacceptable):
        closed(ticket, "a", driver, 45, minutes=-1)
    assert not TicketAct.objects.exists()
    told.note(ticket=ticket, said="Door sticks.", sent=sent("a", 5), actor=driver, now=NOW)
    with pytest.raises(KeyReused):
        told.note(ticket=ticket, said="Other words.", sent=sent("a", 5), actor=driver, now=NOW)
    with pytest.raises(Unacceptable):
        told.take(ticket=ticket, sent=sent("", 5), actor=driver, now=NOW)


def test_a_picture_that_is_none_leaves_the_ticket_open(ticket: Ticket, driver: Person) -> None:
    with pytest.raises(Unacceptable):
        closed(ticket, "a", driver, 45, photos=[told.Photo("a.jpg", b"no picture")])
    row = Ticket.objects.get(pk=ticket.pk)
    assert row.is_open
    assert not hasattr(row, "work")


def test_a_slow_clock_is_told_and_stands_in_nobodys_way(ticket: Ticket, driver: Person) -> None:
    slow = Sent("a", NOW - timedelta(hours=2), NOW - timedelta(hours=2))
    answer = told.on_site(ticket=ticket, sent=slow, actor=driver, now=NOW)
    assert [one["code"] for one in answer.result["flags"]] == ["clock_off"]
    assert answer.act.clock_off_s == -7200
    assert Ticket.objects.get(pk=ticket.pk).on_site_at == ticket.reported_at


def test_a_driver_tells_of_the_own_tickets_alone(
    ticket: Ticket, other_driver: Person, driver: Person, lobby: Machine
) -> None:
    with pytest.raises(NotAllowed):
        closed(ticket, "a", other_driver, 45)
    told.take(ticket=ticket, sent=sent("b", 1), actor=driver, now=NOW)
    told.hand_back(ticket=ticket, reason="off sick", sent=sent("c", 2), actor=driver, now=NOW)
    assert Ticket.objects.get(pk=ticket.pk).given_to is None
    made = told.report(
        machine=lobby,
        symptom=Symptom.objects.get(code="dark"),
        said="Both lamps.",
        sent=sent("d", 3),
        actor=driver,
        now=NOW,
    )
    again = told.report(
        machine=lobby,
        symptom=Symptom.objects.get(code="dark"),
        said="Both lamps.",
        sent=sent("d", 3),
        actor=driver,
        now=NOW,
    )
    assert again.replayed
    assert made.act.ticket.source == "driver"
    assert Ticket.objects.filter(symptom__code="dark").count() == 1
