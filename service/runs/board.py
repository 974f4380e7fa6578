"""The runs of a day as they stand, for the computation: what is done, what is locked, what is left.

Made from the runs' own rows, so that a change can be tried without asking anew what every machine
needs.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from fleet.machines.models import OpeningWindow, Site
from service.compute.routing.places import Routes
from service.compute.routing.problem import Depot as DepotPlace
from service.compute.routing.problem import Load, Problem
from service.compute.routing.problem import Stop as PlannedFor
from service.compute.routing.results import Plan, PlannedRun, PlannedStop
from service.compute.routing.road import Done, Road, outsets

from .days import Day, day_of, windows
from .models import (
    Depot,
    DriverProfile,
    Run,
    RunAssumptions,
    ServiceAgreement,
    Stop,
    TicketStop,
    Visit,
)
from .queries.calendar import OnDuty
from .vehicles import left_name, planned_vehicle, vehicle_of
from .ways import matrix_between


@dataclass(frozen=True)
class Board:
    """A day's runs as a problem, a plan and what has happened; names lead back to the rows."""

    day: Day
    problem: Problem
    plan: Plan
    road: Road
    runs: Mapping[str, Run]
    stops: Mapping[str, Stop]
    passed_by: tuple[Stop, ...]
    """Skipped; they hold their place on the list and take no time."""


def board_of(
    runs: Sequence[Run],
    *,
    now: datetime,
    wanted: Sequence[Stop] = (),
    kept_worth: int = 0,
    on: date | None = None,
    idle: Sequence[OnDuty] = (),
    asks: Mapping[int, Sequence[str]] | None = None,
) -> Board:
    """The board of runs of one day. `wanted` are stops, not saved yet, that may be put on them.

    `kept_worth` (minor units) is what keeping a stop that was agreed is worth beside its prize.
    `idle` are drivers without a run, `on` names the day where nobody has one, `asks` are skills
    that machines, by key, ask for beside what is agreed.
    """
    day = day_of(on or runs[0].date)
    assumed = RunAssumptions.the()
    rows = list(
        Stop.objects.filter(run__in=runs)
        .select_related("machine__kind", "site", "run")
        .order_by("run", "sequence", "pk")
    )
    named = _named(rows, wanted)
    asked = named | {stop.machine.asset_tag: stop for stop in wanted}
    depots = _depots(runs, idle)
    sites = {depot.site_id: depot.site for depot in depots.values()}
    sites |= {stop.site_id: stop.site for stop in asked.values()}
    order = [sites[key] for key in sorted(sites)]
    places = {site.pk: index for index, site in enumerate(order)}
    opening = _opening(order)
    skills = _skills(asked.values(), asks or {})
    visits = {one.stop_id: one for one in Visit.objects.filter(stop__in=rows)}
    done = _done(day, named, visits, now)
    finished = {one.stop for one in done}
    stops = []
    for name in sorted(asked):
        stop = asked[name]
        hours = windows(stop.site, day, opening.get(stop.site_id, ()))
        if name in finished or hours is None:
            # What is done is done; a closed site is the fault of whoever puts the stop there.
            hours = ()
        stops.append(
            PlannedFor(
                name=name,
                place=places[stop.site_id],
                service_s=round(stop.service_minutes * 60),
                prize=max(0, stop.prize_minor) + (kept_worth if stop.pk is not None else 0),
                must_go="; ".join(one["said"] for one in stop.reasons if one.get("said"))
                if stop.must_go
                else "",
                windows=hours,
                skills=skills.get(stop.machine_id, ()),
                load=Load(stop.load_volume_ml, stop.load_weight_g, stop.load_cases),
            )
        )
    profiles = {
        one.person_id: one
        for one in DriverProfile.objects.filter(person__in=[run.driver_id for run in runs])
    }
    problem = Problem(
        stops=tuple(stops),
        vehicles=(
            *(vehicle_of(one, day, assumed) for one in idle),
            *(
                planned_vehicle(
                    vehicle=run.vehicle,
                    depot=run.depot,
                    starts_s=day.seconds(run.started_at or run.planned_start),
                    ends_s=day.seconds(run.shift_ends),
                    skills=tuple(sorted(profiles[run.driver_id].skills))
                    if run.driver_id in profiles
                    else (),
                    assumed=assumed,
                    has_left=run.started_at is not None,
                )
                for run in runs
            ),
        ),
        depots=tuple(
            DepotPlace(name, places[depot.site_id], loading_s)
            for _, depot in sorted(depots.items())
            for name, loading_s in (
                (depot.site.name, depot.loading_minutes * 60),
                (left_name(depot), 0),
            )
        ),
        matrix=matrix_between(order, depots=[depots[pk] for pk in sorted(depots)], assumed=assumed),
        seed=assumed.seed,
        iterations=assumed.effort,
    )
    locked = frozenset(name for name, stop in named.items() if stop.locked) - finished
    now_s = day.seconds(now)
    road = Road(now_s=max(0, min(now_s, 86_400)), done=done, locked=locked)
    vehicles = {run.pk: run.vehicle.name for run in runs}
    of_run: dict[str, list[str]] = defaultdict(list)
    for name, stop in named.items():
        of_run[vehicles[stop.run_id]].append(name)
    return Board(
        day=day,
        problem=problem,
        plan=timed_plan(problem, of_run, road),
        road=road,
        runs={run.vehicle.name: run for run in runs},
        stops=asked,
        passed_by=tuple(stop for stop in rows if stop.state == _SKIPPED),
    )


