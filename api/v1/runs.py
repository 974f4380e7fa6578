"""Runs and their plans at the desk: planned, agreed, locked, changed, loaded."""

from collections.abc import Sequence
from typing import Any

from django.db.models import QuerySet
from django_filters import DateFilter, FilterSet
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Flag, Id, Word
from service.runs.actions import board, byhand, loading, plans
from service.runs.models import DayPlan, PlannedMachine, Run, Stop
from service.runs.queries import gates, geo, load

from .road_sheets import RunShape
from .runs_shapes import (
    ByHandIn,
    ChangeOut,
    DayPlanIn,
    DayPlanLine,
    DayPlanOut,
    GeoOut,
    InsertedOut,
    InsertIn,
    LoadOut,
    MachineWhyOut,
    MovedOut,
    MoveIn,
    PreviewInsertIn,
    ReasonIn,
    ReplanIn,
    ReplannedOut,
    RunOut,
    StopOut,
    WeekIn,
    WeekOut,
)

Given = dict[str, Any]


class PlanFilter(FilterSet):
    date = DateFilter()
    date_from = DateFilter("date", lookup_expr="gte")
    date_until = DateFilter("date", lookup_expr="lte")
    state = Word(of=DayPlan.State)


class DayPlans(Doors):
    """Days as they were planned, with the reasons and the independent score."""

    described_by = DayPlan
    filterset_class = PlanFilter

    @gives(DayPlanLine, paged=True, summary="List plans, latest day first")
    def list(self, request: Request) -> Response:
        return self.page(DayPlan.objects.order_by("-date", "-pk"), DayPlanLine)

    @gives(DayPlanOut, tagged=True, summary="Look at a plan with its runs and stops")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(DayPlanOut, self._whole(pk))

    @writes(DayPlanIn, DayPlanOut, status=201, tagged=True, summary="Plan a day; a draft")
    def create(self, request: Request, given: Given) -> Response:
        made = plans.plan_day(actor=self.person, now=self.now, **given)
        return self.created(DayPlanOut, self._whole(made.pk))

    @writes(WeekIn, WeekOut, status=201, summary="Plan several days in one search; drafts")
    @action(detail=False, methods=["post"])
    def week(self, request: Request, given: Given) -> Response:
        made = plans.plan_week(actor=self.person, now=self.now, **given)
        found = DayPlan.objects.filter(pk__in=[one.pk for one in made]).order_by("date", "pk")
        return Response(self.shown(WeekOut, {"plans": found}), status=201)

    @writes(None, DayPlanOut, tagged=True, key="required", summary="Agree to a draft")
    @action(detail=True, methods=["post"])
    def agree(self, request: Request, pk: int) -> Response:
        plan = gates.plan_for(self.person, pk, write=True)
        plans.agree(plan=plan, actor=self.person, now=self.now)
        return self.answer(DayPlanOut, self._whole(pk))

    @writes(None, DayPlanOut, tagged=True, key="required", summary="Give a draft up")
    @action(detail=True, methods=["post"])
    def drop(self, request: Request, pk: int) -> Response:
        plan = gates.plan_for(self.person, pk, write=True)
        plans.drop(plan=plan, actor=self.person, now=self.now)
        return self.answer(DayPlanOut, self._whole(pk))

    def _whole(self, pk: int) -> DayPlan:
        plan = gates.plan_for(self.person, pk)
        plan.all_runs = (  # type: ignore[attr-defined]
            Run.objects.filter(plan=plan)
            .select_related("driver", "vehicle", "depot__site")
            .prefetch_related("stops__machine", "stops__site")
            .order_by("pk")
        )
        return plan


class WhyFilter(FilterSet):
    plan = Id()
    machine = Id()
    included = Flag()


class PlannedMachines(Doors):
    """Why each machine is in a plan or out of it."""

    described_by = PlannedMachine
    filterset_class = WhyFilter

    @gives(MachineWhyOut, paged=True, summary="List machines with their reasons, latest plan first")
    def list(self, request: Request) -> Response:
        rows = PlannedMachine.objects.select_related("machine")
        return self.page(rows.order_by("-pk"), MachineWhyOut)


class RunFilter(FilterSet):
    date = DateFilter()
    date_from = DateFilter("date", lookup_expr="gte")
    date_until = DateFilter("date", lookup_expr="lte")
    driver = Id()
    vehicle = Id()
    plan = Id()
    state = Word(of=Run.State)
    agreed = Flag()


