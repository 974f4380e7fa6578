"""Warned before, escalated after: the right people, once, and not while the clock stands."""

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from fleet.machines.models import Machine
from people.actions import people
from people.models import AuditEntry, Notice, Person
from service.tickets import outgoing
from service.tickets.actions import (
    agreements,
    changes,
    closing,
    keeping_promises,
    moves,
    reporting,
)
from service.tickets.models import Cause, Symptom, Ticket, TicketEvent
from tests.cast import NOW
from tests.races import at_once

NEW_YORK = ZoneInfo("America/New_York")


def ny(day: int, hour: int, minute: int = 0) -> datetime:
    """A time of March 2026; the 2nd is a Monday."""
    return datetime(2026, 3, day, hour, minute, tzinfo=NEW_YORK)


@pytest.fixture
def late(lobby: Machine) -> Ticket:
    """Reported on Monday at 9:00, promised for Tuesday at 17:00."""
    return reporting.report(
        machine=lobby,
        symptom=Symptom.objects.get(code="nothing_works"),
        source=Ticket.Source.DESK,
        actor=None,
        now=ny(2, 9),
    ).ticket


def told() -> list[str]:
    """Who was told of the promise; that a ticket was given to one is another matter."""
    found = Notice.objects.exclude(key__contains=" given ")
    return sorted(str(one.person) for one in found)


def test_dispatchers_are_warned_two_working_hours_before(
    late: Ticket, dispatcher: Person, driver: Person
) -> None:
    assert keeping_promises.warn(now=ny(3, 14, 59)) == 0
    assert keeping_promises.warn(now=ny(3, 15)) == 1
    assert keeping_promises.warn(now=ny(3, 15, 5)) == 0
    notice = Notice.objects.get()
    assert notice.person == dispatcher
    assert (
        notice.subject == "120 working minutes left: sells nothing at all, LOB-1 at Ferry landing"
    )
    assert "Promised for 2026-03-03 17:00, by the end of the next working day." in notice.text
    assert notice.address == outgoing.page_of(late)
    event = TicketEvent.objects.get(ticket=late, verb="warn")
    assert event.said == "120 working minutes left; told: Dev Castellane"
    assert AuditEntry.objects.filter(verb="ticket: warn", object_id=late.pk).exists()


def test_whoever_looks_after_it_and_whoever_goes_there_is_warned_instead(
    late: Ticket, owner: Person, dispatcher: Person, driver: Person, other_driver: Person
) -> None:
    changes.change(ticket=late, changes={"owner": owner}, actor=owner, now=ny(2, 10))
    moves.give(ticket=late, to=driver, actor=owner, now=ny(2, 10))
    keeping_promises.warn(now=ny(3, 16))
    assert told() == [str(owner), str(driver)]


def test_when_no_dispatcher_works_here_the_owners_are_warned(late: Ticket, owner: Person) -> None:
    keeping_promises.warn(now=ny(3, 16))
    assert told() == [str(owner)]


def test_owners_are_told_of_what_is_late_once(
    late: Ticket, owner: Person, dispatcher: Person
) -> None:
    assert keeping_promises.escalate(now=ny(3, 16, 59)) == 0
    assert keeping_promises.escalate(now=ny(3, 17)) == 1
    assert keeping_promises.escalate(now=ny(3, 17, 5)) == 0
    assert told() == [str(owner)]
    late.refresh_from_db()
    assert late.escalated_at == ny(3, 17)
    # What is late is not warned of any more.
    assert keeping_promises.warn(now=ny(3, 17, 5)) == 0


def test_a_warning_over_the_week_end_comes_in_working_time(lobby: Machine, owner: Person) -> None:
    """Promised for Monday 17:00: two working hours before is Monday 15:00, whatever the calendar;
    promised for Monday 9:00 by four hours from Friday 15:00, it is Friday 16:00."""
    agreements.save_rule(
        changes={
            "site": lobby.placements.get().site,
            "urgency": "down",
            "kind": "working_hours",
            "amount": 3,
        },
        actor=owner,
        now=NOW,
    )
    reporting.report(
        machine=lobby,
        symptom=Symptom.objects.get(code="warm"),
        source=Ticket.Source.DESK,
        actor=None,
        now=ny(6, 15),
    )
    assert keeping_promises.warn(now=ny(6, 15, 59)) == 0
    assert keeping_promises.warn(now=ny(6, 16)) == 1


