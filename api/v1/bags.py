"""Bags of cash: which were sealed where, what happened to them, and what was in them."""

from typing import Any

from django_filters import ChoiceFilter, FilterSet
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Flag, Id, Moment, Text
from fleet.sales.actions import bags, custody
from fleet.sales.actions.counting import Counted
from fleet.sales.models import Bag
from fleet.sales.queries.bags import STATES, bag_for, bags_listed
from fleet.sales.queries.expected import expected_of

from . import cash_shapes as shapes


class BagFilter(FilterSet):
    machine = Id()
    search = Text("seal_number", lookup_expr="icontains")
    waiting = Flag("amount", lookup_expr="isnull")
    state = ChoiceFilter(choices=[(one, one) for one in STATES])
    sealed_from = Moment("sealed_at", lookup_expr="gte")
    sealed_until = Moment("sealed_at", lookup_expr="lt")


class Bags(Doors):
    """Bags of cash by their seals, the latest sealed first."""

    described_by = Bag
    filterset_class = BagFilter

    @gives(shapes.BagOut, paged=True, summary="List bags, the latest sealed first")
    def list(self, request: Request) -> Response:
        return self.page(bags_listed(), shapes.BagOut)

    @gives(shapes.BagOut, tagged=True, summary="Look at a bag, all that happened to it, its counts")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.BagOut, bag_for(self.person, pk))

    @gives(shapes.ExpectedOut, summary="Ask what a bag should hold, and by what")
    @action(detail=True, methods=["get"])
    def expected(self, request: Request, pk: int) -> Response:
        return Response(self.shown(shapes.ExpectedOut, expected_of(bag_for(self.person, pk))))

    @writes(
        shapes.BagCountIn,
        shapes.BagOut,
        status=201,
        key="required",
        summary="Say what was in a bag; counted again, the last count holds",
    )
    @action(detail=True, methods=["post"])
    def count(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        bag = bag_for(self.person, pk, write=True)
        lines = [Counted(**one) for one in given.pop("lines", [])]
        bags.count_bag(bag=bag, lines=lines, actor=self.person, now=self.now, **given)
        return self.answer(shapes.BagOut, bag_for(self.person, pk), status=201)

    @writes(
        shapes.BagStepIn,
        shapes.BagOut,
        status=201,
        key="required",
        summary="Say that a bag was received, opened, is missing, or was found again",
    )
    @action(detail=True, methods=["post"])
    def steps(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        bag = bag_for(self.person, pk, write=True)
        custody.take_step(bag=bag, actor=self.person, now=self.now, **given)
        return self.answer(shapes.BagOut, bag_for(self.person, pk), status=201)

    @writes(
        shapes.ReceiveBagsIn,
        shapes.ReceivedOut,
        key="required",
        summary="Receive sealed bags, all or none",
    )
    @action(detail=False, methods=["post"])
    def receive(self, request: Request, given: dict[str, Any]) -> Response:
        found = [bag_for(self.person, pk, write=True) for pk in sorted(set(given.pop("bags")))]
        done = custody.receive_bags(bags=found, actor=self.person, now=self.now, **given)
        told = {"received": [one.bag_id for one in done]}
        return Response(self.shown(shapes.ReceivedOut, told))
