"""Tickets: what is wrong with a machine, who deals with it by when, and what mended it."""

from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from django_filters import FilterSet
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.exports import Exporting, exports
from api.filters import Flag, Id, Moment, Text, Word
from people.exports import Table, within
from service.tickets import tables
from service.tickets.actions import changes, closing, moves, refunds, reporting
from service.tickets.models import Ticket, WorkDone
from service.tickets.queries import gates, listing
from service.tickets.queries.history import repeats_of

from .tickets_shapes import (
    ChangeIn,
    CloseIn,
    GiveIn,
    JoinIn,
    NoteIn,
    RefundOut,
    RefundWantedIn,
    ReportedOut,
    ReportIn,
    Seen,
    TicketLine,
    TicketOut,
    TicketReasonIn,
)

Given = dict[str, Any]
PARTS = "parts__product"


class TicketFilter(FilterSet):
    search = Text(method="searched")
    open = Flag(method="still_open")
    late = Flag(method="too_late")
    unassigned = Flag("given_to", lookup_expr="isnull")
    state = Word(of=Ticket.State)
    urgency = Word(of=Ticket.Urgency)
    source = Word(of=Ticket.Source)
    symptom = Id()
    machine = Id()
    column = Id()
    site = Id()
    given_to = Id()
    owner = Id()
    since = Moment("reported_at", lookup_expr="gte")
    until = Moment("reported_at", lookup_expr="lt")

    def searched(self, rows: "QuerySet[Ticket]", name: str, value: str) -> "QuerySet[Ticket]":
        return listing.matching(rows, value)

    def still_open(self, rows: "QuerySet[Ticket]", name: str, value: bool) -> "QuerySet[Ticket]":
        states = Ticket.OPEN if value else Ticket.ENDED
        return rows.filter(state__in=states)

    def too_late(self, rows: "QuerySet[Ticket]", name: str, value: bool) -> "QuerySet[Ticket]":
        found = listing.late(rows, timezone.now())
        return found if value else rows.exclude(pk__in=found.order_by().values("pk"))


