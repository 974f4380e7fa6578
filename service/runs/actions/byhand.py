"""A run made by hand: this driver, these machines, in this order."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.db.models import Q

from fleet.machines.models import Machine, Placement
from people import audit, rows
from people.errors import Unacceptable
from people.models import Person
from service.compute.routing.scoring import score

from ..board import board_of
from ..days import day_of
from ..models import DriverProfile, Run, RunAssumptions, Stop, Vehicle
from ..queries.calendar import at
from .errors import CannotChange


@transaction.atomic
def add_run(
    *,
    date: date,
    driver: DriverProfile,
    machines: Sequence[Machine],
    actor: Person,
    now: datetime,
    vehicle: Vehicle | None = None,
    starts_at: datetime | None = None,
    ends_at: datetime | None = None,
) -> Run:
    """Give a driver a run of these machines in this order, agreed at once.

    The vehicle and the hours are the driver's own unless given. What the day costs or whether a
    window is missed is not judged: whoever makes a run by hand decides. Raises Unacceptable.
    """
    chosen = vehicle or driver.vehicle
    if chosen is None:
        message = f"{driver} has no usual vehicle; name one"
        raise Unacceptable(message, fields={"vehicle": message})
    shift = driver.shifts.filter(weekday=date.weekday()).first()
    zone = driver.depot.site.time_zone
    starts = starts_at or (at(date, shift.starts, zone) if shift else None)
    ends = ends_at or (at(date, shift.ends, zone) if shift else None)
    if starts is None or ends is None or ends <= starts:
        message = f"{driver} has no shift on {date:%A}; say when the run begins and ends"
        raise Unacceptable(message, fields={"starts_at": message})
    _require_machines(machines)
    _require_free(date, driver, chosen)
    run = rows.put(
        Run(
            driver=driver.person,
            vehicle=chosen,
            depot=driver.depot,
            planned_end=ends,
            shift_ends=ends,
        ),
        {"date": date, "agreed": True, "planned_start": starts},
        actor=actor,
        verb="make run by hand",
        now=now,
    )
    stood = _places(machines, date)
    assumed = RunAssumptions.the()
    Stop.objects.bulk_create(
        Stop(
            run=run,
            sequence=number,
            machine=machine,
            site=stood[machine.pk].site,
            planned_arrive=starts,
            planned_leave=starts,
            service_minutes=_minutes(machine, assumed),
            must_go=False,
            reasons=[{"code": "by_hand", "said": f"Put on the run by {actor}."}],
        )
        for number, machine in enumerate(machines, start=1)
    )
    _time(run, starts)
    audit.record(
        actor=actor,
        verb="put stops on run",
        row=run,
        now=now,
        after={"stops": [machine.asset_tag for machine in machines]},
    )
    return run


def _time(run: Run, starts: datetime) -> None:
    """Say when each stop is expected, in the order given; not where a site has no coordinates."""
    sites = [stop.site for stop in Stop.objects.filter(run=run).select_related("site")]
    if not sites or any(one.latitude is None for one in [run.depot.site, *sites]):
        return
    board = board_of([run], now=min(starts, day_of(run.date).midnight))
    for planned in board.plan.runs:
        for one in planned.stops:
            stop = board.stops[one.stop]
            stop.planned_arrive = board.day.moment(one.begins_s)
            stop.planned_leave = board.day.moment(one.leaves_s)
        Stop.objects.bulk_update(board.stops.values(), ["planned_arrive", "planned_leave"])
        run.planned_end = board.day.moment(planned.ends_s)
        run.planned_metres = score(board.problem, board.plan, board.road).drive_m
        run.save(update_fields=["planned_end", "planned_metres", "updated_at"])


def _minutes(machine: Machine, assumed: RunAssumptions) -> Decimal:
    columns = machine.columns.count()
    return (assumed.visit_minutes + assumed.minutes_per_column * columns).quantize(Decimal("0.1"))


def _require_machines(machines: Sequence[Machine]) -> None:
    if not machines:
        raise Unacceptable("a run needs a stop", fields={"machines": "name at least one machine"})
    seen: set[int] = set()
    for index, machine in enumerate(machines):
        if machine.pk in seen:
            message = f"{machine} stands twice"
            raise Unacceptable(message, fields={f"machines.{index}": message})
        seen.add(machine.pk)


def _require_free(day: date, driver: DriverProfile, vehicle: Vehicle) -> None:
    other = (
        Run.objects.filter(date=day, agreed=True)
        .filter(Q(driver=driver.person_id) | Q(vehicle=vehicle))
        .select_related("driver", "vehicle")
        .first()
    )
    if other is None:
        return
    whose = driver if other.driver_id == driver.person_id else vehicle
    raise CannotChange(f"{whose} has a run on {day} already; put the stops on that", code="busy")


def _places(machines: Sequence[Machine], day: date) -> dict[int, Placement]:
    when = day_of(day)
    found = {
        one.machine_id: one
        for one in Placement.objects.filter(
            Q(ends_at__isnull=True) | Q(ends_at__gt=when.midnight),
            machine__in=machines,
            starts_at__lt=when.moment(86_400),
        )
        .select_related("site")
        .order_by("starts_at")
    }
    for index, machine in enumerate(machines):
        if machine.pk not in found:
            message = f"{machine} stands nowhere on {day}"
            raise Unacceptable(message, fields={f"machines.{index}": message})
    return found
