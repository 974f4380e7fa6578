"""Money back, and the limits against abuse."""

from decimal import Decimal
from typing import Any

import pytest

from fleet.sales.actions.floats import move_float
from fleet.sales.models import HostFloatLine
from fleet.sales.queries.floats import float_of
from people.errors import Unable, Unacceptable
from service.tickets.actions import refunds, words
from service.tickets.models import Refund
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db


def ask(tickets: TicketWork, amount: str = "1.75", **more: Any) -> Refund:
    method = more.pop("method", "post")
    ticket = more.pop("ticket", None) or tickets.ticket("nothing_came", **more)
    return refunds.ask(
        ticket=ticket,
        amount=Decimal(amount),
        method=method,
        actor=tickets.dispatcher,
        now=more.get("now", clock(9, 30)),
    )


def pay(tickets: TicketWork, refund: Refund, **more: Any) -> Refund:
    given: dict[str, Any] = {"refund": refund, "actor": tickets.dispatcher, "now": clock(10)}
    return refunds.pay(**(given | more))


def test_asked_and_paid(tickets: TicketWork) -> None:
    refund = ask(tickets)
    assert (refund.state, refund.asked_by) == ("asked", tickets.dispatcher)
    paid = pay(tickets, refund, paid_out_by="the host's desk")
    assert (paid.state, paid.ended_at, paid.ended_by) == ("paid", clock(10), tickets.dispatcher)
    assert paid.paid_out_by == "the host's desk"
    said = list(refund.ticket.events.filter(verb="refund").values_list("said", flat=True))
    assert said == ["of $1.75 asked for, by post", "of $1.75 paid"]
    assert tickets.audited(refund) == ["ask for refund", "pay refund"]


def test_cash_comes_out_of_the_hosts_float_where_there_is_one(tickets: TicketWork) -> None:
    refund = ask(tickets, method="cash")
    pay(tickets, refund)
    assert not HostFloatLine.objects.exists(), "this host keeps no float"
    again = ask(tickets, method="cash")
    site = again.ticket.site
    assert site is not None
    given: dict[str, Any] = {"actor": tickets.dispatcher, "now": clock(9), "at": clock(9)}
    move_float(site=site, what="put_in", amount=Decimal(20), **given)
    pay(tickets, again)
    line = HostFloatLine.objects.get(what="refund")
    assert (line.amount, line.reference) == (
        Decimal("-1.75"),
        f"refund of {again.ticket.reference}",
    )
    assert float_of(site) == Decimal("18.25")


def test_refused_with_a_reason(tickets: TicketWork) -> None:
    refund = ask(tickets)
    by: dict[str, Any] = {"refund": refund, "actor": tickets.dispatcher, "now": clock(10)}
    with pytest.raises(Unacceptable, match="say why"):
        refunds.refuse(reason="", **by)
    assert refunds.refuse(reason="the meter shows the sale", **by).state == "refused"
    for again in (lambda: refunds.refuse(reason="x", **by), lambda: pay(tickets, refund)):
        with pytest.raises(Unable) as refused:
            again()
        assert refused.value.code == "refund_ended"
        assert "refused by Dev Castellane at 2026-03-02 10:00" in str(refused.value)


@pytest.mark.parametrize("amount", ["0", "-1", "1000.01", "1.755", "NaN", "Infinity"])
def test_amounts_that_are_none(tickets: TicketWork, amount: str) -> None:
    with pytest.raises(Unacceptable) as refused:
        ask(tickets, amount)
    assert list(refused.value.fields) == ["amount"]
    assert not Refund.objects.exists()


def test_nothing_paid_is_nothing_back(tickets: TicketWork) -> None:
    with pytest.raises(Unacceptable, match="nothing was paid"):
        ask(tickets, paid_how="free")


def test_an_unknown_way_is_refused(tickets: TicketWork) -> None:
    with pytest.raises(Unacceptable) as refused:
        refunds.ask(
            ticket=tickets.ticket(),
            amount=Decimal(1),
            method="shells",
            actor=None,
            now=clock(10),
        )
    assert list(refused.value.fields) == ["method"]


def test_the_same_contact_is_known_again_however_it_is_written() -> None:
    same = refunds.contact_digest
    assert same("555 010-0100") == same("(555) 0100100")
    assert same("A.Customer@example.org") == same(" a.customer@example.org ")
    assert same("a@example.org") != same("b@example.org")
    assert same("  ") == ""
    assert "555" not in same("555 010 0100") or len(same("555 010 0100")) == 64


def test_beyond_a_contacts_limit_the_owner_decides(tickets: TicketWork) -> None:
    reach = "555 010 0100"
    for _ in range(3):
        assert ask(tickets, contact_reach=reach).over_limit == ""
    fourth = ask(tickets, contact_reach=reach)
    assert fourth.over_limit == "number 4 to this contact in 30 days, 3 is the limit"
    for refund in Refund.objects.exclude(pk=fourth.pk):
        pay(tickets, refund)
    with pytest.raises(Unable) as refused:
        pay(tickets, fourth)
    assert refused.value.code == "over_limit"
    with pytest.raises(Unacceptable, match="say why"):
        pay(tickets, fourth, actor=tickets.owner)
    assert pay(tickets, fourth, actor=tickets.owner, reason="the machine is at fault").state == (
        "paid"
    )


def test_limits_count_amounts_too_and_forget_after_thirty_days(tickets: TicketWork) -> None:
    reach = "a@example.org"
    pay(tickets, ask(tickets, "14", contact_reach=reach))
    over = ask(tickets, "2", contact_reach=reach)
    assert over.over_limit == "$16.00 to this contact in 30 days, $15.00 is the limit"
    assert pay(tickets, over, now=clock(11, days=30)).over_limit == over.over_limit
    later = ask(tickets, "13", contact_reach=reach, now=clock(12, days=61))
    assert later.over_limit == ""


def test_a_machine_has_a_limit_of_its_own(tickets: TicketWork) -> None:
    words.save_settings(changes={"refund_times_machine": 1}, actor=tickets.owner, now=clock(8))
    ask(tickets)
    assert "at this machine" in ask(tickets).over_limit


def test_one_that_was_refused_counts_for_nothing(tickets: TicketWork) -> None:
    refund = ask(tickets, "15", contact_reach="a@example.org")
    refunds.refuse(refund=refund, reason="no sale", actor=tickets.owner, now=clock(10))
    assert ask(tickets, "15", contact_reach="a@example.org").over_limit == ""
