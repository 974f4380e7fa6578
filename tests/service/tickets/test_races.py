"""Two at once on a real database: one ticket, two who take it, close it, or pay for it."""

from decimal import Decimal
from typing import Any

import pytest

from fleet.inventory.queries.check import check_stock
from people.errors import Unable
from people.models import Person
from service.tickets.actions import closing, moves, refunds, reporting
from service.tickets.models import Refund, Ticket, TicketEvent, WorkDone
from tests.races import at_once
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db(transaction=True)


def refusals(found: list[object]) -> list[str]:
    return [one.code for one in found if isinstance(one, Unable)]


def test_two_drivers_take_one_ticket(tickets: TicketWork, other_driver: Person) -> None:
    row = tickets.ticket()

    def take(who: Person) -> Any:
        return lambda: moves.take(ticket=row, actor=who, now=clock(10))

    found = at_once(take(tickets.driver), take(other_driver))
    assert refusals(found) == ["given_to_another"]
    (taken,) = (one for one in found if isinstance(one, Ticket))
    assert tickets.fresh(row).given_to == taken.given_to
    assert tickets.verbs(row) == ["report", "take"]


def test_two_close_at_once_and_the_parts_go_once(tickets: TicketWork, other_driver: Person) -> None:
    row = tickets.ticket()

    def close(who: Person) -> Any:
        parts = [closing.Part(tickets.sensor, 2)]
        return lambda: tickets.close(row, actor=who, parts=parts, place=tickets.truck)

    found = at_once(close(tickets.driver), close(other_driver))
    assert refusals(found) == ["illegal_move"]
    assert WorkDone.objects.filter(ticket=row).count() == 1
    assert tickets.held(tickets.sensor) == 3
    assert tickets.verbs(row).count("close") == 1
    assert not check_stock().faults


def test_two_dispatchers_move_one_card(tickets: TicketWork, other_driver: Person) -> None:
    row = tickets.ticket()

    def give(to: Person, by: Person) -> Any:
        return lambda: moves.give(
            ticket=row, to=to, actor=by, now=clock(10), seen_version=row.version
        )

    found = at_once(give(tickets.driver, tickets.dispatcher), give(other_driver, tickets.owner))
    assert refusals(found) == ["changed_meanwhile"]
    assert TicketEvent.objects.filter(ticket=row, verb="give").count() == 1


def test_two_open_the_same_fault_again(tickets: TicketWork) -> None:
    row = tickets.closed()

    def again() -> Any:
        return moves.reopen(ticket=row, reason="again", actor=tickets.dispatcher, now=clock(12))

    assert refusals(at_once(again, again)) == ["opened_again"]
    assert Ticket.objects.filter(reopens=row).count() == 1


def test_two_join_each_to_the_other(tickets: TicketWork) -> None:
    first, second = tickets.ticket(), tickets.ticket()

    def join(ticket: Ticket, into: Ticket) -> Any:
        return lambda: reporting.join(
            ticket=ticket, into=into, actor=tickets.dispatcher, now=clock(10)
        )

    found = at_once(join(first, second), join(second, first))
    assert len(refusals(found)) == 1
    assert sorted(Ticket.objects.values_list("state", flat=True)) == ["joined", "new"]


def test_two_pay_at_once_what_the_limit_allows_once(tickets: TicketWork) -> None:
    asked = [
        refunds.ask(
            ticket=tickets.ticket(contact_reach="555 010 0100"),
            amount=Decimal(8),
            method="cash",
            actor=tickets.dispatcher,
            now=clock(9, 30),
        )
        for _ in range(2)
    ]

    def pay(refund: Refund) -> Any:
        return lambda: refunds.pay(refund=refund, actor=tickets.dispatcher, now=clock(10))

    assert refusals(at_once(*(pay(one) for one in asked))) == ["over_limit"]
    assert Refund.objects.filter(state="paid").count() == 1
