"""A driver's tickets: mine, and what is told of them, late or twice as the signal lets it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api import idempotency
from api.doors import Doors, gives, writes
from api.shapes import Ref
from fleet.machines.models import Machine
from fleet.machines.queries.gates import machine_for
from people.models import Person
from people.told import Sent
from service.tickets.actions import told
from service.tickets.models import Symptom, Ticket, TicketAct
from service.tickets.queries import gates, listing

from .road_day import TicketActOut
from .road_shapes import ActIn
from .tickets import whole, work_of
from .tickets_shapes import Columns, TicketOut, WorkIn

Given = dict[str, Any]
Verb = TicketAct.Verb
MOST = 200
"""Open tickets in one answer; whoever has more of them asks for the list."""


class ReasonAct(ActIn):
    reason = serializers.CharField(max_length=300)


class NoteAct(ActIn):
    said = serializers.CharField(max_length=2000)


class ReportAct(ActIn):
    symptom = Ref(queryset=Symptom.objects.all())
    column = Ref(queryset=Columns, required=False, allow_null=True)
    said = serializers.CharField(required=False, allow_blank=True, default="", max_length=2000)


class CloseAct(WorkIn, ActIn):
    """How a ticket is closed, told late. Pictures go to `/tickets/{id}/attachments`."""


@dataclass(frozen=True)
class Act:
    """How one verb is read and done."""

    given: type[serializers.Serializer]
    do: Callable[..., told.Answer]
    of_machine: bool = False


def _close(**given: Any) -> told.Answer:
    return told.close(**work_of(given))


ACTS: Mapping[str, Act] = {
    Verb.REPORT: Act(ReportAct, told.report, of_machine=True),
    Verb.TAKE: Act(ActIn, told.take),
    Verb.HAND_BACK: Act(ReasonAct, told.hand_back),
    Verb.ON_SITE: Act(ActIn, told.on_site),
    Verb.WAIT: Act(ReasonAct, told.wait),
    Verb.RESUME: Act(ActIn, told.resume),
    Verb.NOTE: Act(NoteAct, told.note),
    Verb.CLOSE: Act(CloseAct, _close),
}


def carry_out(
    verb: str, of: Ticket | Machine, given: Given, *, key: str, actor: Person, now: Any
) -> told.Answer:
    """Do one act of a validated body."""
    sent = Sent(key, given.pop("at"), given.pop("sent_at", None))
    whose = {"machine": of} if isinstance(of, Machine) else {"ticket": of}
    return ACTS[verb].do(**whose, **given, sent=sent, actor=actor, now=now)


def my_tickets(person: Person) -> list[Ticket]:
    """What one has to see to and what nobody has taken yet, whole."""
    rows = listing.to_see_to(person).prefetch_related("events__actor", "refunds", "attachments")
    return whole(*rows[:MOST])


class OnTickets(Doors):
    """What the doors of tickets and of reporting share."""

    def do(self, verb: str, of: Ticket | Machine, given: Given) -> Response:
        answer = carry_out(
            verb,
            of,
            given,
            key=idempotency.key_of(self.request),
            actor=self.person,
            now=self.now,
        )
        headers = {idempotency.REPLAYED: "true"} if answer.replayed else None
        return Response(answer.result, headers=headers)


class RoadTickets(OnTickets):
    """Tickets of a driver, with all that is needed to see to them without a signal."""

    described_by = Ticket

    @gives(TicketOut, many=True, summary="My tickets, and open ones that are nobody's")
    def list(self, request: Request) -> Response:
        return Response(self.shown(TicketOut, my_tickets(self.person), many=True))

    @writes(ActIn, TicketActOut, key="own", summary="Take a ticket, or accept one that was given")
    @action(detail=True, methods=["post"])
    def take(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.TAKE, self._ticket(pk), given)

    @writes(ReasonAct, TicketActOut, key="own", summary="Hand a ticket back")
    @action(detail=True, methods=["post"], url_path="hand-back")
    def hand_back(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.HAND_BACK, self._ticket(pk), given)

    @writes(ActIn, TicketActOut, key="own", summary="I am at the machine and begin")
    @action(detail=True, methods=["post"], url_path="on-site")
    def on_site(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.ON_SITE, self._ticket(pk), given)

    @writes(ReasonAct, TicketActOut, key="own", summary="Let a ticket wait: its clock stands")
    @action(detail=True, methods=["post"])
    def wait(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.WAIT, self._ticket(pk), given)

    @writes(ActIn, TicketActOut, key="own", summary="Go on with a ticket that waited")
    @action(detail=True, methods=["post"])
    def resume(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.RESUME, self._ticket(pk), given)

    @writes(NoteAct, TicketActOut, key="own", summary="Add a line to a ticket's timeline")
    @action(detail=True, methods=["post"])
    def note(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.NOTE, self._ticket(pk), given)

    @writes(CloseAct, TicketActOut, key="own", summary="Close a ticket with the work done")
    @action(detail=True, methods=["post"])
    def close(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.CLOSE, self._ticket(pk), given)

    def _ticket(self, pk: int) -> Ticket:
        return gates.ticket_to_tell_of(self.person, pk)


class RoadMachines(OnTickets):
    """Machines that a driver stands before."""

    described_by = Machine

    @writes(ReportAct, TicketActOut, key="own", summary="Report that something is wrong here")
    @action(detail=True, methods=["post"])
    def report(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.REPORT, machine_for(self.person, pk), given)