class Tickets(Exporting, Doors):
    """The desk sees all; a driver the own ones, and open ones that are nobody's."""

    described_by = Ticket
    filterset_class = TicketFilter

    @gives(TicketLine, paged=True, summary="List tickets, latest reported first")
    def list(self, request: Request) -> Response:
        return self.page(self._rows(), TicketLine)

    @exports("Tickets as a file, without who reported them")
    def export(self, request: Request) -> Table:
        zone = self.shown_with["business"].time_zone
        return tables.tickets(within(self.narrowed(self._rows(), "as")), zone)

    @gives(TicketOut, tagged=True, summary="Look at a ticket with its timeline, checks and work")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(TicketOut, self._whole(pk))

    @writes(ReportIn, ReportedOut, status=201, summary="Report a fault; open ones are told")
    def create(self, request: Request, given: Given) -> Response:
        wanted = given.pop("refund", None)
        made = reporting.report(
            refund=None if wanted is None else reporting.Wanted(**wanted),
            actor=self.person,
            now=self.now,
            **given,
        )
        answer = {
            "ticket": self._whole(made.ticket.pk),
            "open_ones": made.open_ones,
            "joined": made.joined,
        }
        address = self.request.build_absolute_uri(
            f"{self.request.path.rstrip('/')}/{made.ticket.pk}"
        )
        return Response(self.shown(ReportedOut, answer), status=201, headers={"Location": address})

    @writes(
        ChangeIn,
        TicketOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change what a ticket is about, how urgent, or who looks after it",
    )
    def partial_update(self, request: Request, pk: int, given: Given) -> Response:
        ticket = self.matched(self._gate, pk, TicketOut)
        changes.change(ticket=ticket, changes=given, actor=self.person, now=self.now)
        return self.answer(TicketOut, self._whole(pk))

    @writes(GiveIn, TicketOut, tagged=True, summary="Give a ticket to somebody who goes there")
    @action(detail=True, methods=["post"])
    def give(self, request: Request, pk: int, given: Given) -> Response:
        return self._do(moves.give, pk, given)

    @writes(Seen, TicketOut, tagged=True, summary="Take a ticket, or accept one that was given")
    @action(detail=True, methods=["post"])
    def take(self, request: Request, pk: int, given: Given) -> Response:
        return self._do(moves.take, pk, given)

    @writes(
        TicketReasonIn, TicketOut, tagged=True, summary="Hand a ticket back: it is nobody's again"
    )
    @action(detail=True, methods=["post"], url_path="hand-back")
    def hand_back(self, request: Request, pk: int, given: Given) -> Response:
        return self._do(moves.hand_back, pk, given)

    @writes(Seen, TicketOut, tagged=True, summary="Somebody is at the machine and begins")
    @action(detail=True, methods=["post"], url_path="on-site")
    def on_site(self, request: Request, pk: int, given: Given) -> Response:
        return self._do(moves.on_site, pk, given)

    @writes(TicketReasonIn, TicketOut, tagged=True, summary="Let a ticket wait: its clock stands")
    @action(detail=True, methods=["post"])
    def wait(self, request: Request, pk: int, given: Given) -> Response:
        return self._do(moves.wait, pk, given)

    @writes(Seen, TicketOut, tagged=True, summary="Go on with a ticket that waited")
    @action(detail=True, methods=["post"])
    def resume(self, request: Request, pk: int, given: Given) -> Response:
        return self._do(moves.resume, pk, given)

    @writes(TicketReasonIn, TicketOut, tagged=True, summary="Drop a ticket: nobody needs to go")
    @action(detail=True, methods=["post"])
    def drop(self, request: Request, pk: int, given: Given) -> Response:
        return self._do(moves.drop, pk, given)

    @writes(
        TicketReasonIn,
        TicketOut,
        tagged=True,
        summary="Take up again what had ended; gives the ticket that is then open",
    )
    @action(detail=True, methods=["post"])
    def reopen(self, request: Request, pk: int, given: Given) -> Response:
        return self._do(moves.reopen, pk, given)

    @writes(JoinIn, TicketOut, tagged=True, summary="Join a ticket to an open one of its fault")
    @action(detail=True, methods=["post"])
    def join(self, request: Request, pk: int, given: Given) -> Response:
        return self._do(reporting.join, pk, given)

    @writes(NoteIn, TicketOut, tagged=True, summary="Add a line to a ticket's timeline")
    @action(detail=True, methods=["post"])
    def note(self, request: Request, pk: int, given: Given) -> Response:
        return self._do(changes.note, pk, given)

    @writes(CloseIn, TicketOut, tagged=True, summary="Close a ticket: cause, work, parts, tests")
    @action(detail=True, methods=["post"])
    def close(self, request: Request, pk: int, given: Given) -> Response:
        return self._do(closing.close, pk, work_of(given))

    @writes(
        RefundWantedIn, RefundOut, status=201, tagged=True, summary="Ask for a refund on a ticket"
    )
    @action(detail=True, methods=["post"])
    def refunds(self, request: Request, pk: int, given: Given) -> Response:
        ticket = gates.ticket_for(self.person, pk, write=True)
        asked = refunds.ask(ticket=ticket, actor=self.person, now=self.now, **given)
        return self.answer(RefundOut, gates.refund_for(self.person, asked.pk), status=201)

    def _do(self, act: Any, pk: int, given: Given) -> Response:
        ticket = gates.ticket_for(self.person, pk, write=True)
        done = act(ticket=ticket, actor=self.person, now=self.now, **given)
        # To reopen makes another one; to close gives the work.
        shown = done.pk if isinstance(done, Ticket) else pk
        return self.answer(TicketOut, self._whole(shown))

    def _rows(self) -> "QuerySet[Ticket]":
        return gates.tickets_seen_by(self.person).order_by("-reported_at", "-pk")

    def _whole(self, pk: int) -> Ticket:
        return whole(gates.ticket_for(self.person, pk))[0]

    @staticmethod
    def _gate(person: Any, pk: int, *, write: bool) -> Ticket:
        return whole(gates.ticket_for(person, pk, write=write))[0]


def whole(*tickets: Ticket) -> list[Ticket]:
    """Tickets with all that their shape shows."""
    works = WorkDone.objects.filter(ticket__in=[one.pk for one in tickets])
    done = {one.ticket_id: one for one in works.select_related("cause").prefetch_related(PARTS)}
    earlier = repeats_of(tickets)
    for one in tickets:
        one.work_done = done.get(one.pk)  # type: ignore[attr-defined]
        before = earlier.get(one.pk)
        one.repeat_of = None if before is None else before.pk  # type: ignore[attr-defined]
    return list(tickets)


def work_of(given: Given) -> Given:
    """What closing takes, of a validated body."""
    left = given.pop("left", None)
    parts = [closing.Part(**one) for one in given.pop("parts", [])]
    return given | {"parts": parts, "left": None if left is None else closing.ColumnLeft(**left)}
