"""Days as the board shows them: the runs of a plan, what was left out, what it costs and earns."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Count, Q, QuerySet

from fleet.machines.models import OpeningWindow
from people.errors import NotFound
from service.compute.routing.problem import BadProblem
from service.compute.routing.scoring import score

from ..board import board_of
from ..days import Day, day_of, windows
from ..models import DayPlan, DriverProfile, PlannedMachine, Run, Stop
from ..writing import score_said
from .calendar import Calendar, Duty

MOST_PLANS = 12


@dataclass(frozen=True)
class Open:
    """Hours between which a site can be entered."""

    opens: datetime
    closes: datetime


@dataclass
class ShownStop:
    """A stop with the hours of its site that day; `place` counts from 1 along the run."""

    stop: Stop
    place: int
    hours: tuple[Open, ...]

    @property
    def misses_hours(self) -> bool:
        """Whether part of the visit falls outside the hours."""
        begins, ends = self.stop.planned_arrive, self.stop.planned_leave
        return bool(self.hours) and not any(
            one.opens <= begins and ends <= one.closes for one in self.hours
        )


@dataclass
class ShownRun:
    """A run with its stops in order."""

    run: Run
    stops: list[ShownStop] = field(default_factory=list)


@dataclass(frozen=True)
class DayBoard:
    """A day: the plan that is shown, its runs beside those made by hand, and what is left out."""

    day: Day
    plan: DayPlan | None
    plans: Sequence[DayPlan]
    runs: Sequence[ShownRun]
    out: Sequence[PlannedMachine]
    duty: Duty

    @property
    def can_change(self) -> bool:
        """Whether there is a run whose stops may still be moved."""
        return any(one.run.state != Run.State.ENDED for one in self.runs) and not self.is_dropped

    @property
    def is_dropped(self) -> bool:
        return self.plan is not None and self.plan.state == DayPlan.State.DROPPED

    @property
    def is_agreed(self) -> bool:
        return any(one.run.agreed for one in self.runs)


def day_board(on: date, plan: int | None = None) -> DayBoard:
    """The board of a day. Without a plan named: the one agreed, else the latest draft.

    Raises NotFound for a plan that is none of that day.
    """
    plans = list(
        DayPlan.objects.filter(date=on).select_related("made_by", "agreed_by").order_by("-pk")
    )
    shown = _shown(plans, plan)
    runs = list(
        Run.objects.filter(date=on)
        .filter(Q(agreed=True, plan__isnull=True) | Q(plan=shown, plan__isnull=False))
        .select_related("driver", "vehicle", "depot__site", "plan")
        .order_by("planned_start", "driver__name", "pk")
    )
    day = day_of(on)
    found = with_stops(runs, day)
    on_runs = {one.stop.machine_id for run in found for one in run.stops}
    out = (
        PlannedMachine.objects.filter(plan=shown)
        .exclude(machine__in=on_runs)
        .select_related("machine")
        .order_by("-prize_minor", "machine__asset_tag", "pk")
        if shown
        else ()
    )
    return DayBoard(day, shown, plans[:MOST_PLANS], found, list(out), Calendar(on, on).duty(on))


def _shown(plans: Sequence[DayPlan], asked: int | None) -> DayPlan | None:
    if asked is not None:
        found = next((one for one in plans if one.pk == asked), None)
        if found is None:
            raise NotFound(f"there is no plan {asked} of that day")
        return found
    agreed = next((one for one in plans if one.state == DayPlan.State.AGREED), None)
    return agreed or next((one for one in plans if one.state == DayPlan.State.DRAFT), None)


def with_stops(runs: Sequence[Run], day: Day) -> list[ShownRun]:
    """Runs with their stops and the hours of their sites. Two queries."""
    found = {run.pk: ShownRun(run) for run in runs}
    stops = list(
        Stop.objects.filter(run__in=found)
        .select_related("machine", "site", "visit")
        .order_by("run", "sequence", "pk")
    )
    opening: dict[int, list[OpeningWindow]] = defaultdict(list)
    for window in OpeningWindow.objects.filter(site__in={s.site_id for s in stops}).order_by("pk"):
        opening[window.site_id].append(window)
    for stop in stops:
        run = found[stop.run_id]
        hours = windows(stop.site, day, opening[stop.site_id]) or ()
        run.stops.append(
            ShownStop(
                stop,
                len(run.stops) + 1,
                tuple(Open(day.moment(one.opens_s), day.moment(one.closes_s)) for one in hours),
            )
        )
    return list(found.values())


def score_now(runs: Sequence[Run], *, now: datetime) -> dict[str, Any] | None:
    """What runs cost and earn as they stand, by the independent evaluator.

    None where that cannot be said: no run, a place without coordinates, a vehicle or machine that
    is on two of them (a draft beside a run made by hand since).
    """
    stops = Stop.objects.filter(run__in=runs)
    rows = list(stops.values_list("machine", "site__latitude"))
    places = [run.depot.site.latitude for run in runs] + [latitude for _, latitude in rows]
    if not runs or None in places:
        return None
    if len({run.vehicle_id for run in runs}) < len(runs):
        return None
    if len({machine for machine, _ in rows}) < len(rows):
        return None
    try:
        board = board_of(runs, now=now)
    except BadProblem:
        return None
    return score_said(score(board.problem, board.plan, board.road))


@dataclass(frozen=True)
class WeekDay:
    """One day of a week: who drives, its plan, what its runs add up to."""

    day: date
    duty: Duty
    plan: DayPlan | None
    drafts: int
    agreed: bool
    runs: int
    stops: int
    metres: int
    minutes: int
    prize_minor: int


@dataclass(frozen=True)
class Week:
    """Days, and for each machine on any of them where in each it stands.

    `cells`: by machine's key, then by day: the stop, or None.
    """

    days: Sequence[WeekDay]
    machines: Sequence[Any]
    cells: dict[int, list[Stop | None]]

    @property
    def lines(self) -> list[tuple[Any, list[Stop | None], int]]:
        """Each machine with its cells and its number of visits."""
        cells = self.cells
        return [(one, cells[one.pk], sum(map(bool, cells[one.pk]))) for one in self.machines]

    @property
    def stops(self) -> int:
        return sum(one.stops for one in self.days)

    @property
    def metres(self) -> int:
        return sum(one.metres for one in self.days)

    @property
    def minutes(self) -> int:
        return sum(one.minutes for one in self.days)

    @property
    def prize_minor(self) -> int:
        return sum(one.prize_minor for one in self.days)


def week_of(starts: date, days: int = 7) -> Week:
    """A week as it stands: what is agreed, else the latest draft of each day."""
    dates = [starts + timedelta(days=number) for number in range(days)]
    calendar = Calendar(dates[0], dates[-1])
    plans: dict[date, list[DayPlan]] = defaultdict(list)
    for one in DayPlan.objects.filter(date__in=dates).order_by("-pk"):
        plans[one.date].append(one)
    shown = {on: _shown(plans[on], None) for on in dates}
    runs = _runs_of(dates, [one.pk for one in shown.values() if one])
    stops = list(
        Stop.objects.filter(run__in=runs)
        .select_related("machine", "run", "site")
        .order_by("run__date", "sequence", "pk")
    )
    cells: dict[int, list[Stop | None]] = defaultdict(lambda: [None] * days)
    prizes: dict[date, list[int]] = defaultdict(list)
    machines = {}
    for stop in stops:
        prizes[stop.run.date].append(stop.prize_minor)
        machines[stop.machine_id] = stop.machine
        cells[stop.machine_id][(stop.run.date - starts).days] = stop
    by_day: dict[date, list[Run]] = defaultdict(list)
    for run in runs:
        by_day[run.date].append(run)
    return Week(
        [
            WeekDay(
                on,
                calendar.duty(on),
                shown[on],
                sum(one.state == DayPlan.State.DRAFT for one in plans[on]),
                any(run.agreed for run in by_day[on]),
                len(by_day[on]),
                len(prizes[on]),
                sum(run.planned_metres for run in by_day[on]),
                round(sum(_minutes(run) for run in by_day[on])),
                sum(prizes[on]),
            )
            for on in dates
        ],
        sorted(machines.values(), key=lambda machine: (machine.asset_tag, machine.pk)),
        dict(cells),
    )


def coming(dates: Iterable[date]) -> "QuerySet[Run]":
    """The agreed runs of days, with how many of their stops are done, left and skipped."""
    return (
        Run.objects.filter(date__in=list(dates), agreed=True)
        .select_related("driver", "vehicle", "depot__site")
        .annotate(
            stop_count=Count("stops"),
            done_count=Count("stops", filter=Q(stops__state=Stop.State.DONE)),
            skipped_count=Count("stops", filter=Q(stops__state=Stop.State.SKIPPED)),
        )
        .order_by("date", "planned_start", "driver__name", "pk")
    )


def _runs_of(dates: Sequence[date], plans: Sequence[int]) -> list[Run]:
    return list(
        Run.objects.filter(date__in=dates)
        .filter(Q(agreed=True, plan__isnull=True) | Q(plan__in=plans))
        .order_by("date", "pk")
    )


def _minutes(run: Run) -> float:
    return (run.planned_end - run.planned_start).total_seconds() / 60


def drivers_free(on: date) -> "QuerySet[DriverProfile]":
    """Active drivers who have no agreed run on a day."""
    busy = Run.objects.filter(date=on, agreed=True).values("driver")
    return (
        DriverProfile.objects.filter(active=True)
        .exclude(person__in=busy)
        .select_related("person", "vehicle")
        .order_by("person__name", "pk")
    )
