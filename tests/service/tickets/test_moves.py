"""Who goes, who is there, what it waits for, and how a ticket ends without work."""

from datetime import timedelta
from typing import Any

import pytest

from people.errors import NotAllowed, Unable, Unacceptable
from people.models import Notice, Person
from service.tickets.actions import changes, moves
from service.tickets.models import Ticket
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db


def code_of(call: Any, **given: Any) -> str:
    with pytest.raises(Unable) as refused:
        call(**given)
    return refused.value.code


def test_a_ticket_goes_its_way(tickets: TicketWork) -> None:
    row = tickets.ticket()
    desk, there = {"actor": tickets.dispatcher}, {"actor": tickets.driver}
    moves.give(ticket=row, to=tickets.driver, now=clock(9, 5), **desk)
    row = moves.take(ticket=row, now=clock(9, 10), **there)
    assert (row.state, row.given_to, row.taken_at) == ("given", tickets.driver, clock(9, 10))
    row = moves.on_site(ticket=row, now=clock(10), **there)
    assert (row.state, row.on_site_at) == ("on_site", clock(10))
    row = moves.wait(ticket=row, reason="a new motor is ordered", now=clock(11), **there)
    assert (row.state, row.waiting_for) == ("waiting", "a new motor is ordered")
    row = moves.resume(ticket=row, now=clock(13), **desk)
    assert (row.state, row.paused_at, row.waiting_for) == ("given", None, "")
    tickets.close(row, now=clock(14))
    row = tickets.fresh(row)
    assert row.state == "closed"
    told = ["report", "give", "take", "on_site", "wait", "resume", "close"]
    assert tickets.verbs(row) == told
    assert row.version == len(told)
    assert tickets.audited(row) == [f"ticket: {verb.replace('_', ' ')}" for verb in told]


def test_who_is_given_a_ticket_is_told_once(tickets: TicketWork, other_driver: Person) -> None:
    row = tickets.ticket()
    desk = tickets.dispatcher
    moves.give(ticket=row, to=tickets.driver, actor=desk, now=clock(9, 5))
    moves.give(ticket=row, to=tickets.driver, actor=desk, now=clock(9, 6))
    told = Notice.objects.get(person=tickets.driver)
    assert told.address == f"/road/tickets/{row.pk}/"
    assert str(row.machine) in told.subject
    assert row.reference in told.text
    moves.give(ticket=row, to=other_driver, actor=desk, now=clock(9, 10))
    moves.give(ticket=row, to=tickets.driver, actor=desk, now=clock(9, 15))
    assert Notice.objects.filter(person=tickets.driver).count() == 2
    assert Notice.objects.filter(person=other_driver).count() == 1


def test_who_takes_a_ticket_is_not_told(tickets: TicketWork) -> None:
    desk = tickets.dispatcher
    moves.take(ticket=tickets.ticket(), actor=tickets.driver, now=clock(9, 5))
    moves.give(ticket=tickets.ticket(), to=desk, actor=desk, now=clock(9, 10))
    assert not Notice.objects.exists()


def test_the_clock_stands_while_it_waits(tickets: TicketWork) -> None:
    """The default hours are open at eleven and at two on a Monday: three working hours."""
    row = tickets.ticket()
    promised = row.promised_at
    assert promised is not None
    moves.wait(ticket=row, reason="no key", actor=tickets.dispatcher, now=clock(11))
    row = moves.resume(ticket=row, actor=tickets.dispatcher, now=clock(14))
    assert row.paused_minutes == 180
    assert row.promised_at is not None
    assert row.promised_at >= promised + timedelta(minutes=180)


def test_giving_is_to_somebody_who_goes(tickets: TicketWork, accountant: Person) -> None:
    row = tickets.ticket()
    with pytest.raises(Unacceptable, match="goes to no machines"):
        moves.give(ticket=row, to=accountant, actor=tickets.dispatcher, now=clock(10))


def test_it_may_be_given_to_another(tickets: TicketWork, other_driver: Person) -> None:
    row = tickets.given()
    moves.take(ticket=row, actor=tickets.driver, now=clock(9, 10))
    row = moves.give(ticket=row, to=other_driver, actor=tickets.dispatcher, now=clock(9, 20))
    assert (row.given_to, row.taken_at) == (other_driver, None)
    same = moves.give(ticket=row, to=other_driver, actor=tickets.dispatcher, now=clock(9, 30))
    assert same.version == row.version, "given to the same one once more, nothing happens"
    again = {"ticket": row, "actor": tickets.driver, "now": clock(9, 40)}
    assert code_of(moves.take, **again) == "given_to_another"
    assert code_of(moves.on_site, **again) == "given_to_another"


