"""Runs held while they are changed, and put down as a changed plan has them."""

from collections.abc import Sequence
from datetime import date, datetime

from django.db.models import QuerySet

from people import audit
from people.models import Person
from service.compute.routing.results import Plan
from service.compute.routing.scoring import score

from ..board import Board
from ..models import DayPlan, Run, Stop
from ..queries.standing import standing_of
from . import alongside
from .errors import CannotChange, RunsHaveBegun

OPEN = (Run.State.PLANNED, Run.State.LOCKED, Run.State.LOADING, Run.State.OUT)


def agreed_runs(day: date) -> list[Run]:
    runs = list(whole().filter(date=day, agreed=True, state__in=OPEN))
    if not runs:
        raise CannotChange(f"no run of {day} is agreed and still to be driven", code="no_runs")
    return runs


def whole() -> "QuerySet[Run]":
    return Run.objects.select_related("driver", "vehicle", "depot__site", "plan").order_by("pk")


def held_runs(keys: Sequence[int], seen: str | None = None) -> list[Run]:
    """The runs under a lock, in the order of their keys: acts from the road wait, or were first.

    The tickets on them are held before them.
    """
    alongside.hold_tickets(keys)
    runs = list(whole().select_for_update(no_key=True, of=("self",)).filter(pk__in=keys))
    if seen is not None and seen != standing_of(keys):
        raise CannotChange(
            "the runs are no longer as they were when this was decided, so nothing was changed",
            code="changed_meanwhile",
        )
    for run in runs:
        if run.state == Run.State.ENDED:
            raise RunsHaveBegun(run, "it is over")
        if run.plan is not None and run.plan.state == DayPlan.State.DROPPED:
            raise CannotChange(f"{run.plan} is dropped; nothing of it is changed any more")
    return runs


def write(
    board: Board, plan: Plan, *, verb: str, actor: Person, now: datetime, reason: str = ""
) -> None:
    """Put the stops down as a plan has them; what is on no run any more goes."""
    passed_by = {
        run.pk: [s for s in board.passed_by if s.run_id == run.pk] for run in board.runs.values()
    }
    before = {run.pk: _order(run) for run in board.runs.values()}
    kept: set[str] = set()
    metres = {run.vehicle: run.drive_m for run in score(board.problem, plan, board.road).runs}
    planned = {run.vehicle: run for run in plan.runs}
    for vehicle, run in board.runs.items():
        one = planned.get(vehicle)
        stops = list(one.stops) if one is not None else []
        number = 0
        waiting = list(passed_by[run.pk])
        for at in stops:
            while waiting and waiting[0].sequence <= number + 1:
                number += 1
                _place(waiting.pop(0), run, number)
            number += 1
            kept.add(at.stop)
            stop = board.stops[at.stop]
            before_s = (stop.planned_arrive, stop.planned_leave)
            if at.stop not in board.road.done_named or stop.pk is None:
                stop.planned_arrive = board.day.moment(at.begins_s)
                stop.planned_leave = board.day.moment(at.leaves_s)
            is_later = before_s != (stop.planned_arrive, stop.planned_leave)
            _place(stop, run, number, timed_anew=is_later)
        for stop in waiting:
            number += 1
            _place(stop, run, number)
        if one is not None and one.stops:
            run.planned_end = board.day.moment(one.ends_s)
            run.planned_metres = metres[vehicle]
            run.save(update_fields=["planned_end", "planned_metres", "updated_at"])
    gone = [s for name, s in board.stops.items() if name not in kept and s.pk is not None]
    worked_on = next((stop for stop in gone if stop.acts.exists()), None)
    if worked_on is not None:
        raise CannotChange(f"{worked_on} has been worked on and stays on its run")
    if gone:
        alongside.leave_behind(gone, actor=actor, now=now, reason=reason)
        Stop.objects.filter(pk__in=[stop.pk for stop in gone]).delete()
    alongside.go_along(board.runs.values(), actor=actor, now=now)
    for run in board.runs.values():
        after = _order(run)
        if after != before[run.pk]:
            audit.record(
                actor=actor,
                verb=verb,
                row=run,
                now=now,
                before={"stops": before[run.pk]},
                after={"stops": after},
                reason=reason,
            )


def _place(stop: Stop, run: Run, number: int, *, timed_anew: bool = False) -> None:
    if stop.pk is not None and stop.run_id == run.pk and stop.sequence == number:
        if timed_anew:
            stop.save(update_fields=["planned_arrive", "planned_leave", "updated_at"])
        return
    if stop.pk is not None and stop.run_id != run.pk:
        # What was packed for it rides on the truck it was loaded on; the rest is to be listed anew.
        stop.load_lines.filter(picked__isnull=True).delete()
        stop.load_lines.update(stop=None)
    stop.run, stop.sequence = run, number
    stop.save()


def _order(run: Run) -> list[str]:
    return list(
        Stop.objects.filter(run=run)
        .order_by("sequence")
        .values_list("machine__asset_tag", flat=True)
    )
