"""Whatever is done to a ticket in whatever order, it keeps to the table of moves."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from people.errors import Unable
from people.models import Person
from service.tickets.actions import changes, moves, reporting
from service.tickets.models import Ticket
from service.tickets.states import MOVES, Verb, may, verbs_in
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db
ACTS = ("give", "take", "hand_back", "on_site", "wait", "resume", "close", "drop", "join", "note")
ACTS += ("reopen", "change")
WHO = ("dispatcher", "driver", "other")


def act(tickets: TicketWork, row: Ticket, into: Ticket, verb: str, who: Person, minute: int) -> Any:
    by: dict[str, Any] = {"ticket": row, "actor": who, "now": clock(9, minute)}
    told: dict[str, Callable[[], Any]] = {
        "give": lambda: moves.give(to=tickets.driver, **by),
        "take": lambda: moves.take(**by),
        "hand_back": lambda: moves.hand_back(reason="x", **by),
        "on_site": lambda: moves.on_site(**by),
        "wait": lambda: moves.wait(reason="x", **by),
        "resume": lambda: moves.resume(**by),
        "close": lambda: tickets.close(row, actor=who, now=by["now"]),
        "drop": lambda: moves.drop(reason="x", **by),
        "join": lambda: reporting.join(into=into, **by),
        "note": lambda: changes.note(said="x", **by),
        "reopen": lambda: moves.reopen(reason="x", **by),
        "change": lambda: changes.change(changes={"priority": minute % 3}, **by),
    }
    return told[verb]()


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(acts=st.lists(st.tuples(st.sampled_from(ACTS), st.sampled_from(WHO)), max_size=9))
def test_any_sequence_of_acts_keeps_to_the_table(
    tickets: TicketWork, other_driver: Person, acts: list[tuple[str, str]]
) -> None:
    people = {
        "dispatcher": tickets.dispatcher,
        "driver": tickets.driver,
        "other": other_driver,
    }
    with transaction.atomic():
        row, into = tickets.ticket(), tickets.ticket()
        for minute, (verb, who) in enumerate(acts, start=1):
            before = tickets.fresh(row)
            try:
                with transaction.atomic():
                    act(tickets, before, into, verb, people[who], minute)
            except Unable:
                after = tickets.fresh(row)
                assert (after.state, after.version) == (before.state, before.version)
                continue
            after = tickets.fresh(row)
            assert may(Verb(verb), before.state)
            assert after.state in MOVES[Verb(verb)][before.state]
            assert (after.closed_at is not None) == (after.state in Ticket.ENDED)
            assert (after.paused_at is not None) == (after.state == "waiting")
            assert after.state != "new" or after.given_to is None
            assert after.version - before.version in (0, 1)
        assert row.events.filter(data__has_key="version").count() == after_version(row) - 1
        # Taken back, so that the next example begins with new tickets.
        transaction.set_rollback(True)


def after_version(row: Ticket) -> int:
    return Ticket.objects.get(pk=row.pk).version


def test_the_table_knows_every_verb_and_no_unknown_state() -> None:
    told = set(MOVES) | {Verb.REPORT}
    assert told >= {Verb(verb) for verb in ACTS}
    for move in MOVES.values():
        assert set(move) <= set(Ticket.State)
        assert set().union(*move.values()) <= set(Ticket.State)


def test_an_ended_ticket_is_never_worked_on() -> None:
    working = {Verb.GIVE, Verb.TAKE, Verb.WAIT, Verb.RESUME, Verb.CLOSE, Verb.HAND_BACK}
    for state in Ticket.ENDED:
        assert not working & set(verbs_in(state))
