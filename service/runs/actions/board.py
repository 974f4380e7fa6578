"""The board of a day: lock, insert, move, take off, plan the rest anew; see what it does first."""

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction

from fleet.machines.models import Machine
from people import rows
from people.errors import Unacceptable
from people.models import Person
from service.compute.routing.change import Move, insert, moved
from service.compute.routing.problem import BadProblem
from service.compute.routing.rest_of_day import replan as plan_rest
from service.compute.routing.results import Delta

from ..board import Board, board_of
from ..gathering import Candidate, gather
from ..models import Run, Stop
from ..writing import must_said
from . import alongside
from .changes import Change, Rest, change_of, left_off_of
from .changing import agreed_runs, held_runs, whole, write
from .errors import CannotChange, RunsHaveBegun

MOST_TRIES = 3
KEPT_WORTH = 1_000_000
"""More than any day costs, in minor units: what was agreed to is left out only where it no longer
fits."""
OPEN = (Run.State.PLANNED, Run.State.LOCKED, Run.State.LOADING, Run.State.OUT)


@transaction.atomic
def lock_run(*, run: Run, actor: Person, now: datetime) -> Run:
    """Lock an agreed run: its stops stay in their order from now on. Raises RunsHaveBegun."""
    (held,) = held_runs([run.pk])
    if not held.agreed:
        raise CannotChange(f"{held}: agree to its plan first", code="run_not_agreed")
    if held.state != Run.State.PLANNED:
        raise RunsHaveBegun(held, "only a planned run is locked")
    Stop.objects.filter(run=held).update(locked=True, updated_at=now)
    return rows.put(held, {"state": Run.State.LOCKED}, actor=actor, verb="lock run", now=now)


@transaction.atomic
def unlock_run(*, run: Run, actor: Person, now: datetime) -> Run:
    """Let a locked run be planned anew. Raises RunsHaveBegun once it is being loaded."""
    (held,) = held_runs([run.pk])
    if held.state != Run.State.LOCKED:
        raise RunsHaveBegun(held, "only a locked run is unlocked")
    Stop.objects.filter(run=held).update(locked=False, updated_at=now)
    return rows.put(held, {"state": Run.State.PLANNED}, actor=actor, verb="unlock run", now=now)


@transaction.atomic
def lock_stop(*, stop: Stop, locked: bool, actor: Person, now: datetime) -> Stop:
    """Keep a stop on its run and in its place when the day is planned anew, or let it go."""
    held_runs([stop.run_id])
    fresh = Stop.objects.select_related("run", "machine", "site").get(pk=stop.pk)
    verb = "lock stop" if locked else "unlock stop"
    return rows.put(fresh, {"locked": locked}, actor=actor, verb=verb, now=now)


def preview_insert(
    *, machine: Machine, now: datetime, day: date | None = None, run: Run | None = None
) -> Change:
    """Where one more stop on a day costs least, or on one run, before anybody says yes.

    Raises CannotChange where there is no run, or the machine is on one already.
    """
    runs = _runs_of(day, run)
    board = board_of(runs, now=now, wanted=[_wanted(machine, runs, now)])
    return _inserted(board, machine)[0]


@transaction.atomic
def insert_stop(
    *,
    machine: Machine,
    reason: str,
    actor: Person,
    now: datetime,
    day: date | None = None,
    run: Run | None = None,
    must_go: bool = True,
    seen: str | None = None,
) -> tuple[Stop, Change]:
    """Put one more stop where it costs least on the runs of a day, or on one run.

    `seen` is how the runs stood when it was decided. Raises CannotChange, Unacceptable.
    """
    why = reason.strip()
    if not why:
        raise Unacceptable("say why it is visited", fields={"reason": "say why"})
    runs = held_runs([one.pk for one in _runs_of(day, run)], seen)
    wanted = _wanted(machine, runs, now)
    wanted.must_go = must_go
    wanted.reasons = [{"code": "inserted", "said": why[:300]}, *wanted.reasons]
    board = board_of(runs, now=now, wanted=[wanted])
    change, delta = _inserted(board, machine)
    write(board, delta.plan, verb="insert stop", actor=actor, now=now, reason=why)
    alongside.take_up([wanted.run], actor=actor, now=now)
    return Stop.objects.select_related("run").get(pk=wanted.pk), change


def preview_move(*, stop: Stop, run: Run, position: int, now: datetime) -> Change:
    """What moving a stop would change. `position` is its place on the run afterwards, from 1."""
    runs = _both(stop, run)
    board = board_of(runs, now=now)
    return _moved(board, stop, run, position)[0]


@transaction.atomic
def move_stop(
    *,
    stop: Stop,
    run: Run,
    position: int,
    actor: Person,
    now: datetime,
    seen: str | None = None,
) -> tuple[Stop, Change]:
    """Move a stop to a place on its run or on another of the day.

    What it breaks (an hour, a shift) is told and not refused; the dispatcher decides. `seen` is how
    the runs stood when it was. Raises CannotChange for a stop that is done or locked.
    """
    runs = held_runs([one.pk for one in _both(stop, run)], seen)
    board = board_of(runs, now=now)
    change, delta = _moved(board, stop, run, position)
    write(board, delta.plan, verb="move stop", actor=actor, now=now)
    return Stop.objects.select_related("run").get(pk=stop.pk), change


def preview_take_off(*, stop: Stop, now: datetime) -> Change:
    """What taking a stop off its run would change."""
    board = board_of(_runs_of(None, stop.run), now=now)
    return change_of(_delta(board, Move(stop.machine.asset_tag, "")), "", 0)


