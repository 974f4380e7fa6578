"""Refunds: who still waits for money, what was paid, by whom."""

from typing import Any

from django_filters import FilterSet
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.exports import Exporting, exports
from api.filters import Id, Moment, Word
from people.exports import Table, within
from service.tickets import tables
from service.tickets.actions import refunds
from service.tickets.models import Refund
from service.tickets.queries import gates

from .tickets_shapes import PayIn, RefundOut, RefuseIn


class RefundFilter(FilterSet):
    state = Word(of=Refund.State)
    method = Word(of=Refund.Method)
    ticket = Id()
    machine = Id("ticket__machine")
    since = Moment("wanted_at", lookup_expr="gte")
    until = Moment("wanted_at", lookup_expr="lt")


class Refunds(Exporting, Doors):
    """Money that customers are to have back. Asked for at `/tickets/{id}/refunds`."""

    described_by = Refund
    filterset_class = RefundFilter

    @gives(RefundOut, paged=True, summary="List refunds, latest asked first")
    def list(self, request: Request) -> Response:
        rows = gates.refunds_seen_by(self.person).order_by("-wanted_at", "-pk")
        return self.page(rows, RefundOut)

    @exports("Refunds as a file")
    def export(self, request: Request) -> Table:
        rows = gates.refunds_seen_by(self.person).order_by("-wanted_at", "-pk")
        return tables.refunds(
            within(self.narrowed(rows, "as")), self.shown_with["business"].time_zone
        )

    @gives(RefundOut, tagged=True, summary="Look at a refund")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(RefundOut, gates.refund_for(self.person, pk))

    @writes(PayIn, RefundOut, tagged=True, key="required", summary="Note that a refund was paid")
    @action(detail=True, methods=["post"])
    def pay(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        refund = gates.refund_for(self.person, pk, write=True)
        refunds.pay(refund=refund, actor=self.person, now=self.now, **given)
        return self.answer(RefundOut, gates.refund_for(self.person, pk))

    @writes(RefuseIn, RefundOut, tagged=True, key="required", summary="Refuse a refund, and why")
    @action(detail=True, methods=["post"])
    def refuse(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        refund = gates.refund_for(self.person, pk, write=True)
        refunds.refuse(refund=refund, actor=self.person, now=self.now, **given)
        return self.answer(RefundOut, gates.refund_for(self.person, pk))