class Runs(Doors):
    """Drivers' days. A driver sees the own ones, once they are agreed."""

    described_by = Run
    filterset_class = RunFilter

    @gives(RunShape, paged=True, summary="List runs, latest day first")
    def list(self, request: Request) -> Response:
        return self.page(gates.runs_seen_by(self.person).order_by("-date", "-pk"), RunShape)

    @gives(RunOut, tagged=True, summary="Look at a run with its stops")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(RunOut, self._whole(pk))

    @writes(ByHandIn, RunOut, status=201, tagged=True, summary="Make a run by hand, agreed at once")
    def create(self, request: Request, given: Given) -> Response:
        run = byhand.add_run(actor=self.person, now=self.now, **given)
        return self.created(RunOut, self._whole(run.pk))

    @writes(None, RunOut, tagged=True, summary="Lock a run: its stops stay as they are")
    @action(detail=True, methods=["post"])
    def lock(self, request: Request, pk: int) -> Response:
        board.lock_run(run=gates.run_for(self.person, pk), actor=self.person, now=self.now)
        return self.answer(RunOut, self._whole(pk))

    @writes(None, RunOut, tagged=True, summary="Let a locked run be planned anew")
    @action(detail=True, methods=["post"])
    def unlock(self, request: Request, pk: int) -> Response:
        board.unlock_run(run=gates.run_for(self.person, pk), actor=self.person, now=self.now)
        return self.answer(RunOut, self._whole(pk))

    @writes(ReplanIn, ReplannedOut, summary="Plan the rest of a day anew")
    @action(detail=False, methods=["post"])
    def replan(self, request: Request, given: Given) -> Response:
        found = board.replan(actor=self.person, now=self.now, **given)
        runs = self._many([run.pk for run in found.runs])
        return Response(self.shown(ReplannedOut, {"runs": runs, "left_off": found.left_off}))

    @writes(
        PreviewInsertIn,
        ChangeOut,
        key="none",
        summary="Where one more stop costs least; nothing is changed",
    )
    @action(detail=False, methods=["post"], url_path="preview-insert")
    def preview_insert(self, request: Request, given: Given) -> Response:
        return Response(self.shown(ChangeOut, board.preview_insert(now=self.now, **given)))

    @writes(InsertIn, InsertedOut, status=201, summary="Put one more stop where it costs least")
    @action(detail=False, methods=["post"])
    def insert(self, request: Request, given: Given) -> Response:
        stop, change = board.insert_stop(actor=self.person, now=self.now, **given)
        found = gates.stop_for(self.person, stop.pk)
        answer = {"stop": found, "change": change}
        return Response(self.shown(InsertedOut, answer), status=201)

    @gives(LoadOut, summary="The load list, packed by stop and picked by product")
    @action(detail=True)
    def load(self, request: Request, pk: int) -> Response:
        return Response(self.shown(LoadOut, self._load(gates.run_for(self.person, pk))))

    @writes(None, LoadOut, summary="Work out the load list anew")
    @action(detail=True, methods=["post"], url_path="make-load")
    def make_load(self, request: Request, pk: int) -> Response:
        run = gates.run_for(self.person, pk)
        loading.make_load_list(run=run, actor=self.person, now=self.now)
        return Response(self.shown(LoadOut, self._load(run)))

    @gives(GeoOut, media_type="application/geo+json", summary="Depot and stops as GeoJSON")
    @action(detail=True, url_path="stops.geojson", url_name="geojson")
    def geojson(self, request: Request, pk: int) -> Response:
        found = geo.stops_geojson(gates.run_for(self.person, pk))
        return Response(found, content_type="application/geo+json")

    def _whole(self, pk: int) -> Run:
        return self._many([gates.run_for(self.person, pk).pk])[0]

    def _many(self, keys: Sequence[int]) -> "QuerySet[Run]":
        runs = gates.runs_seen_by(self.person).filter(pk__in=keys).order_by("pk")
        return runs.prefetch_related("stops__machine", "stops__site")

    def _load(self, run: Run) -> Given:
        lines = load.lines_of(run)
        return {"by_stop": load.by_stop(run, lines), "by_product": load.by_product(run, lines)}


class StopFilter(FilterSet):
    run = Id()
    machine = Id()
    date = DateFilter("run__date")
    state = Word(of=Stop.State)


class Stops(Doors):
    """Machines to visit. A driver sees those of the own runs."""

    described_by = Stop
    filterset_class = StopFilter

    @gives(StopOut, paged=True, summary="List stops, latest first")
    def list(self, request: Request) -> Response:
        return self.page(gates.stops_seen_by(self.person).order_by("-pk"), StopOut)

    @gives(StopOut, tagged=True, summary="Look at a stop")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(StopOut, gates.stop_for(self.person, pk))

    @writes(
        MoveIn, ChangeOut, key="none", summary="What moving a stop would change; nothing is changed"
    )
    @action(detail=True, methods=["post"], url_path="preview-move")
    def preview_move(self, request: Request, pk: int, given: Given) -> Response:
        stop = gates.stop_for(self.person, pk)
        return Response(self.shown(ChangeOut, board.preview_move(stop=stop, now=self.now, **given)))

    @writes(MoveIn, MovedOut, summary="Move a stop on its run, or to another run of the day")
    @action(detail=True, methods=["post"])
    def move(self, request: Request, pk: int, given: Given) -> Response:
        stop = gates.stop_for(self.person, pk)
        moved, change = board.move_stop(stop=stop, actor=self.person, now=self.now, **given)
        found = gates.stop_for(self.person, moved.pk)
        return Response(self.shown(MovedOut, {"stop": found, "change": change}))

    @writes(ReasonIn, ChangeOut, summary="Take a stop off its run")
    @action(detail=True, methods=["post"], url_path="take-off")
    def take_off(self, request: Request, pk: int, given: Given) -> Response:
        stop = gates.stop_for(self.person, pk)
        change = board.take_off(stop=stop, actor=self.person, now=self.now, **given)
        return Response(self.shown(ChangeOut, change))

    @writes(None, StopOut, tagged=True, summary="Keep a stop where it is when the day is replanned")
    @action(detail=True, methods=["post"])
    def lock(self, request: Request, pk: int) -> Response:
        return self._lock(pk, locked=True)

    @writes(None, StopOut, tagged=True, summary="Let a stop be moved when the day is replanned")
    @action(detail=True, methods=["post"])
    def unlock(self, request: Request, pk: int) -> Response:
        return self._lock(pk, locked=False)

    def _lock(self, pk: int, *, locked: bool) -> Response:
        stop = gates.stop_for(self.person, pk)
        board.lock_stop(stop=stop, locked=locked, actor=self.person, now=self.now)
        return self.answer(StopOut, gates.stop_for(self.person, pk))