@transaction.atomic
def take_off(
    *, stop: Stop, reason: str, actor: Person, now: datetime, seen: str | None = None
) -> Change:
    """Take a stop off its run; `seen` is how the run stood when it was decided.

    Raises CannotChange for one that is done or locked.
    """
    why = reason.strip()
    if not why:
        raise Unacceptable("say why it is taken off", fields={"reason": "say why"})
    runs = held_runs([stop.run_id], seen)
    board = board_of(runs, now=now)
    delta = _delta(board, Move(stop.machine.asset_tag, ""))
    write(board, delta.plan, verb="take stop off", actor=actor, now=now, reason=why)
    return change_of(delta, "", 0)


def replan(*, date: date, actor: Person, now: datetime) -> Rest:
    """Plan the rest of a day anew: what is done and locked stays, what has to be visited and is on
    no run goes in where it costs least. What no longer fits is named in the answer.

    It is searched without holding anybody up; a visit that closes meanwhile is seen, and the search
    made once more. Raises CannotChange where nothing is agreed, or the day does not stand still.
    """
    for _ in range(MOST_TRIES):
        runs = agreed_runs(date)
        wanted = _must_go_now(date, runs, now)
        board = board_of(runs, now=now, wanted=wanted, kept_worth=KEPT_WORTH)
        found = plan_rest(board.problem, board.plan, board.road)
        with transaction.atomic():
            held = held_runs([run.pk for run in runs])
            if _state(board_of(held, now=now, wanted=wanted)) != _state(board):
                continue
            write(board, found, verb="plan rest of day", actor=actor, now=now)
            alongside.take_up(held, actor=actor, now=now)
        return Rest(agreed_runs(date), left_off_of(board, found))
    raise CannotChange(
        f"the runs of {date} change too quickly to be planned anew; try again", code="busy"
    )


def _runs_of(day: date | None, run: Run | None) -> list[Run]:
    if run is not None:
        return [whole().get(pk=run.pk)]
    if day is None:
        raise Unacceptable("name a day or a run", fields={"day": "name a day or a run"})
    return agreed_runs(day)


def _both(stop: Stop, run: Run) -> list[Run]:
    runs = list(whole().filter(pk__in={stop.run_id, run.pk}))
    if len({(one.date, one.agreed, one.plan_id if not one.agreed else 0) for one in runs}) > 1:
        message = "a stop moves among the runs of one day and plan"
        raise Unacceptable(message, fields={"run": message})
    return runs


def _wanted(machine: Machine, runs: Sequence[Run], now: datetime) -> Stop:
    """A stop for a machine, with what its visit takes that day. Raises CannotChange."""
    day = runs[0].date
    # A machine that was visited and breaks again may be visited again.
    on = (
        Stop.objects.filter(
            machine=machine, run__date=day, run__agreed=runs[0].agreed, run__plan=runs[0].plan
        )
        .exclude(state=Stop.State.DONE)
        .first()
    )
    if on is not None:
        raise CannotChange(f"{machine} is on the run of {on.run.driver} already", code="on_a_run")
    (question,) = gather([day], now=now, machines=[machine.pk])
    found = question.candidates.get(machine.asset_tag)
    if found is None:
        why = question.left_out[0].said if question.left_out else "is not in service"
        raise CannotChange(f"{machine} {why}", code="cannot_be_visited")
    return stop_of(found)


def stop_of(found: Candidate) -> Stop:
    """A stop as it is wanted, of no run yet."""
    load = found.need
    return Stop(
        machine=found.machine,
        site=found.site,
        service_minutes=found.service_minutes,
        must_go=bool(found.must),
        reasons=must_said(found),
        prize_minor=found.need.prize_minor,
        load_volume_ml=round(load.volume_ml),
        load_weight_g=round(load.weight_g),
        load_cases=round(load.cases),
    )


def _must_go_now(day: date, runs: Sequence[Run], now: datetime) -> list[Stop]:
    on = set(Stop.objects.filter(run__in=runs).values_list("machine", flat=True))
    (question,) = gather([day], now=now)
    return [
        stop_of(one)
        for one in question.candidates.values()
        if one.must and one.machine.pk not in on
    ]


def _inserted(board: Board, machine: Machine) -> tuple[Change, Delta]:
    found = insert(board.problem, board.plan, machine.asset_tag, board.road)
    if found is None:
        raise CannotChange("there is no run to put it on", code="no_runs")
    return change_of(found.delta, found.vehicle, found.at + 1), found.delta


def _moved(board: Board, stop: Stop, run: Run, position: int) -> tuple[Change, Delta]:
    vehicle = run.vehicle.name
    # Skipped stops keep their place on the list and are unknown to the computation.
    before = sum(1 for one in board.passed_by if one.run_id == run.pk and one.sequence < position)
    delta = _delta(board, Move(stop.machine.asset_tag, vehicle, max(0, position - 1 - before)))
    return change_of(delta, vehicle, position), delta


def _delta(board: Board, move: Move) -> Delta:
    try:
        return moved(board.problem, board.plan, move, board.road)
    except BadProblem as error:
        raise CannotChange(str(error)) from error


def _state(board: Board) -> object:
    """What a search stands on, but for the minute it is made in."""
    return (
        [one.stop for one in board.road.done],
        board.road.locked,
        {run.vehicle: run.names for run in board.plan.runs},
        sorted(stop.pk for stop in board.passed_by),
        {name: run.state for name, run in board.runs.items()},
    )