def test_what_a_driver_takes_is_theirs_and_taken_once(tickets: TicketWork) -> None:
    row = moves.take(ticket=tickets.ticket(), actor=tickets.driver, now=clock(10), at=clock(9, 30))
    assert (row.given_to, row.taken_at) == (tickets.driver, clock(9, 30))
    again = moves.take(ticket=row, actor=tickets.driver, now=clock(11))
    assert (again.version, again.taken_at) == (row.version, clock(9, 30))


def test_handing_back_says_why_and_frees_it(tickets: TicketWork, other_driver: Person) -> None:
    row = tickets.given()
    with pytest.raises(Unacceptable, match="say why"):
        moves.hand_back(ticket=row, reason=" ", actor=tickets.driver, now=clock(10))
    with pytest.raises(NotAllowed, match="not given to you"):
        moves.hand_back(ticket=row, reason="far", actor=other_driver, now=clock(10))
    row = moves.hand_back(ticket=row, reason="no time", actor=tickets.driver, now=clock(10))
    assert (row.state, row.given_to) == ("new", None)
    assert row.events.get(verb="hand_back").said == "no time"


def test_a_waiting_one_can_change_hands_and_goes_on_waiting(tickets: TicketWork) -> None:
    by = {"actor": tickets.dispatcher, "now": clock(10)}
    row = moves.wait(ticket=tickets.ticket(), reason="no key", **by)
    assert code_of(moves.hand_back, ticket=row, reason="x", **by) == "illegal_move"
    row = moves.give(ticket=row, to=tickets.driver, **by)
    assert (row.state, row.given_to) == ("waiting", tickets.driver)
    row = moves.hand_back(ticket=row, reason="on leave", **by)
    assert (row.state, row.given_to) == ("waiting", None)
    assert moves.resume(ticket=row, **by).state == "new"


def test_who_is_there_begins_what_was_nobodys(tickets: TicketWork) -> None:
    row = moves.on_site(
        ticket=tickets.ticket(), actor=tickets.driver, now=clock(12), at=clock(10, 15)
    )
    assert (row.state, row.given_to, row.on_site_at) == ("on_site", tickets.driver, clock(10, 15))
    told = row.events.get(verb="on_site")
    assert (told.at, told.recorded_at) == (clock(10, 15), clock(12))


def test_a_moment_to_come_or_before_the_report_is_refused(tickets: TicketWork) -> None:
    row = tickets.ticket()
    for at in (clock(13), clock(8)):
        with pytest.raises(Unacceptable) as refused:
            moves.on_site(ticket=row, actor=tickets.driver, now=clock(12), at=at)
        assert list(refused.value.fields) == ["at"]
    near = moves.on_site(ticket=row, actor=tickets.driver, now=clock(12), at=clock(12, 5))
    assert near.on_site_at == clock(12), "a clock a little ahead is taken as now"


def test_told_after_closing_it_only_fills_in_when_work_began(
    tickets: TicketWork, other_driver: Person
) -> None:
    row = tickets.given()
    tickets.close(row, now=clock(11))
    late = {"ticket": row, "now": clock(12), "at": clock(10, 30)}
    assert code_of(moves.on_site, actor=other_driver, **late) == "illegal_move"
    row = moves.on_site(actor=tickets.driver, **late)
    assert (row.state, row.on_site_at) == ("closed", clock(10, 30))


def test_dropping_needs_a_reason_and_can_be_taken_back(tickets: TicketWork) -> None:
    by = {"actor": tickets.dispatcher, "now": clock(10)}
    row = tickets.given()
    with pytest.raises(Unacceptable):
        moves.drop(ticket=row, reason="", **by)
    row = moves.drop(ticket=row, reason="the host had unplugged it", **by)
    assert (row.state, row.closed_at) == ("dropped", clock(10))
    assert code_of(moves.give, ticket=row, to=tickets.driver, **by) == "illegal_move"
    row = moves.reopen(ticket=row, reason="it is dark again", **by)
    assert (row.state, row.closed_at, row.given_to) == ("new", None, None)


def test_a_joined_one_can_be_parted_again(tickets: TicketWork) -> None:
    first = tickets.ticket()
    row = tickets.reported(join=first).ticket
    row = moves.reopen(
        ticket=row, reason="another column after all", actor=tickets.dispatcher, now=clock(10)
    )
    assert (row.state, row.joined_to) == ("new", None)


