"""Reports: what becomes of them, the same fault told twice, and the fault that comes back."""

from datetime import timedelta
from decimal import Decimal

import pytest

from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Person
from service.tickets.actions import moves, reporting
from service.tickets.models import Ticket
from service.tickets.models.tickets import CROCKFORD
from service.tickets.queries.duplicates import same
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db


def test_a_report_becomes_a_ticket_with_its_promise_and_its_trail(tickets: TicketWork) -> None:
    done = tickets.reported(
        column=tickets.column(),
        source=Ticket.Source.PUBLIC,
        actor=None,
        paid_how="coins",
        said="  It kept my money.  ",
        contact_name="a customer",
        contact_reach="555 0100",
        reported_at=clock(8, 40),
    )
    row = tickets.fresh(done.ticket)
    assert row.state == "new"
    assert row.urgency == row.symptom.urgency
    assert row.site is not None
    assert row.site.name == "Ferry landing"
    assert (row.reported_at, row.recorded_at) == (clock(8, 40), clock(9))
    assert row.said == "It kept my money."
    assert len(row.reference) == 8
    assert set(row.reference) <= set(CROCKFORD)
    assert row.promised_at is not None
    assert row.promised_at > row.reported_at
    assert row.promised_by
    assert tickets.verbs(row) == ["report"]
    (entry,) = AuditEntry.objects.filter(object_type="tickets.Ticket", object_id=row.pk)
    assert entry.verb == "ticket: report"
    assert entry.actor is None


def test_the_audit_trail_does_not_learn_who_the_customer_is(tickets: TicketWork) -> None:
    row = tickets.ticket(said="ring 555 0100", contact_name="R. Example", contact_reach="555 0100")
    moves.drop(ticket=row, reason="told twice", actor=tickets.dispatcher, now=clock(10))
    trail = str(list(AuditEntry.objects.values_list("before", "after")))
    assert "555 0100" not in trail
    assert "R. Example" not in trail


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"source": "rumour"}, "source"),
        ({"paid_how": "shells"}, "paid_how"),
        ({"urgency": "whenever"}, "urgency"),
        ({"priority": 7}, "priority"),
        ({"said": "x" * 2001}, "said"),
        ({"reported_at": clock(9) + timedelta(hours=1)}, "reported_at"),
    ],
)
def test_a_report_that_cannot_be_right_is_refused_by_field(
    tickets: TicketWork, wrong: dict[str, object], field: str
) -> None:
    with pytest.raises(Unacceptable) as refused:
        tickets.reported(**wrong)
    assert list(refused.value.fields) == [field]
    assert not Ticket.objects.exists()


def test_a_column_of_another_machine_is_refused(tickets: TicketWork) -> None:
    other = tickets.world.machine("LOB-2", tickets.machine.kind)
    with pytest.raises(Unacceptable, match="not a column of LOB-1"):
        tickets.reported(column=tickets.world.column(other, "1"))


def test_a_symptom_out_of_use_and_an_owner_not_at_the_desk_are_refused(
    tickets: TicketWork,
) -> None:
    symptom = tickets.symptom("dark")
    symptom.active = False
    with pytest.raises(Unacceptable, match="not in use"):
        tickets.reported(symptom=symptom)
    with pytest.raises(Unacceptable, match="not at the desk"):
        tickets.reported(owner=tickets.driver)


def test_a_machine_that_stands_nowhere_has_no_site(tickets: TicketWork) -> None:
    stored = tickets.world.machine("STO-1", tickets.machine.kind)
    row = tickets.ticket(machine=stored)
    assert row.site is None


def test_the_open_ones_on_the_same_machine_and_symptom_are_shown(tickets: TicketWork) -> None:
    whole = tickets.ticket()
    one = tickets.ticket(column=tickets.column("1"))
    tickets.ticket(column=tickets.column("2"))
    tickets.ticket("coins")
    found = same(tickets.machine, tickets.symptom(), tickets.column("1"))
    assert found == [whole, one]
    again = tickets.reported(column=tickets.column("1"))
    assert again.open_ones == (whole, one)
    assert not again.joined