def timed_plan(problem: Problem, orders: Mapping[str, Sequence[str]], road: Road) -> Plan:
    """The plan that runs their stops in these orders; what is done keeps its real times."""
    untimed = Plan(
        tuple(
            _untimed(vehicle, [name for name in order if name in road.done_named], road)
            for vehicle, order in sorted(orders.items())
        )
    )
    starts = outsets(problem, road, untimed)
    left = {
        vehicle: [name for name in order if name not in road.done_named]
        for vehicle, order in orders.items()
    }
    return Plan(Routes(problem, left, starts).runs())


_SKIPPED = Stop.State.SKIPPED
_TO_COME = (Stop.State.PLANNED, Stop.State.ARRIVED)


def _done(
    day: Day, named: Mapping[str, Stop], visits: Mapping[int | None, Visit], now: datetime
) -> tuple[Done, ...]:
    """Visits with their real times; one still going on ends when it is expected to."""
    found = []
    for name, stop in named.items():
        visit = visits.get(stop.pk)
        if visit is None:
            continue
        arrived_s = day.seconds(visit.arrived_at)
        ended = visit.left_at or visit.ended_by
        if ended is None:
            expected = visit.arrived_at + timedelta(minutes=float(stop.service_minutes))
            ended = max(expected, min(now, visit.arrived_at + timedelta(days=1)))
        found.append(Done(name, max(0, arrived_s), max(0, arrived_s, day.seconds(ended))))
    return tuple(sorted(found, key=lambda one: (one.left_s, one.stop)))


def _untimed(vehicle: str, done: Sequence[str], road: Road) -> PlannedRun:
    times = [road.done_named[name] for name in done]
    starts_s = min((one.arrived_s for one in times), default=0)
    return PlannedRun(
        vehicle,
        starts_s,
        max((one.left_s for one in times), default=starts_s),
        tuple(
            PlannedStop(one.stop, one.arrived_s, one.arrived_s, one.left_s, 0, 0) for one in times
        ),
    )


def _opening(sites: Sequence[Site]) -> dict[int, list[OpeningWindow]]:
    found: dict[int, list[OpeningWindow]] = defaultdict(list)
    for one in OpeningWindow.objects.filter(site__in=sites).order_by("pk"):
        found[one.site_id].append(one)
    return found


def _skills(stops: Iterable[Stop], asks: Mapping[int, Sequence[str]]) -> dict[int, tuple[str, ...]]:
    """What each machine asks of who goes there: by agreement, and by the tickets on its stop."""
    machines = [stop.machine_id for stop in stops]
    found: dict[int, set[str]] = defaultdict(set)
    rows = ServiceAgreement.objects.filter(machine__in=machines).exclude(needs_skill="")
    for machine, skill in rows.values_list("machine", "needs_skill"):
        found[machine].add(skill)
    tickets = TicketStop.objects.filter(
        stop__in=[stop.pk for stop in stops if stop.pk is not None],
        ticket__closed_at__isnull=True,
    ).exclude(ticket__symptom__needs_skill="")
    for machine, skill in tickets.values_list("stop__machine", "ticket__symptom__needs_skill"):
        found[machine].add(skill)
    for machine, more in asks.items():
        found[machine].update(more)
    return {machine: tuple(sorted(several)) for machine, several in found.items()}


def _named(rows: Sequence[Stop], wanted: Sequence[Stop]) -> dict[str, Stop]:
    """Stops by the tags of their machines, skipped ones left out.

    A machine may be visited and break again: its visit that is over then gives way to the one that
    is still to come.
    """
    taken = {stop.machine.asset_tag for stop in wanted}
    taken |= {stop.machine.asset_tag for stop in rows if stop.state in _TO_COME}
    found: dict[str, Stop] = {}
    for stop in rows:
        tag = stop.machine.asset_tag
        if stop.state == _SKIPPED:
            continue
        if stop.state not in _TO_COME and (tag in taken or tag in found):
            tag = f"{tag}, visit {stop.pk}"
        found[tag] = stop
    return found


def _depots(runs: Sequence[Run], idle: Sequence[OnDuty]) -> dict[int, Depot]:
    found = {one.profile.depot_id: one.profile.depot for one in idle}
    return found | {run.depot_id: run.depot for run in runs}
