"""What a day is planned from: machines with their needs, deadlines and hours; drivers; travel.

Everything is read in a fixed number of queries, and said in the units of the computation.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from math import ceil

from django.db.models import Count, Max, Q

from fleet.demand.models import DemandRules
from fleet.demand.queries.needs import MachineNeed, machine_needs
from fleet.inventory.models import StockCount
from fleet.machines.models import Changeover, Machine, OpeningWindow, Placement, Site
from people.models import Business
from service.compute.routing.problem import Depot as DepotPlace
from service.compute.routing.problem import Load, Matrix, Problem, Stop, Window

from .days import Day, day_of, windows
from .models import Depot, Run, RunAssumptions, ServiceAgreement, ServiceTime, Visit
from .queries.calendar import Calendar, Duty, OnDuty
from .ticketed import NONE, Asked, asked_of
from .vehicles import vehicle_of
from .ways import matrix_between

OPEN = (Changeover.State.PLANNED, Changeover.State.IN_HAND)


@dataclass(frozen=True)
class Must:
    """Why a machine may not be left out: a stable code, and words."""

    code: str
    said: str


@dataclass(frozen=True)
class Candidate:
    """A machine that could be visited on a day, with all that speaks for it."""

    machine: Machine
    site: Site
    need: MachineNeed
    next_chance: date
    service_minutes: float
    must: tuple[Must, ...]
    asked: Asked = NONE


@dataclass(frozen=True)
class LeftOut:
    """A machine that is not even asked about on a day, and why."""

    machine: Machine
    code: str
    said: str


@dataclass(frozen=True)
class Question:
    """A day as it is put to the computation, and what its names mean: machines go by their tags,
    drivers by their vehicles."""

    day: Day
    problem: Problem
    candidates: Mapping[str, Candidate]
    drivers: Mapping[str, OnDuty]
    duty: Duty
    left_out: tuple[LeftOut, ...]
    assumed: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Standing:
    """A machine in service, and where it stands."""

    machine: Machine
    site: Site


def gather(
    dates: Sequence[date],
    *,
    now: datetime,
    seed: int | None = None,
    effort: int | None = None,
    machines: Iterable[int] | None = None,
) -> list[Question]:
    """The questions of days that are planned together, over one matrix, in the order of `dates`.

    What is at stake on each is set against the first chance to visit after the last of them.
    `machines` narrows it to some, by key.
    """
    assumed = RunAssumptions.the()
    first, last = min(dates), max(dates)
    calendar = Calendar(first, last + timedelta(days=40))
    standing, gone = _standing(day_of(first), machines)
    opening = _opening({one.site.pk for one in standing})
    facts = _Facts(standing, assumed, last)
    depots = list(
        Depot.objects.filter(active=True, site__latitude__isnull=False)
        .select_related("site")
        .order_by("pk")
    )
    sites = sorted({one.site.pk: one.site for one in standing}.values(), key=lambda site: site.pk)
    places = {site.pk: index for index, site in enumerate(_once(depots, sites))}
    matrix = matrix_between(_once(depots, sites), depots=depots, assumed=assumed)
    questions = []
    due: set[int] = set()
    for when in dates:
        question = _question(
            _Gathered(calendar, standing, opening, facts, depots, places, matrix, assumed),
            day_of(when),
            last=last,
            now=now,
            due=due,
            gone=gone,
        )
        problem = replace(
            question.problem,
            seed=assumed.seed if seed is None else seed,
            iterations=assumed.effort if effort is None else effort,
        )
        questions.append(replace(question, problem=problem))
    return questions


@dataclass(frozen=True)
class _Gathered:
    calendar: Calendar
    standing: Sequence[Standing]
    opening: Mapping[int, list[OpeningWindow]]
    facts: "_Facts"
    depots: Sequence[Depot]
    places: Mapping[int, int]
    matrix: Matrix
    assumed: RunAssumptions


def _question(
    all_: _Gathered,
    day: Day,
    *,
    last: date,
    now: datetime,
    due: set[int],
    gone: Sequence[LeftOut],
) -> Question:
    taken = list(
        Run.objects.filter(date=day.date, agreed=True, plan__isnull=True).prefetch_related("stops")
    )
    elsewhere = {stop.machine_id for run in taken for stop in run.stops.all()}
    busy = {run.driver_id for run in taken} | {0}
    duty = all_.calendar.duty(day.date)
    on = [
        one
        for one in duty.on
        if one.profile.person_id not in busy
        and one.vehicle.pk not in {run.vehicle_id for run in taken}
    ]
    left_out = list(gone)
    open_: dict[int, tuple[Standing, tuple[Window, ...]]] = {}
    for one in all_.standing:
        entered = windows(one.site, day, all_.opening[one.site.pk])
        if one.machine.pk in elsewhere:
            left_out.append(
                LeftOut(one.machine, "on_another_run", "is on a run agreed by hand already")
            )
        elif entered is None:
            said = f"{one.site} cannot be entered on a {day.date:%A}"
            left_out.append(LeftOut(one.machine, "site_closed", said))
        else:
            open_[one.machine.pk] = (one, entered)
    chances = {
        key: all_.calendar.next_chance(last, _open_weekdays(all_.opening[one.site.pk]))
        for key, (one, _) in open_.items()
    }
    needs = (
        machine_needs(
            [one.machine for one, _ in open_.values()],
            day=day.date,
            next_chance=chances,
            now=now,
        )
        if open_
        else {}
    )
    tickets = asked_of(open_, day.date)
    candidates: dict[str, Candidate] = {}
    stops = []
    for key in sorted(open_):
        one, hours = open_[key]
        asked = tickets.get(key, NONE)
        must = (
            *(Must("ticket", why) for why in asked.must(chances[key])),
            *all_.facts.must(one.machine, needs[key], day.date, chances[key]),
        )
        # Over several days the first on which it must be visited is the last on which it may.
        if key in due:
            must = ()
        elif must:
            due.add(key)
        candidate = Candidate(
            one.machine,
            one.site,
            needs[key],
            chances[key],
            round(all_.facts.service_minutes(one.machine, day.date) + asked.minutes, 1),
            must,
            asked,
        )
        name = one.machine.asset_tag
        candidates[name] = candidate
        stops.append(
            Stop(
                name=name,
                place=all_.places[one.site.pk],
                service_s=round(candidate.service_minutes * 60),
                prize=max(0, candidate.need.prize_minor),
                units=candidate.need.units_at_stake,
                must_go="; ".join(reason.said for reason in must),
                windows=hours,
                skills=tuple(sorted({*all_.facts.skills(one.machine), *asked.skills})),
                load=load_of(candidate.need),
            )
        )
    return Question(
        day=day,
        problem=Problem(
            stops=tuple(stops),
            vehicles=tuple(vehicle_of(one, day, all_.assumed) for one in on),
            depots=tuple(
                DepotPlace(
                    depot.site.name,
                    all_.places[depot.site_id],
                    depot.loading_minutes * 60,
                )
                for depot in all_.depots
            ),
            matrix=all_.matrix,
        ),
        candidates=candidates,
        drivers={one.vehicle.name: one for one in on},
        duty=duty,
        left_out=tuple(left_out),
        assumed={"travel": all_.matrix.basis, "next_chance_after": last.isoformat()},
    )


def load_of(need: MachineNeed) -> Load:
    """What a visit brings out of the truck; units without a case count as parts of none."""
    return Load(ceil(need.volume_ml), ceil(need.weight_g), ceil(need.cases))


class _Facts:
    """What is known of machines beside their needs: visits, agreements, changeovers, times."""

    def __init__(self, standing: Sequence[Standing], assumed: RunAssumptions, last: date) -> None:
        keys = [one.machine.pk for one in standing]
        self._assumed = assumed
        self._rules = DemandRules.the()
        self._zone = Business.the().time_zone
        self._agreements = {
            one.machine_id: one for one in ServiceAgreement.objects.filter(machine__in=keys)
        }
        self._times = {one.machine_id: one for one in ServiceTime.objects.filter(machine__in=keys)}
        self._columns = dict(
            Machine.objects.filter(pk__in=keys)
            .order_by("pk")
            .annotate(number=Count("columns"))
            .values_list("pk", "number")
        )
        self._visited = _last_visits(keys)
        self._changeovers: dict[int, list[date]] = defaultdict(list)
        for machine, when in Changeover.objects.filter(
            column__machine__in=keys, state__in=OPEN, plan__planned_for__lte=last
        ).values_list("column__machine", "plan__planned_for"):
            self._changeovers[machine].append(when)

    def skills(self, machine: Machine) -> tuple[str, ...]:
        agreement = self._agreements.get(machine.pk)
        return (agreement.needs_skill,) if agreement and agreement.needs_skill else ()

    def service_minutes(self, machine: Machine, day: date) -> float:
        """How long a visit takes: assumed, drawn to what its own visits took the more there were;
        changeovers that are due come on top."""
        assumed = self._assumed
        usual = float(assumed.visit_minutes) + float(assumed.minutes_per_column) * (
            self._columns.get(machine.pk, 0)
        )
        learned = self._times.get(machine.pk)
        if learned is not None:
            weight = learned.visits / (learned.visits + assumed.visits_to_learn)
            usual += weight * (float(learned.minutes_median) - usual)
        due = sum(1 for when in self._changeovers[machine.pk] if when <= day)
        return round(usual + due * self._rules.changeover_minutes, 1)

    def must(
        self, machine: Machine, need: MachineNeed, day: date, next_chance: date
    ) -> tuple[Must, ...]:
        found = [Must(one.code, one.text) for one in need.must_go]
        due = [when for when in self._changeovers[machine.pk] if when <= day]
        if due:
            found.append(
                Must("changeover_due", f"{len(due)} changeovers are planned for {min(due)}.")
            )
        agreement = self._agreements.get(machine.pk)
        if agreement is not None:
            last = self._visited.get(machine.pk)
            if last is None:
                found.append(Must("agreed", f"{agreement}, and no visit is known."))
            else:
                by = last.astimezone(self._zone).date() + timedelta(days=agreement.every_days)
                if by < next_chance:
                    found.append(Must("agreed", f"{agreement}, so by {by}."))
        return tuple(found)


def _last_visits(keys: Sequence[int]) -> dict[int, datetime]:
    """When somebody was last at each machine: a visit, or at least a count."""
    found: dict[int, datetime] = dict(
        Visit.objects.filter(machine__in=keys)
        .order_by("machine")
        .values_list("machine")
        .annotate(Max("arrived_at"))
    )
    counted = (
        StockCount.objects.filter(place__column__machine__in=keys)
        .order_by("place__column__machine")
        .values_list("place__column__machine")
        .annotate(Max("counted_at"))
    )
    for machine, when in counted:
        if machine not in found or found[machine] < when:
            found[machine] = when
    return found


def _standing(day: Day, only: Iterable[int] | None) -> tuple[list[Standing], list[LeftOut]]:
    """Machines in service at a host's, and those that cannot be asked about, with why."""
    rows = Machine.objects.filter(status=Machine.Status.IN_SERVICE).order_by("pk")
    if only is not None:
        rows = rows.filter(pk__in=list(only))
    start = day.midnight
    places = {
        one.machine_id: one.site
        for one in Placement.objects.filter(
            Q(ends_at__isnull=True) | Q(ends_at__gt=start),
            machine__in=rows.order_by(),
            starts_at__lt=day.moment(86_400),
        )
        .select_related("site")
        .order_by("starts_at")
    }
    standing, gone = [], []
    for machine in rows:
        site = places.get(machine.pk)
        if site is None:
            gone.append(LeftOut(machine, "stands_nowhere", "stands at no site"))
        elif site.purpose != Site.Purpose.HOST:
            gone.append(LeftOut(machine, "in_warehouse", f"stands in {site}"))
        elif site.latitude is None:
            gone.append(LeftOut(machine, "no_coordinates", f"{site} has no coordinates"))
        else:
            standing.append(Standing(machine, site))
    return standing, gone


def _opening(sites: Iterable[int]) -> dict[int, list[OpeningWindow]]:
    found: dict[int, list[OpeningWindow]] = defaultdict(list)
    for one in OpeningWindow.objects.filter(site__in=list(sites)).order_by("pk"):
        found[one.site_id].append(one)
    return found


def _open_weekdays(opening: Sequence[OpeningWindow]) -> set[int]:
    return {one.weekday for one in opening} or set(range(7))


def _once(depots: Sequence[Depot], sites: Sequence[Site]) -> list[Site]:
    found = {depot.site.pk: depot.site for depot in depots}
    return list((found | {site.pk: site for site in sites if site.pk not in found}).values())
