"""How machines with food kept cold or hot stand by the food code, from what is recorded of them."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final

from django.db.models import Max, QuerySet
from django.db.models.functions import Greatest

from fleet.inventory.models import Movement, MovementLine
from fleet.machines.models import Machine, Placement, SetUp
from fleet.sales.models import EventMeaning
from fleet.sales.queries import events as reported
from service.compute import food_code
from service.compute.food_code import Event, Failure, Hold, Limits, Service, Standing, standing
from service.runs.models import Visit
from service.upkeep.models import MaintenanceDone, Reading

from ..models import FoodLock, TemperatureLimits

LOOKED_BACK: Final = timedelta(days=14)
"""What is older says nothing of how a machine stands now; a lock stands in its own row."""
READ: Final = (Reading.What.CABINET_C, Reading.What.PRODUCT_C)


@dataclass(frozen=True)
class Course:
    """One machine's food: where it stands, by which limits, what was read and done, and how it
    stands now. `lock` is the open one. Readings are of the last days, the earliest first.

    Of a machine with both, `hold` is cold: one cabinet has one temperature, and cold food is the
    one that most of them hold.
    """

    machine: Machine
    placement: Placement | None
    hold: Hold
    limits: Limits
    readings: tuple[Reading, ...]
    events: tuple[Event, ...]
    standing: Standing
    lock: FoodLock | None

    @property
    def last(self) -> Reading | None:
        return self.readings[-1] if self.readings else None

    @property
    def limit_c(self) -> Decimal:
        return self.limits.cold_c if self.hold is Hold.COLD else self.limits.hot_c

    @property
    def minutes(self) -> int:
        return int(self.limits.allowed(self.hold).total_seconds() // 60)


def limits_by_state() -> dict[str, TemperatureLimits]:
    """Limits that the operator has written down, by state. One query."""
    return {one.state: one for one in TemperatureLimits.objects.order_by("state")}


def limits_for(state: str, own: dict[str, TemperatureLimits]) -> Limits:
    """The limits that hold in a state: the operator's for it, those known of it, the operator's for
    every other state, the food code's."""
    code = state.strip().upper()
    row = own.get(code) if code else None
    if row is None and code not in food_code.STATE_LIMITS:
        row = own.get("")
    if row is None:
        return food_code.limits_of(code)
    return Limits(
        state=row.state,
        cold_c=row.cold_most_c,
        cold_minutes=row.cold_minutes,
        hot_c=row.hot_least_c,
        hot_minutes=row.hot_minutes,
        citation=row.citation,
        status=row.status,
        note=row.note,
    )


def holds(machines: Iterable[int] | None = None) -> dict[int, Hold]:
    """How the food of each machine is kept, by machine; those without such food are left out. One
    query."""
    rows = SetUp.objects.filter(ends_at__isnull=True, product__kept_cold_or_hot=True)
    if machines is not None:
        rows = rows.filter(column__machine__in=list(machines))
    found: dict[int, Hold] = {}
    for machine, heated in rows.order_by().values_list("column__machine", "product__heated"):
        if not heated:
            found[machine] = Hold.COLD
        else:
            found.setdefault(machine, Hold.HOT)
    return found


def courses(now: datetime, machines: Iterable[int] | None = None) -> list[Course]:
    """How each machine with such food, in service, stands now; by its tag. A fixed number of
    queries."""
    kept = holds(machines)
    rows = list(
        Machine.objects.filter(pk__in=kept, status=Machine.Status.IN_SERVICE)
        .select_related("kind")
        .order_by("asset_tag", "pk")
    )
    keys = [one.pk for one in rows]
    placed = {
        one.machine_id: one
        for one in Placement.objects.filter(machine__in=keys, ends_at__isnull=True).select_related(
            "site"
        )
    }
    own = limits_by_state()
    locks = {one.machine_id: one for one in open_locks(keys)}
    since = now - LOOKED_BACK
    lifted = _lifted(keys)
    read = _readings(keys, since, now)
    done = _services(keys, since, now)
    failed = _failures(keys, now)
    found: list[Course] = []
    for machine in rows:
        key = machine.pk
        place = placed.get(key)
        limits = limits_for(place.site.state if place else "", own)
        begins = lifted.get(key)
        events: list[Event] = [
            one for one in done.get(key, []) if begins is None or one.at >= begins
        ]
        events += [
            food_code.Reading(f"reading-{one.pk}", one.taken_at, one.value)
            for one in read.get(key, [])
            if begins is None or one.taken_at >= begins
        ]
        events += [one for one in failed.get(key, []) if begins is None or one.at > begins]
        if begins is not None:
            events.append(Service("lifted", begins, serviced=True, restocked=True))
        found.append(
            Course(
                machine=machine,
                placement=place,
                hold=kept[key],
                limits=limits,
                readings=tuple(read.get(key, [])),
                events=tuple(events),
                standing=standing(events, hold=kept[key], now=now, limits=limits),
                lock=locks.get(key),
            )
        )
    return found


