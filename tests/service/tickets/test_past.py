"""Service work of the time before is written down whole, or not at all."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleet.inventory.queries.check import check_stock
from people.errors import Unable, Unacceptable
from people.models import AuditEntry
from service.tickets.actions import past
from service.tickets.actions.closing import Part
from service.tickets.models import Refund, Ticket
from service.tickets.queries.costs import costs
from service.tickets.queries.history import machine_history
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db


def then(hour: int, *, days: int) -> Any:
    """So many days before that Monday."""
    return clock(hour, days=-days)


def one(tickets: TicketWork, days: int = 20, **more: Any) -> past.PastTicket:
    told = past.PastTicket(
        machine=tickets.machine,
        symptom=tickets.symptom(),
        source="host",
        reported_at=then(9, days=days),
        given_at=then(10, days=days),
        on_site_at=then(11, days=days),
        closed_at=then(12, days=days),
        done_by=tickets.driver,
        cause=tickets.cause(),
        minutes=30,
        work="cleaned it",
    )
    return replace(told, **more)


def write(tickets: TicketWork, *told: past.PastTicket) -> list[Ticket]:
    return past.write_down(tickets=told, actor=tickets.owner, now=clock(9))


def test_it_stands_like_any_other_closed_ticket(tickets: TicketWork) -> None:
    (row,) = write(tickets, one(tickets))
    row = tickets.fresh(row)
    assert (row.state, row.given_to, row.closed_at) == (
        "closed",
        tickets.driver,
        then(12, days=20),
    )
    assert row.site is not None
    assert (row.work.labour_cost, row.work.first_time) == (Decimal("14.00"), True)
    assert [(e.verb, e.at) for e in row.events.all()] == [
        ("report", then(9, days=20)),
        ("give", then(10, days=20)),
        ("on_site", then(11, days=20)),
        ("close", then(12, days=20)),
    ]
    assert tickets.audited(row) == ["write down ticket"]


def test_parts_and_refunds_come_along(tickets: TicketWork) -> None:
    paid = past.PastRefund(Decimal("1.75"), "cash", then(13, days=0), tickets.dispatcher)
    (row,) = write(
        tickets,
        one(
            tickets,
            reported_at=clock(5),
            given_at=None,
            on_site_at=None,
            closed_at=clock(8),
            parts=[Part(tickets.sensor, 2)],
            place=tickets.truck,
            refund=replace(paid, paid_at=clock(8)),
        ),
    )
    assert tickets.held(tickets.sensor) == 3
    assert row.work.parts.get().movement.reason == "part"
    assert (row.work.parts_cost, Refund.objects.get().state) == (Decimal("36.80"), "paid")
    assert not check_stock().faults


def test_what_came_back_goes_on_from_the_first_whatever_the_order_told(
    tickets: TicketWork,
) -> None:
    third, first, second, later = write(
        tickets,
        one(tickets, 60),
        one(tickets, 80),
        one(tickets, 70),
        one(tickets, 20),
    )
    assert (first.reopens, second.reopens_id, third.reopens_id) == (None, first.pk, first.pk)
    assert later.reopens_id is None
    mended = {row.pk: row.work.first_time for row in Ticket.objects.select_related("work")}
    assert mended == {first.pk: False, second.pk: False, third.pk: False, later.pk: True}
    repeat = {p.ticket.pk: p.repeat_of for p in machine_history(tickets.machine)}
    assert repeat[second.pk] == first


def test_many_are_written_in_a_few_statements(
    tickets: TicketWork, django_assert_max_num_queries: Any
) -> None:
    told = [one(tickets, days) for days in range(1, 90)]
    with django_assert_max_num_queries(30):
        write(tickets, *told)
    assert Ticket.objects.count() == 89
    assert sum(month.tickets for month in costs()) == 89


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"closed_at": then(8, days=20)}, "closed_at"),
        ({"closed_at": clock(9) + timedelta(hours=1)}, "closed_at"),
        ({"source": "rumour"}, "source"),
        ({"minutes": -5}, "minutes"),
        ({"test_vends_passed": 1}, "test_vends_passed"),
    ],
)
def test_what_cannot_be_is_refused_by_its_number(
    tickets: TicketWork, wrong: dict[str, Any], field: str
) -> None:
    with pytest.raises(Unacceptable) as refused:
        write(tickets, one(tickets), one(tickets, **wrong))
    assert list(refused.value.fields) == [f"tickets.1.{field}"]
    assert not Ticket.objects.exists()


def test_parts_that_nobody_had_are_refused(tickets: TicketWork) -> None:
    told = one(tickets, 0, parts=[Part(tickets.sensor, 9)], place=tickets.truck)
    told = replace(told, reported_at=clock(5), given_at=None, on_site_at=None, closed_at=clock(8))
    with pytest.raises(Unacceptable, match="say from which"):
        write(tickets, replace(told, place=None))
    with pytest.raises(Unable) as refused:
        write(tickets, told)
    assert refused.value.code == "not_enough"
    assert not Ticket.objects.exists()
    assert not AuditEntry.objects.filter(verb="write down ticket").exists()
