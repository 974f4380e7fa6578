"""Who sees what, what came back, and what it cost."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from people.errors import NotAllowed, NotFound, Unacceptable
from people.models import Person
from service.tickets.actions import attachments, changes, closing, moves, refunds, words
from service.tickets.models import Ticket
from service.tickets.queries import gates
from service.tickets.queries.costs import costs
from service.tickets.queries.history import machine_history, repeats_of
from tests.cast import Cast
from tests.service.tickets.test_attachments import picture
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db


def test_who_sees_which_tickets(tickets: TicketWork, cast: Cast) -> None:
    nobodys = tickets.ticket("coins")
    mine = tickets.given()
    theirs = moves.give(
        ticket=tickets.ticket("notes"),
        to=cast.other_driver,
        actor=tickets.dispatcher,
        now=clock(10),
    )
    tickets.close(theirs, actor=cast.other_driver)
    every = {nobodys, mine, theirs}
    for person in (cast.owner, cast.dispatcher, cast.accountant):
        assert set(gates.tickets_seen_by(person)) == every
    assert set(gates.tickets_seen_by(cast.driver)) == {nobodys, mine}
    assert set(gates.tickets_seen_by(cast.other_driver)) == {nobodys, theirs}
    assert not gates.tickets_seen_by(cast.no_role)
    with pytest.raises(NotFound):
        gates.ticket_for(cast.driver, theirs.pk)
    with pytest.raises(NotAllowed):
        gates.ticket_for(cast.accountant, mine.pk, write=True)
    assert gates.ticket_for(cast.driver, mine.pk, write=True) == mine


def test_a_driver_adds_nothing_to_what_is_anothers(tickets: TicketWork, cast: Cast) -> None:
    theirs = moves.give(
        ticket=tickets.ticket(), to=cast.other_driver, actor=tickets.dispatcher, now=clock(10)
    )
    by: dict[str, Any] = {"ticket": theirs, "actor": cast.driver, "now": clock(11)}
    for act in (
        lambda: changes.note(said="x", **by),
        lambda: attachments.add(name="x", raw=picture(), **by),
        lambda: refunds.ask(amount=Decimal(1), method="cash", **by),
    ):
        with pytest.raises(NotAllowed, match="not given to you"):
            act()


def test_who_knows_the_customer(tickets: TicketWork, cast: Cast) -> None:
    row = tickets.given(contact_reach="555 010 0100")
    assert gates.sees_contact(cast.owner, row)
    assert gates.sees_contact(cast.dispatcher, row)
    assert gates.sees_contact(cast.driver, row)
    assert not gates.sees_contact(cast.other_driver, row)
    assert not gates.sees_contact(cast.accountant, row)


def test_a_reference_is_found_however_it_is_typed(tickets: TicketWork) -> None:
    row = tickets.ticket()
    Ticket.objects.filter(pk=row.pk).update(reference="0A1B2C3D")
    assert gates.ticket_by_reference(" oa1b-2c3d ") == row
    assert gates.ticket_by_reference("0AIB2C3D") == row
    with pytest.raises(NotFound):
        gates.ticket_by_reference("0A1B2C3E")


def test_the_lists_are_the_desks_to_keep(tickets: TicketWork, cast: Cast) -> None:
    symptom = tickets.symptom()
    assert gates.symptom_for(cast.driver, symptom.pk) == symptom
    with pytest.raises(NotAllowed):
        gates.symptom_for(cast.driver, symptom.pk, write=True)
    with pytest.raises(NotFound):
        gates.symptom_for(cast.no_role, symptom.pk)
    with pytest.raises(NotAllowed):
        gates.settings_for(cast.dispatcher, write=True)
    added = words.save_symptom(
        changes={"code": "rattles", "words": "rattles", "urgency": "when_there"},
        actor=tickets.dispatcher,
        now=clock(9),
    )
    words.save_symptom(
        symptom=added,
        changes={"code": "hums", "words": "rattles or hums"},
        actor=tickets.dispatcher,
        now=clock(9),
    )
    added.refresh_from_db()
    assert (added.code, added.words) == ("rattles", "rattles or hums"), "its code stays"
    assert tickets.audited(added) == ["add symptom", "change symptom"]
    with pytest.raises(Unacceptable) as refused:
        words.save_cause(
            changes={"code": "Bad Code", "words": "x"}, actor=tickets.owner, now=clock(9)
        )
    assert list(refused.value.fields) == ["code"]
    with pytest.raises(Unacceptable) as refused:
        words.save_settings(changes={"keep_contact_days": 7}, actor=tickets.owner, now=clock(9))
    assert list(refused.value.fields) == ["keep_contact_days"]


def test_repeats_are_the_same_symptom_at_the_same_place_within_sixty_days(
    tickets: TicketWork,
) -> None:
    column = tickets.column("1")
    first = tickets.closed(column=column)
    other_place = tickets.ticket(column=tickets.column("2"), now=clock(9, days=20))
    other_fault = tickets.ticket("coins", now=clock(9, days=20))
    second = tickets.closed(column=column, at=clock(11, days=40))
    third = tickets.ticket(column=column, now=clock(9, days=101))
    joined = tickets.reported(column=column, now=clock(10, days=101), join=third).ticket
    past = {one.ticket: one.repeat_of for one in machine_history(tickets.machine)}
    assert list(past) == [joined, third, second, other_fault, other_place, first]
    assert past[second] == first
    assert past[third] is None, "sixty days and more after the second was closed"
    assert past[joined] is None, "the same fault told twice is no repeat"
    assert past[other_place] is None
    assert past[other_fault] is None
    assert repeats_of([tickets.fresh(second)]) == {second.pk: first}


def test_while_the_first_is_open_it_repeats_too(tickets: TicketWork) -> None:
    first = tickets.ticket(now=clock(9))
    again = tickets.ticket(now=clock(9, days=80))
    assert repeats_of([again]) == {again.pk: first}
    assert repeats_of([]) == {}


def test_costs_go_to_the_machine_and_month(tickets: TicketWork, other_driver: Person) -> None:
    part = {"parts": [closing.Part(tickets.sensor, 1)], "place": tickets.truck}
    tickets.close(tickets.given(), minutes=60, **part)
    tickets.close(tickets.ticket("coins"), minutes=30, actor=other_driver)
    belt = {"parts": [closing.Part(tickets.belt, 1)], "place": tickets.truck}
    tickets.close(tickets.ticket("notes", now=clock(9, days=30)), now=clock(10, days=30), **belt)
    march, april = costs(machines=[tickets.machine])
    assert (march.machine, march.month, march.tickets, march.minutes) == (
        tickets.machine.pk,
        date(2026, 3, 1),
        2,
        90,
    )
    assert (march.labour, march.parts) == (Decimal("42.00"), Decimal("18.40"))
    assert march.total == Decimal("60.40")
    assert (march.parts_without_cost, april.parts_without_cost) == (0, 1)
    assert costs(since=clock(0, days=10), until=clock(0, days=20)) == []
