"""Who reported a fault is forgotten after a set time; the fault is not."""

from decimal import Decimal

import pytest

from service.tickets.actions import attachments, forgetting, refunds
from service.tickets.models import Attachment, Refund
from service.tickets.tasks import forget_old_contacts
from tests.service.tickets.test_attachments import picture
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db
LATER = clock(12, days=91)


def test_a_customer_is_forgotten_ninety_days_after_the_end(tickets: TicketWork) -> None:
    row = tickets.ticket(
        source="public",
        actor=None,
        said="It kept 2 dollars. Ring (555) 010-0100 or write to me@example.org, column 3!",
        contact_name="R. Example",
        contact_reach="555 010 0100",
    )
    refund = refunds.ask(ticket=row, amount=Decimal(2), method="phone", actor=None, now=clock(9, 1))
    refunds.pay(refund=refund, actor=tickets.dispatcher, now=clock(9, 30))
    theirs = attachments.add(ticket=row, name="a", raw=picture(), actor=None, now=clock(9, 2))
    ours = attachments.add(
        ticket=row, name="b", raw=picture("PNG"), actor=tickets.driver, now=clock(10)
    )
    tickets.close(row)
    assert forgetting.forget_contacts(now=clock(12, days=89)) == 0
    assert forgetting.forget_contacts(now=LATER) == 1
    row = tickets.fresh(row)
    assert (row.contact_name, row.contact_reach, row.contact_forgotten_at) == ("", "", LATER)
    assert row.said == "It kept 2 dollars. Ring [forgotten] or write to [forgotten] column 3!"
    assert Refund.objects.get().contact_digest == ""
    assert list(Attachment.objects.all()) == [ours]
    assert theirs.pk != ours.pk
    assert row.work.cause.code == "drop_sensor"
    assert tickets.verbs(row)[-1] == "forget"
    assert forgetting.forget_contacts(now=LATER) == 0, "once is enough"


def test_what_is_open_or_still_to_be_paid_is_kept(tickets: TicketWork) -> None:
    tickets.ticket(contact_reach="555 010 0100")
    unpaid = tickets.ticket("coins", contact_reach="555 010 0100")
    refunds.ask(ticket=unpaid, amount=Decimal(2), method="post", actor=None, now=clock(9, 30))
    tickets.close(unpaid)
    assert forgetting.forget_contacts(now=LATER) == 0


def test_a_fault_without_a_customer_has_nobody_to_forget(tickets: TicketWork) -> None:
    tickets.closed()
    assert forgetting.forget_contacts(now=LATER) == 0


def test_the_nightly_task_forgets(tickets: TicketWork) -> None:
    tickets.close(tickets.ticket(contact_reach="a@example.org"))
    assert forget_old_contacts() == 1