def open_locks(machines: Iterable[int] | None = None) -> "QuerySet[FoodLock]":
    """Machines that are locked now, those locked longest first."""
    rows = locks_whole().filter(lifted_at__isnull=True)
    if machines is not None:
        rows = rows.filter(machine__in=list(machines))
    return rows.order_by("since", "pk")


def locks_whole() -> "QuerySet[FoodLock]":
    return FoodLock.objects.select_related("machine__kind", "reading", "lifted_by", "finding")


def locks_of(machines: Iterable[int]) -> dict[int, FoodLock]:
    """The open lock of each machine that has one, for pages that send somebody there. One query."""
    return {one.machine_id: one for one in open_locks(machines)}


def _lifted(machines: Sequence[int]) -> dict[int, datetime]:
    """When each machine was last both serviced and restocked after a lock: what it read before is
    over. One query."""
    rows = FoodLock.objects.filter(machine__in=machines, lifted_at__isnull=False)
    both = Max(Greatest("serviced_at", "restocked_at"))
    return dict(rows.order_by().values_list("machine").annotate(latest=both))


def _readings(machines: Sequence[int], since: datetime, now: datetime) -> dict[int, list[Reading]]:
    found: dict[int, list[Reading]] = defaultdict(list)
    rows = Reading.objects.filter(
        machine__in=machines, what__in=READ, taken_at__gte=since, taken_at__lte=now
    )
    for one in rows.select_related("by").order_by("machine", "taken_at", "pk"):
        found[one.machine_id].append(one)
    return dict(found)


def _services(machines: Sequence[int], since: datetime, now: datetime) -> dict[int, list[Service]]:
    """When each machine was filled or worked on: its door was open. Three queries."""
    found: dict[int, list[Service]] = defaultdict(list)
    filled = MovementLine.objects.filter(
        to_place__column__machine__in=machines,
        movement__reason=Movement.Reason.FILL,
        movement__corrected_by__isnull=True,
        happened_at__gte=since,
        happened_at__lte=now,
    )
    pairs = filled.order_by().values_list("to_place__column__machine", "movement", "happened_at")
    for machine, movement, at in pairs.distinct():
        found[machine].append(Service(f"fill-{movement}", at))
    visits = Visit.objects.filter(machine__in=machines, left_at__gte=since, left_at__lte=now)
    for machine, visit, left in visits.order_by().values_list("machine", "pk", "left_at"):
        if left is not None:
            found[machine].append(Service(f"visit-{visit}", left))
    work = MaintenanceDone.objects.filter(
        machine__in=machines, done_at__gte=since, done_at__lte=now, set_aside_at__isnull=True
    )
    for machine, key, at in work.order_by().values_list("machine", "pk", "done_at"):
        found[machine].append(Service(f"work-{key}", at))
    return dict(found)


def _failures(machines: Sequence[int], now: datetime) -> dict[int, list[Failure]]:
    """Machines that report, by their reads, that their cooling failed: at the read that first said
    so, and at the last one that still does, so that it counts after a lock was lifted too. Two
    queries."""
    found: dict[int, list[Failure]] = defaultdict(list)
    for one in reported.active_events(machines):
        if one.meaning.job != EventMeaning.Job.COOLING:
            continue
        for read in (one.event.active_since, one.event.last_read):
            at = None if read is None else read.taken_at or read.received_at
            if read is not None and at is not None and at <= now:
                what = f"the machine reports: {one.said()}"
                key = f"event-{one.event.pk}-{read.pk}"
                found[one.event.machine_id].append(Failure(key, at, what[:160]))
    return dict(found)


def locks_listed(*, machine: int | None = None, only_open: bool = False) -> "QuerySet[FoodLock]":
    """Locks, the latest first."""
    rows = locks_whole()
    if machine is not None:
        rows = rows.filter(machine=machine)
    if only_open:
        rows = rows.filter(lifted_at__isnull=True)
    return rows.order_by("-since", "-pk")


__all__ = [
    "Course",
    "courses",
    "holds",
    "limits_by_state",
    "limits_for",
    "locks_listed",
    "locks_of",
    "locks_whole",
    "open_locks",
]
