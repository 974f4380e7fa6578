"""Cash on its way to the bank, change that lies out, and what is over or short."""

from datetime import timedelta
from typing import Any

from django_filters import FilterSet
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.exports import Exporting, exports
from api.filters import Flag, Id, Moment, Text
from fleet.machines.models import Site
from fleet.sales import cash_tables
from fleet.sales.actions import bankings, floats
from fleet.sales.actions.cash_limits import save_cash_limits
from fleet.sales.models import Bag, Banking, CashLimits, HostFloatLine, TubeFill
from fleet.sales.queries import floats as float_queries
from fleet.sales.queries.bankings import banking_for, bankings_whole
from fleet.sales.queries.custody import open_custody
from fleet.sales.queries.differences import MOST_DAYS, differences
from people.errors import Unacceptable
from people.exports import Table, within
from people.models import Business, Person

from . import cash_shapes as shapes

MOST_BAGS = 2000


class BankingFilter(FilterSet):
    search = Text("slip_number", lookup_expr="icontains")
    waiting = Flag("confirmed", lookup_expr="isnull")
    banked_from = Moment("banked_at", lookup_expr="gte")
    banked_until = Moment("banked_at", lookup_expr="lt")


class Bankings(Exporting, Doors):
    """Counted bags that went to the bank on one slip, and what the bank received."""

    described_by = Banking
    filterset_class = BankingFilter

    @gives(shapes.BankingOut, paged=True, summary="List bankings, the latest first")
    def list(self, request: Request) -> Response:
        return self.page(bankings_whole(), shapes.BankingOut)

    @gives(shapes.BankingOut, tagged=True, summary="Look at a banking and its bags")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.BankingOut, banking_for(self.person, pk))

    @exports("List bankings as a file")
    def export(self, request: Request) -> Table:
        rows = self.narrowed(bankings_whole(), "as")
        return cash_tables.bankings(within(rows), Business.the().time_zone)

    @writes(
        shapes.BankingIn,
        shapes.BankingOut,
        status=201,
        tagged=True,
        key="required",
        summary="Bank counted bags on one slip",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        bags = [one["bag"] for one in given.pop("bags")]
        row = bankings.bank(bags=bags, actor=self.person, now=self.now, **given)
        return self.created(shapes.BankingOut, banking_for(self.person, row.pk))

    @writes(
        shapes.BankingConfirmIn,
        shapes.BankingOut,
        status=201,
        key="required",
        summary="Say what the bank received; said again, the last holds",
    )
    @action(detail=True, methods=["post"])
    def confirm(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        row = banking_for(self.person, pk, write=True)
        bankings.confirm(banking=row, actor=self.person, now=self.now, **given)
        return self.answer(shapes.BankingOut, banking_for(self.person, pk), status=201)

    @writes(
        shapes.BankingTakeBackIn,
        shapes.BankingOut,
        tagged=True,
        summary="Take back a banking written down by mistake",
    )
    @action(detail=True, methods=["post"], url_path="take-back", url_name="take-back")
    def take_back(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        row = banking_for(self.person, pk, write=True)
        bankings.take_back(banking=row, actor=self.person, now=self.now, **given)
        return self.answer(shapes.BankingOut, banking_for(self.person, pk))


class TubeFillFilter(FilterSet):
    machine = Id()
    since = Moment("at", lookup_expr="gte")
    until = Moment("at", lookup_expr="lt")


class TubeFills(Doors):
    """Change put into coin tubes by hand, or taken out of them."""

    described_by = TubeFill
    filterset_class = TubeFillFilter

    @gives(shapes.TubeFillOut, paged=True, summary="List change in tubes, the latest first")
    def list(self, request: Request) -> Response:
        return self.page(float_queries.tube_fills(), shapes.TubeFillOut)

    @gives(shapes.TubeFillOut, tagged=True, summary="Look at change put into tubes")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.TubeFillOut, float_queries.tube_fill_for(self.person, pk))

    @writes(
        shapes.TubeFillIn,
        shapes.TubeFillOut,
        status=201,
        tagged=True,
        key="required",
        summary="Write down change put into tubes or taken out",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        row = floats.fill_tubes(actor=self.person, now=self.now, **given)
        return self.created(shapes.TubeFillOut, float_queries.tube_fill_for(self.person, row.pk))


class FloatLineFilter(FilterSet):
    site = Id()
    since = Moment("at", lookup_expr="gte")
    until = Moment("at", lookup_expr="lt")


class FloatLines(Doors):
    """Lines of the change that hosts keep for refunds."""

    described_by = HostFloatLine
    filterset_class = FloatLineFilter

    @gives(shapes.FloatLineOut, paged=True, summary="List lines of hosts' floats, the latest first")
    def list(self, request: Request) -> Response:
        return self.page(float_queries.float_lines(), shapes.FloatLineOut)

    @gives(shapes.FloatLineOut, tagged=True, summary="Look at a line of a host's float")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.FloatLineOut, float_queries.float_line_for(self.person, pk))

    @writes(
        shapes.FloatLineIn,
        shapes.FloatLineOut,
        status=201,
        tagged=True,
        key="required",
        summary="Bring money to a host, pay a refund out, take money back, or count it",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        row = floats.move_float(actor=self.person, now=self.now, **given)
        return self.created(shapes.FloatLineOut, float_queries.float_line_for(self.person, row.pk))


class HostFloats(Doors):
    """What each host's float holds by its lines."""

    described_by = Site

    @gives(shapes.HostFloatOut, paged=True, summary="List hosts' floats")
    def list(self, request: Request) -> Response:
        return self.page(float_queries.floats(), shapes.HostFloatOut)


class CustodyDoors(Doors):
    """Cash between the machine and the bank that has not come to its end."""

    described_by = Bag

    @gives(shapes.CustodyOut, summary="See what waits between seal and bank, and what too long")
    def retrieve(self, request: Request) -> Response:
        return Response(self.shown(shapes.CustodyOut, open_custody(self.now)))


class LimitsOfCash(Doors):
    """Days after which cash that has not gone on is late, step by step."""

    described_by = CashLimits

    @gives(shapes.CashLimitsOut, tagged=True, summary="Look at how long cash may wait")
    def retrieve(self, request: Request) -> Response:
        return self.answer(shapes.CashLimitsOut, CashLimits.the())

    @writes(
        shapes.CashLimitsOut,
        shapes.CashLimitsOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Say how long cash may wait",
    )
    def partial_update(self, request: Request, given: dict[str, Any]) -> Response:
        self.matched(_limits, 1, shapes.CashLimitsOut)
        changed = save_cash_limits(changes=given, actor=self.person, now=self.now)
        return self.answer(shapes.CashLimitsOut, changed)


def _limits(person: Person, pk: int, *, write: bool = False) -> CashLimits:
    return CashLimits.the()


class CashDifferences(Doors):
    """Counted bags against what they should hold."""

    described_by = Bag

    @gives(
        shapes.DifferencesOut,
        query=shapes.DifferencesQuery,
        summary="See over and short by machine, driver or counter",
    )
    def retrieve(self, request: Request, asked: dict[str, Any]) -> Response:
        since, until = asked["since"], asked["until"]
        if not timedelta(0) < until - since <= timedelta(days=MOST_DAYS):
            message = f"give a moment after `since`, and at most {MOST_DAYS} days later"
            raise Unacceptable(message, fields={"until": message})
        machines = [asked["machine"]] if "machine" in asked else None
        found = differences(since=since, until=until, by=asked["by"], machines=machines)
        told = {
            "since": since,
            "until": until,
            "by": found.by,
            "subjects": found.subjects,
            "bags": found.bags[:MOST_BAGS],
            "bags_left_out": max(len(found.bags) - MOST_BAGS, 0),
        }
        return Response(self.shown(shapes.DifferencesOut, told))