def test_what_waits_is_neither_warned_of_nor_late(late: Ticket, owner: Person) -> None:
    moves.wait(ticket=late, reason="a part is on its way", actor=owner, now=ny(2, 10))
    assert keeping_promises.warn(now=ny(3, 16)) == 0
    assert keeping_promises.escalate(now=ny(4, 10)) == 0
    # It goes on and is promised anew; then it is told of anew.
    moves.resume(ticket=late, actor=owner, now=ny(4, 10))
    late.refresh_from_db()
    assert late.promised_at is not None
    assert keeping_promises.escalate(now=late.promised_at) == 1


def test_what_ended_is_not_late(late: Ticket, owner: Person) -> None:
    moves.drop(ticket=late, reason="tried again, it works", actor=owner, now=ny(2, 10))
    assert keeping_promises.warn(now=ny(3, 16)) == 0
    assert keeping_promises.escalate(now=ny(4, 10)) == 0


def test_a_promise_made_anew_is_told_of_anew(late: Ticket, owner: Person) -> None:
    keeping_promises.warn(now=ny(3, 16))
    keeping_promises.escalate(now=ny(3, 17))
    assert Notice.objects.count() == 2
    moved = changes.change(ticket=late, changes={"urgency": "part"}, actor=owner, now=ny(4, 9))
    assert moved.promised_at == ny(9, 17)
    assert moved.escalated_at is None
    keeping_promises.warn(now=ny(9, 16))
    keeping_promises.escalate(now=ny(9, 17))
    assert Notice.objects.count() == 4


def test_a_page_seen_before_the_warning_stays_good(
    late: Ticket, owner: Person, driver: Person
) -> None:
    seen = Ticket.objects.get(pk=late.pk).version
    keeping_promises.warn(now=ny(3, 16))
    moves.give(ticket=late, to=driver, actor=owner, now=ny(3, 16, 5), seen_version=seen)
    assert Ticket.objects.get(pk=late.pk).given_to == driver


def test_who_left_is_not_told(late: Ticket, owner: Person, dispatcher: Person) -> None:
    changes.change(ticket=late, changes={"owner": dispatcher}, actor=owner, now=ny(2, 10))
    people.let_go(person=dispatcher, actor=owner, now=ny(2, 11))
    keeping_promises.warn(now=ny(3, 16))
    assert told() == [str(owner)]


@pytest.mark.django_db(transaction=True)
def test_two_workers_at_once_tell_once(late: Ticket, owner: Person) -> None:
    counts: Any = at_once(*(lambda: keeping_promises.escalate(now=ny(3, 17)) for _ in range(3)))
    assert sum(counts) == 1
    assert Notice.objects.count() == 1


def test_queries_do_not_grow_with_what_is_not_due(
    lobby: Machine, owner: Person, django_assert_num_queries: Any
) -> None:
    for number in range(6):
        reporting.report(
            machine=lobby,
            symptom=Symptom.objects.get(code="nothing_works"),
            source=Ticket.Source.DESK,
            actor=None,
            now=ny(2, 9) + timedelta(minutes=number),
        )
    keeping_promises.warn(now=ny(2, 12))  # what is made when it is first asked for is there then
    with django_assert_num_queries(5):
        assert keeping_promises.warn(now=ny(2, 12)) == 0


def test_closing_in_time_needs_no_telling(late: Ticket, owner: Person) -> None:
    closing.close(
        ticket=late,
        cause=Cause.objects.get(code="site_power"),
        work="switched on again at the wall",
        minutes=10,
        actor=owner,
        now=ny(2, 11),
    )
    assert keeping_promises.escalate(now=ny(4, 10)) == 0
    assert not Notice.objects.exists()