def test_a_second_report_joins_the_open_one(tickets: TicketWork) -> None:
    first = tickets.ticket()
    again = tickets.reported(join=first, source=Ticket.Source.PUBLIC, actor=None, now=clock(10))
    row = tickets.fresh(again.ticket)
    assert again.joined
    assert (row.state, row.joined_to, row.closed_at) == ("joined", first, clock(10))
    assert tickets.verbs(row) == ["report", "join"]
    assert tickets.verbs(first) == ["report", "note"]


def test_those_joined_before_go_along(tickets: TicketWork) -> None:
    first, second, third = tickets.ticket(), tickets.ticket(), tickets.ticket()
    by = {"actor": tickets.dispatcher, "now": clock(10)}
    reporting.join(ticket=first, into=second, **by)
    reporting.join(ticket=second, into=third, **by)
    assert tickets.fresh(first).joined_to == third
    assert set(third.joined.all()) == {first, second}
    assert "ticket: join" in tickets.audited(first)


def test_what_cannot_be_joined(tickets: TicketWork) -> None:
    first, second = tickets.ticket(), tickets.ticket()
    other = tickets.ticket(machine=tickets.world.machine("LOB-2", tickets.machine.kind))
    by = {"actor": tickets.dispatcher, "now": clock(10)}
    with pytest.raises(Unacceptable, match="to itself"):
        reporting.join(ticket=first, into=first, **by)
    with pytest.raises(Unacceptable, match="another machine"):
        reporting.join(ticket=first, into=other, **by)
    moves.drop(ticket=second, reason="no fault", **by)
    with pytest.raises(Unacceptable, match="is dropped"):
        reporting.join(ticket=first, into=second, **by)
    on_site = moves.on_site(ticket=first, actor=tickets.driver, now=clock(10))
    with pytest.raises(Unable) as refused:
        reporting.join(ticket=on_site, into=tickets.ticket(), **by)
    assert refused.value.code == "illegal_move"


def test_the_same_fault_within_the_set_time_goes_on_from_the_first(tickets: TicketWork) -> None:
    first = tickets.closed()
    assert first.work.first_time
    again = tickets.ticket(now=clock(9, days=10))
    assert again.reopens == first
    first = tickets.fresh(first)
    assert not first.work.first_time
    assert tickets.verbs(first)[-1] == "came_back"
    tickets.close(again, now=clock(11, days=10))
    third = tickets.ticket(now=clock(9, days=20))
    assert third.reopens == first, "it is the first of them that all go on from"
    assert not tickets.fresh(again).work.first_time


def test_it_is_another_fault_later_on_another_column_or_when_none_was_found(
    tickets: TicketWork,
) -> None:
    tickets.closed()
    assert tickets.ticket(now=clock(12, days=14)).reopens is None
    assert tickets.ticket(column=tickets.column(), now=clock(9, days=1)).reopens is None
    found_nothing = tickets.ticket("coins")
    tickets.close(found_nothing, cause=tickets.cause("no_fault"))
    assert tickets.ticket("coins", now=clock(12)).reopens is None


def test_a_refund_comes_with_the_report(tickets: TicketWork) -> None:
    done = tickets.reported(refund=reporting.Wanted(Decimal("1.75"), "post"))
    assert done.refund is not None
    assert done.refund.amount == Decimal("1.75")
    assert done.ticket.version == 2
    assert tickets.verbs(done.ticket) == ["report", "refund"]


def test_what_raised_it_without_a_person_is_kept(tickets: TicketWork, owner: Person) -> None:
    because = {"finding": 7, "said": "Not one sold for 12 days where 9 were to be expected."}
    row = tickets.ticket("silent", source="watch", actor=None, because=because, owner=owner)
    assert tickets.fresh(row).because == because
    assert tickets.fresh(row).owner == owner