def test_a_closed_one_is_opened_again_as_a_new_one(tickets: TicketWork) -> None:
    first = tickets.closed()
    by = {"actor": tickets.dispatcher, "now": clock(9, days=3)}
    again = moves.reopen(ticket=first, reason="it does it again", **by)
    assert again.pk != first.pk
    assert (again.state, again.reopens, again.said) == ("new", first, "it does it again")
    first = tickets.fresh(first)
    assert first.state == "closed"
    assert not first.work.first_time
    assert tickets.audited(again) == ["ticket: reopen"]
    assert code_of(moves.reopen, ticket=first, reason="once more", **by) == "opened_again"
    assert Ticket.objects.count() == 2


def test_not_after_the_set_time(tickets: TicketWork) -> None:
    first = tickets.closed()
    late = {"actor": tickets.dispatcher, "now": clock(12, days=14)}
    assert code_of(moves.reopen, ticket=first, reason="again", **late) == "too_long_ago"


def test_a_stale_move_is_refused_with_what_changed(tickets: TicketWork) -> None:
    row = tickets.ticket()
    seen = row.version
    moves.give(ticket=row, to=tickets.driver, actor=tickets.dispatcher, now=clock(9, 30))
    with pytest.raises(Unable) as refused:
        moves.drop(
            ticket=row, reason="no", actor=tickets.owner, now=clock(9, 31), seen_version=seen
        )
    assert refused.value.code == "changed_meanwhile"
    assert "given to Rosa Quillfeather by Dev Castellane at 2026-03-02 09:30" in str(refused.value)
    moves.drop(
        ticket=row, reason="no", actor=tickets.owner, now=clock(9, 32), seen_version=seen + 1
    )


def test_an_illegal_move_says_what_is_possible(tickets: TicketWork) -> None:
    row = tickets.closed()
    with pytest.raises(Unable) as refused:
        moves.give(ticket=row, to=tickets.driver, actor=tickets.dispatcher, now=clock(12))
    assert refused.value.code == "illegal_move"
    assert "closed since 2026-03-02 11:00 by Rosa Quillfeather" in str(refused.value)
    assert "reopen" in str(refused.value)


def test_what_it_is_about_can_be_corrected(tickets: TicketWork) -> None:
    row = tickets.ticket()
    before = row.promised_at
    row = changes.change(
        ticket=row,
        changes={
            "column": tickets.column("2"),
            "urgency": "down",
            "priority": 2,
            "owner": tickets.dispatcher,
        },
        actor=tickets.dispatcher,
        now=clock(9, 30),
    )
    assert (row.column, row.urgency, row.priority) == (tickets.column("2"), "down", 2)
    assert row.promised_at != before, "what is down is promised sooner"
    said = row.events.get(verb="change").said
    assert "column: none to 2" in said
    assert "looked after by: nobody to Dev Castellane" in said
    same = changes.change(
        ticket=row, changes={"priority": 2}, actor=tickets.dispatcher, now=clock(9, 40)
    )
    assert same.version == row.version


def test_what_cannot_be_changed(tickets: TicketWork, other_driver: Person) -> None:
    row = tickets.given()
    other = tickets.world.machine("LOB-2", tickets.machine.kind)
    by = {"actor": tickets.dispatcher, "now": clock(10)}
    for wrong, field in (
        ({"state": "closed"}, "state"),
        ({"column": tickets.world.column(other, "1")}, "column"),
        ({"owner": other_driver}, "owner"),
        ({"urgency": "soon"}, "urgency"),
        ({"priority": 9}, "priority"),
    ):
        with pytest.raises(Unacceptable) as refused:
            changes.change(ticket=row, changes=wrong, **by)
        assert list(refused.value.fields) == [field]
    with pytest.raises(NotAllowed):
        changes.change(ticket=row, changes={"priority": 1}, actor=other_driver, now=clock(10))


def test_a_note_is_added_at_any_time(tickets: TicketWork, other_driver: Person) -> None:
    row = tickets.closed()
    with pytest.raises(NotAllowed):
        changes.note(ticket=row, said="seen it", actor=other_driver, now=clock(12))
    before = tickets.given(code="coins")
    moves.give(ticket=before, to=other_driver, actor=tickets.dispatcher, now=clock(9, 30))
    changes.note(ticket=before, said="I had it first.", actor=tickets.driver, now=clock(12))
    row = changes.note(
        ticket=row, said="The host says thanks.", actor=tickets.driver, now=clock(12)
    )
    assert row.events.order_by("-pk")[0].said == "The host says thanks."
