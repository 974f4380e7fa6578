"""Who is at which machine when: visits open with the first act told of them, whichever that is."""

from datetime import datetime

from django.db.models import Max, Q, QuerySet
from django.db.models.functions import Coalesce, Least

from fleet.machines.models import Machine, Placement

from ...models import RoadAct, Run, Stop, Visit
from .core import Doing, require_out
from .errors import BeingVisited, MachineMoved


def be_there(doing: Doing, *, arriving: bool = False, nobody_here: bool = False) -> Visit:
    """The visit that the act belongs to, opened where none is told of yet.

    Raises MachineMoved when the machine stood elsewhere then, BeingVisited when somebody else was
    at it.
    """
    require_out(doing)
    stop = _stop(doing)
    found = Visit.objects.order_by().filter(stop=stop).first()
    if found is not None and _is_within(found, doing.at, arriving=arriving):
        doing.visit = found
        settle(stop, found)
        return found
    # One person at a time opens or widens a visit to a machine.
    Machine.objects.select_for_update(no_key=True, of=("self",)).get(pk=stop.machine_id)
    visit = (
        _open(doing, stop, arriving=arriving, nobody_here=nobody_here)
        if found is None
        else _widen(doing, found, stop, arriving=arriving, nobody_here=nobody_here)
    )
    doing.visit = visit
    settle(stop, visit)
    return visit


def _is_within(visit: Visit, at: datetime, *, arriving: bool) -> bool:
    """Whether nothing of the visit changes by something that happened at it then."""
    end = visit.left_at or visit.ended_by
    told = visit.arrival_told or not arriving
    return told and visit.arrived_at <= at and (end is None or at <= end)


def settle(stop: Stop, visit: Visit | None) -> None:
    """A stop's state as its visit tells it. A visit wins over a skip, whichever came in first."""
    if visit is None:
        return
    is_over = visit.left_at is not None or visit.ended_by is not None
    state = Stop.State.DONE if is_over else Stop.State.ARRIVED
    if stop.state == state and not stop.skipped_because:
        return
    stop.state, stop.skipped_because = state, ""
    stop.save(update_fields=["state", "skipped_because", "updated_at"])


def leave(doing: Doing) -> Visit:
    """End the visit; what was told before and happened later moves the end."""
    visit = be_there(doing)
    happened = Max(Least("client_at", "server_at"))
    latest = RoadAct.objects.filter(visit=visit).aggregate(latest=happened)["latest"]
    end = max(doing.at, visit.arrived_at, *([latest] if latest else []))
    if end > doing.at:
        doing.flag("acts_after_leaving", "something else at this stop happened after the leaving")
    if visit.left_at is None or visit.left_at < end:
        visit.left_at = end
        visit.save(update_fields=["left_at"])
    settle(_stop(doing), visit)
    return visit


def end_all(run: Run, at: datetime) -> None:
    """Whoever forgot to tell of leaving had left when the run ended."""
    there = Visit.objects.filter(run=run, left_at__isnull=True, ended_by__isnull=True)
    for visit in there.select_related("stop"):
        visit.ended_by = max(at, visit.arrived_at)
        visit.save(update_fields=["ended_by"])
        if visit.stop is not None:
            settle(visit.stop, visit)


def _open(doing: Doing, stop: Stop, *, arriving: bool, nobody_here: bool) -> Visit:
    _require_in_place(doing, stop)
    ended_by = _make_room(doing, stop, doing.at, nobody_here=nobody_here, own=None)
    run = doing.run
    return Visit.objects.create(
        stop=stop,
        run=run,
        machine_id=stop.machine_id,
        driver_id=run.driver_id,
        vehicle_id=run.vehicle_id,
        arrived_at=doing.at,
        arrival_told=arriving,
        ended_by=ended_by,
    )


def _widen(doing: Doing, visit: Visit, stop: Stop, *, arriving: bool, nobody_here: bool) -> Visit:
    changed: list[str] = []
    if arriving and not visit.arrival_told:
        if doing.at < visit.arrived_at:
            _make_room(doing, stop, doing.at, nobody_here=nobody_here, own=visit)
            visit.arrived_at = doing.at
        else:
            # Kept as the earliest act: a visit does not begin after something was done at it.
            doing.flag("acts_before_arriving", "something else at this stop happened before")
        visit.arrival_told = True
        changed = ["arrived_at", "arrival_told"]
    elif doing.at < visit.arrived_at:
        if visit.arrival_told:
            doing.flag("before_arriving", "happened before the arrival told")
        _make_room(doing, stop, doing.at, nobody_here=nobody_here, own=visit)
        visit.arrived_at = doing.at
        changed = ["arrived_at"]
    end = visit.left_at or visit.ended_by
    if end is not None and doing.at > end:
        other = _others(stop, visit).filter(arrived_at__lt=doing.at, arrived_at__gte=end).first()
        if other is not None:
            raise BeingVisited(stop, other)
        if visit.left_at is not None:
            doing.flag("after_leaving", "happened after the leaving told")
            visit.left_at = doing.at
            changed.append("left_at")
        else:
            visit.ended_by = doing.at
            changed.append("ended_by")
    if changed:
        visit.save(update_fields=changed)
    return visit


def _make_room(
    doing: Doing, stop: Stop, at: datetime, *, nobody_here: bool, own: Visit | None
) -> datetime | None:
    """Refuse to be where somebody else is; give when the next visitor came, if one did since."""
    others = _others(stop, own)
    end = Coalesce("left_at", "ended_by")
    there = (
        others.filter(arrived_at__lte=at)
        .annotate(end=end)
        .filter(Q(end__isnull=True) | Q(end__gt=at))
        .first()
    )
    if there is not None:
        mine = there.driver_id == doing.run.driver_id
        if there.left_at is not None or not (mine or nobody_here):
            raise BeingVisited(stop, there)
        there.ended_by = max(at, there.arrived_at)
        there.save(update_fields=["ended_by"])
        if there.stop is not None:
            settle(there.stop, there)
        if not mine:
            doing.flag("found_nobody", f"{there.driver} had not told of leaving")
    if own is not None:
        return own.ended_by
    later = others.filter(arrived_at__gt=at).order_by("arrived_at").first()
    return None if later is None else later.arrived_at


def _others(stop: Stop, own: Visit | None) -> "QuerySet[Visit]":
    visits = Visit.objects.filter(machine=stop.machine_id).select_related("driver", "stop")
    return visits if own is None else visits.exclude(pk=own.pk)


def _require_in_place(doing: Doing, stop: Stop) -> None:
    placed = (
        Placement.objects.filter(machine=stop.machine_id, starts_at__lte=doing.at)
        .filter(Q(ends_at__isnull=True) | Q(ends_at__gt=doing.at))
        .select_related("site")
        .first()
    )
    if placed is None:
        raise MachineMoved(stop, "stood nowhere then")
    if placed.site_id != stop.site_id:
        raise MachineMoved(stop, f"stood at {placed.site} then")


def _stop(doing: Doing) -> Stop:
    if doing.stop is None:
        raise TypeError("an act at a machine needs its stop")
    return doing.stop
