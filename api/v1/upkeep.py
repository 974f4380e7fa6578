"""Planned maintenance: plans, what is due, what was done, readings, calendars, reliability."""

from datetime import timedelta
from typing import Any

from django_filters import DateFilter, FilterSet
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from api.doors import Doors, gives, nothing, writes
from api.exports import Exporting, exports
from api.filters import Flag, Id, Moment, Text, Word
from people.exports import Table, within
from people.models import Business
from service.compliance.actions import temperatures
from service.compute.reliability import DAYS_A_MONTH
from service.tickets.models import ServiceSettings
from service.upkeep import tables
from service.upkeep.actions import calendars, due, plans, work
from service.upkeep.models import (
    CalendarAddress,
    DueWork,
    MaintenanceDone,
    MaintenancePlan,
    OwnTerms,
    Reading,
)
from service.upkeep.models.plans import Trigger
from service.upkeep.queries import gates
from service.upkeep.queries import reliability as figures_of
from service.upkeep.queries.due import turns_whole

from . import upkeep_shapes as shapes

MOST_MACHINES = 500


class PlanFilter(FilterSet):
    trigger = Word(of=Trigger)
    kind = Id()
    machine = Id()
    active = Flag()
    search = Text("name", lookup_expr="icontains")


class MaintenancePlans(Doors):
    """Work that comes again: on which machines, how often, and what is checked."""

    described_by = MaintenancePlan
    filterset_class = PlanFilter

    @gives(shapes.MaintenancePlanOut, paged=True, summary="List maintenance plans")
    def list(self, request: Request) -> Response:
        return self.page(MaintenancePlan.objects.order_by("name", "pk"), shapes.MaintenancePlanOut)

    @gives(shapes.MaintenancePlanOut, tagged=True, summary="Look at a maintenance plan")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.MaintenancePlanOut, gates.plan_for(self.person, pk))

    @writes(
        shapes.MaintenancePlanIn,
        shapes.MaintenancePlanOut,
        status=201,
        tagged=True,
        summary="Make a maintenance plan",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = plans.save_plan(changes=given, actor=self.person, now=self.now)
        return self.created(shapes.MaintenancePlanOut, gates.plan_for(self.person, saved.pk))

    @writes(
        shapes.MaintenancePlanIn,
        shapes.MaintenancePlanOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a maintenance plan",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        plan = self.matched(gates.plan_for, pk, shapes.MaintenancePlanOut)
        plans.save_plan(plan=plan, changes=given, actor=self.person, now=self.now)
        return self.answer(shapes.MaintenancePlanOut, gates.plan_for(self.person, pk))


class OwnTermsFilter(FilterSet):
    plan = Id()
    machine = Id()


class OwnTermsDoors(Doors):
    """Machines' own intervals of plans, and machines that are left out of one."""

    described_by = OwnTerms
    filterset_class = OwnTermsFilter

    @gives(shapes.OwnTermsOut, paged=True, summary="List machines' own terms")
    def list(self, request: Request) -> Response:
        return self.page(OwnTerms.objects.order_by("pk"), shapes.OwnTermsOut)

    @gives(shapes.OwnTermsOut, tagged=True, summary="Look at a machine's own terms")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.OwnTermsOut, gates.own_terms_for(self.person, pk))

    @writes(
        shapes.OwnTermsIn,
        shapes.OwnTermsOut,
        status=201,
        tagged=True,
        summary="Give a machine its own terms of a plan, in place of those it had",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        plan, machine = given.pop("plan"), given.pop("machine")
        said = {"every_days": None, "every_vends": None, "left_out": False} | given
        kept = plans.save_own_terms(
            plan=plan, machine=machine, changes=said, actor=self.person, now=self.now
        )
        return self.created(shapes.OwnTermsOut, gates.own_terms_for(self.person, kept.pk))

    @writes(status=204, matched=True, summary="Let a machine go by the plan again")
    def destroy(self, request: Request, pk: int) -> Response:
        own = self.matched(gates.own_terms_for, pk, shapes.OwnTermsOut)
        plans.remove_own_terms(own=own, actor=self.person, now=self.now)
        return nothing()


class DueFilter(FilterSet):
    state = Word(of=DueWork.State)
    machine = Id()
    plan = Id()
    kind = Id("machine__kind")
    given_to = Id()
    day_from = DateFilter("day", lookup_expr="gte")
    day_until = DateFilter("day", lookup_expr="lte")


class DueWorks(Exporting, Doors):
    """Each plan's next turn at each machine, and the turns before."""

    described_by = DueWork
    filterset_class = DueFilter

    @gives(shapes.DueOut, paged=True, summary="List due work, the first due first")
    def list(self, request: Request) -> Response:
        return self.page(turns_whole().order_by("day", "pk"), shapes.DueOut)

    @exports("Due work as a file")
    def export(self, request: Request) -> Table:
        rows = self.narrowed(turns_whole().order_by("day", "pk"), "as")
        return tables.due(within(rows), Business.the().time_zone)

    @gives(shapes.DueOut, tagged=True, summary="Look at a turn")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self._turn(pk)

    @writes(
        shapes.PutOffIn,
        shapes.DueOut,
        tagged=True,
        summary="Move a turn to another day, or back to its own",
    )
    @action(detail=True, methods=["post"], url_path="put-off", url_name="put-off")
    def put_off(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.due_for(self.person, pk, write=True)
        due.put_off(due=found, actor=self.person, now=self.now, **given)
        return self._turn(pk)

    @writes(shapes.GiveDueIn, shapes.DueOut, tagged=True, summary="Say who does a turn")
    @action(detail=True, methods=["post"])
    def give(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.due_for(self.person, pk, write=True)
        due.give(due=found, actor=self.person, now=self.now, **given)
        return self._turn(pk)

    def _turn(self, pk: int) -> Response:
        gates.due_for(self.person, pk)
        return self.answer(shapes.DueOut, turns_whole().get(pk=pk))


class DoneFilter(FilterSet):
    machine = Id()
    plan = Id()
    by = Id()
    since = Moment("done_at")
    until = Moment("done_at", lookup_expr="lt")


class MaintenanceDoneDoors(Doors):
    """Maintenance that was done."""

    described_by = MaintenanceDone
    filterset_class = DoneFilter

    @gives(shapes.DoneOut, paged=True, summary="List maintenance done, the latest first")
    def list(self, request: Request) -> Response:
        return self.page(gates.done_whole().order_by("-done_at", "-pk"), shapes.DoneOut)

    @gives(shapes.DoneOut, tagged=True, summary="Look at maintenance done")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.DoneOut, gates.done_for(self.person, pk))

    @writes(
        shapes.DoneIn,
        shapes.DoneOut,
        status=201,
        tagged=True,
        key="required",
        summary="Write down maintenance that was done; the next turn is counted from it",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        answers = [work.Answer(**one) for one in given.pop("answers")]
        readings = [work.Taken(**one) for one in given.pop("readings")]
        written = work.done(
            answers=answers, readings=readings, actor=self.person, now=self.now, **given
        )
        return self.created(shapes.DoneOut, gates.done_for(self.person, written.pk))

    @writes(
        shapes.SetAsideIn, shapes.DoneOut, tagged=True, summary="Take back what was told by mistake"
    )
    @action(detail=True, methods=["post"], url_path="set-aside", url_name="set-aside")
    def set_aside(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = gates.done_for(self.person, pk, write=True)
        work.set_aside(done=found, actor=self.person, now=self.now, **given)
        return self.answer(shapes.DoneOut, gates.done_for(self.person, pk))


class ReadingFilter(FilterSet):
    machine = Id()
    what = Word(of=Reading.What)
    since = Moment("taken_at")
    until = Moment("taken_at", lookup_expr="lt")


class Readings(Doors):
    """Values read off at machines."""

    described_by = Reading
    filterset_class = ReadingFilter

    @gives(shapes.ReadingOut, paged=True, summary="List readings, the latest first")
    def list(self, request: Request) -> Response:
        return self.page(Reading.objects.order_by("-taken_at", "-pk"), shapes.ReadingOut)

    @writes(
        shapes.ReadingIn, shapes.ReadingOut, status=201, key="required", summary="Take a reading"
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        taken = temperatures.take_reading(
            source=Reading.Source.API, actor=self.person, now=self.now, **given
        )
        return Response(self.shown(shapes.ReadingOut, taken), status=201)


class CalendarAddresses(Doors):
    """Secret addresses at which a calendar program finds due work."""

    described_by = CalendarAddress

    @gives(shapes.CalendarOut, paged=True, summary="List one's own calendar addresses")
    def list(self, request: Request) -> Response:
        return self.page(gates.addresses_of(self.person), shapes.CalendarOut)

    @writes(
        shapes.CalendarIn,
        shapes.CalendarMade,
        status=201,
        key="none",
        summary="Make a calendar address; it is told this once",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        row, secret = calendars.make(
            person=self.person,
            name=given["name"],
            shows=given.get("shows", CalendarAddress.Shows.MINE),
            actor=self.person,
            now=self.now,
        )
        address = request.build_absolute_uri(reverse("office:calendar-feed", args=[secret]))
        made = {"row": row, "address": address}
        return Response(self.shown(shapes.CalendarMade, made), status=201)

    @writes(output=shapes.CalendarOut, summary="Take a calendar address away")
    @action(detail=True, methods=["post"])
    def revoke(self, request: Request, pk: int) -> Response:
        found = gates.address_for(self.person, pk)
        calendars.revoke(address=found, actor=self.person, now=self.now)
        return Response(self.shown(shapes.CalendarOut, gates.address_for(self.person, pk)))


class Reliability(Doors):
    """How reliable machines were."""

    described_by = MaintenancePlan

    @gives(
        shapes.ReliabilityOut,
        query=shapes.ReliabilityQuery,
        summary="Time between failures, time to fix, first-time fixes and cost",
    )
    def retrieve(self, request: Request, asked: dict[str, Any]) -> Response:
        until = self.now
        since = until - timedelta(days=round(DAYS_A_MONTH * asked["months"]))
        rows = figures_of.of_machines(since, until, kind=asked.get("kind"))
        labour = ServiceSettings.the().labour_per_hour
        told = {
            "since": since,
            "until": until,
            "kinds": [
                figures_of.figures(raw, labour_per_hour=labour, alike=alike)
                for raw, alike in figures_of.by_kind(rows)
            ],
            "machines": [
                figures_of.figures(raw, labour_per_hour=labour) for raw in rows[:MOST_MACHINES]
            ],
        }
        return Response(self.shown(shapes.ReliabilityOut, told))
