"""What may be done to a ticket in which state, and what it is then: the one table of moves."""

from collections.abc import Mapping
from typing import Final

from django.db import models

from .models import Ticket

State = Ticket.State


class Verb(models.TextChoices):
    """What can be done to a ticket, as its timeline tells it."""

    REPORT = "report", "reported"
    GIVE = "give", "given"
    TAKE = "take", "taken"
    HAND_BACK = "hand_back", "handed back"
    ON_SITE = "on_site", "work begun"
    WAIT = "wait", "clock stopped"
    RESUME = "resume", "clock running again"
    CLOSE = "close", "closed"
    DROP = "drop", "dropped"
    JOIN = "join", "joined to another"
    REOPEN = "reopen", "opened again"
    CHANGE = "change", "changed"
    NOTE = "note", "noted"
    REFUND = "refund", "refund"
    ATTACH = "attach", "attachment"
    CAME_BACK = "came_back", "came back"
    FORGET = "forget", "contact forgotten"
    # What the clock says. It moves no ticket, and no page seen before grows stale by it.
    WARN = "warn", "promised time comes near"
    LATE = "late", "promised time is over"

    @property
    def words(self) -> str:
        return str(self.label)


Then = Mapping[str, frozenset[State]]
"""The states a verb may be done in, each with what the ticket may then be."""

_ALWAYS: Final[Then] = {state: frozenset({state}) for state in State}
_WHILE_OPEN: Final[Then] = {state: frozenset({state}) for state in Ticket.OPEN}

MOVES: Final[Mapping[Verb, Then]] = {
    # A ticket that waits goes on waiting, whoever is to go there afterwards.
    Verb.GIVE: {
        State.NEW: frozenset({State.GIVEN}),
        State.GIVEN: frozenset({State.GIVEN}),
        State.WAITING: frozenset({State.WAITING}),
    },
    Verb.TAKE: {
        State.NEW: frozenset({State.GIVEN}),
        State.GIVEN: frozenset({State.GIVEN}),
    },
    Verb.HAND_BACK: {
        State.GIVEN: frozenset({State.NEW}),
        State.ON_SITE: frozenset({State.NEW}),
        State.WAITING: frozenset({State.WAITING}),
    },
    Verb.ON_SITE: {
        State.NEW: frozenset({State.ON_SITE}),
        State.GIVEN: frozenset({State.ON_SITE}),
        State.WAITING: frozenset({State.ON_SITE}),
        # Told late, when the ticket was closed already: it only fills in when the work began.
        State.CLOSED: frozenset({State.CLOSED}),
    },
    Verb.WAIT: {
        State.NEW: frozenset({State.WAITING}),
        State.GIVEN: frozenset({State.WAITING}),
        State.ON_SITE: frozenset({State.WAITING}),
    },
    # To whom it was given before, or to nobody.
    Verb.RESUME: {State.WAITING: frozenset({State.NEW, State.GIVEN})},
    Verb.CLOSE: {state: frozenset({State.CLOSED}) for state in Ticket.OPEN},
    Verb.DROP: {state: frozenset({State.DROPPED}) for state in Ticket.OPEN},
    # What is being worked on gets closed by whoever works on it.
    Verb.JOIN: {
        State.NEW: frozenset({State.JOINED}),
        State.GIVEN: frozenset({State.JOINED}),
        State.WAITING: frozenset({State.JOINED}),
    },
    # A closed one stays closed, with its work and its cost; a new one goes on from it.
    Verb.REOPEN: {
        State.CLOSED: frozenset({State.CLOSED}),
        State.DROPPED: frozenset({State.NEW}),
        State.JOINED: frozenset({State.NEW}),
    },
    Verb.CHANGE: _WHILE_OPEN,
    Verb.NOTE: _ALWAYS,
    Verb.REFUND: _ALWAYS,
    Verb.ATTACH: _ALWAYS,
    Verb.CAME_BACK: {State.CLOSED: frozenset({State.CLOSED})},
    Verb.FORGET: {state: frozenset({state}) for state in Ticket.ENDED},
}
"""For each verb the states it may be done in, and what the ticket may then be."""


def may(verb: Verb, state: str) -> bool:
    """Whether the verb can be done to a ticket in this state."""
    return state in MOVES[verb]


def verbs_in(state: str) -> tuple[Verb, ...]:
    """What can be done in this state, in the order of the table."""
    return tuple(verb for verb in MOVES if may(verb, state))
