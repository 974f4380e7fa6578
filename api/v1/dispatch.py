"""Tickets put on the runs of drivers: what it would mean for each, then done."""

from typing import Any

from django.utils import timezone
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from people.models import Business
from service.runs.actions import dispatch, offers
from service.runs.models import TicketStop
from service.runs.queries import gates
from service.tickets.queries import gates as ticket_gates

from .dispatch_shapes import AssignedOut, AssignIn, OffersOut, OffersQuery, UnassignIn
from .tickets_shapes import TicketLine

Given = dict[str, Any]


class Dispatch(Doors):
    """What giving a ticket to each driver would mean, and giving it."""

    described_by = TicketStop

    @gives(OffersOut, query=OffersQuery, summary="What a ticket would mean for each driver")
    @action(detail=False)
    def offers(self, request: Request, asked: Given) -> Response:
        ticket = ticket_gates.ticket_for(self.person, asked["ticket"].pk)
        today = timezone.localdate(self.now, Business.the().time_zone)
        found = offers.preview(ticket=ticket, day=asked.get("day") or today, now=self.now)
        return Response(self.shown(OffersOut, found))

    @writes(AssignIn, AssignedOut, summary="Put a ticket on a run where it costs least")
    @action(detail=False, methods=["post"])
    def assign(self, request: Request, given: Given) -> Response:
        given["ticket"] = ticket_gates.ticket_for(self.person, given["ticket"].pk, write=True)
        done = dispatch.assign(actor=self.person, now=self.now, **given)
        answer = {
            "ticket": ticket_gates.ticket_for(self.person, done.ticket.pk),
            "stop": gates.stop_for(self.person, done.stop.pk),
            "change": done.change,
        }
        return Response(self.shown(AssignedOut, answer))

    @writes(UnassignIn, TicketLine, summary="Take a ticket off its run and from its driver")
    @action(detail=False, methods=["post"])
    def unassign(self, request: Request, given: Given) -> Response:
        given["ticket"] = ticket_gates.ticket_for(self.person, given["ticket"].pk, write=True)
        row = dispatch.unassign(actor=self.person, now=self.now, **given)
        return Response(self.shown(TicketLine, ticket_gates.ticket_for(self.person, row.pk)))
