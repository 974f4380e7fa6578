"""Food kept cold or hot: readings taken and judged, machines locked and let go, limits."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from django.db import IntegrityError, transaction

from fleet.machines.models import Machine
from people import audit, rows
from people.actions import notices
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import Business, Person
from people.roles import Role
from service.compute.food_code import State
from service.upkeep.actions import work
from service.upkeep.models import Reading
from service.watch.actions import telling
from service.watch.models import Finding

from ..models import FoodLock, TemperatureLimits
from ..queries.temperatures import Course, courses, holds
from .errors import NotLocked

CLOCK_AHEAD: Final = timedelta(minutes=10)
"""A device's clock may run so far ahead of ours."""
ROAD: Final = (Role.OWNER, Role.DISPATCHER, Role.DRIVER)
STRENGTH: Final = 6.0
"""Of a rule that is broken nothing is left to chance; a finding needs a place in the list."""
CAUTION: Final = (
    "Treat the food as unsafe: nothing of it is sold or eaten. The machine's own shutoff has to "
    "have stopped it; see that it has. The maker's manual and the local health authority go first; "
    "the cooling circuit is for licensed technicians."
)


@transaction.atomic
def take_reading(
    *,
    machine: Machine,
    what: str,
    value: Decimal,
    at: datetime,
    actor: Person,
    now: datetime,
    unit: str = "",
    source: str = Reading.Source.DESK,
) -> Reading:
    """Write down a value read at a machine, and judge its food by it at once.

    Raises Unacceptable, and NotAllowed for an accountant.
    """
    taken = work.take_reading(
        machine=machine,
        what=what,
        value=value,
        at=at,
        actor=actor,
        now=now,
        unit=unit,
        source=source,
    )
    judge(now=now, machines=[machine.pk])
    return taken


def judge(*, now: datetime, machines: Iterable[int] | None = None) -> list[FoodLock]:
    """Lock the machines (keys; None: all) whose food is out of its limits; the new locks.

    Each opens a finding and tells the desk. A machine that is locked already stays as it is,
    whatever it reads since. Asked twice it changes nothing the second time.
    """
    new: list[FoodLock] = []
    for course in courses(now, machines):
        # A clock a little ahead may have moved a reading past `now`: it is judged the next time.
        if course.lock is None and course.standing.state is State.LOCKED:
            lock = _lock(course, now)
            if lock is not None:
                new.append(lock)
    return new


@transaction.atomic
def lock_by_hand(
    *, machine: Machine, what: str, at: datetime, actor: Person, now: datetime
) -> FoodLock:
    """Somebody found that a machine's power or cooling failed: no reading is needed.

    Raises Unacceptable, NotAllowed, and Unable where the machine holds no such food or is locked.
    """
    _require_road(actor)
    said = what.strip()
    if not said:
        raise Unacceptable("say what failed", fields={"what": "say what failed"})
    _require_past(at, now, "at")
    if machine.pk not in holds([machine.pk]):
        raise Unable(
            f"{machine} holds no food that is kept cold or hot for safety", code="no_such_food"
        )
    row = _write(machine, None, at, said[:300], {}, now, actor)
    if row is None:
        raise Unable(f"{machine} is locked already", code="locked_already")
    _tell(row, now)
    return row


@transaction.atomic
def lift(
    *,
    lock: FoodLock,
    serviced_at: datetime,
    restocked_at: datetime,
    said: str,
    actor: Person,
    now: datetime,
) -> FoodLock:
    """A machine was serviced and restocked with food that is safe: it may sell again.

    `said` is what was done and what became of the food. Raises Unacceptable by field, NotLocked,
    and NotAllowed for an accountant.
    """
    _require_road(actor)
    for name, at in (("serviced_at", serviced_at), ("restocked_at", restocked_at)):
        _require_past(at, now, name)
        if at < lock.since:
            message = f"that is before it was locked, at {Business.the().clock_of(lock.since)}"
            raise Unacceptable(f"food lock: {message}", fields={name: message})
    words = said.strip()
    if not words:
        message = "say what was done and what became of the food"
        raise Unacceptable(message, fields={"said": message})
    held = FoodLock.objects.select_for_update(of=("self",)).get(pk=lock.pk)
    if held.lifted_at is not None:
        raise NotLocked(held)
    changes = {
        "serviced_at": serviced_at,
        "restocked_at": restocked_at,
        "lifted_at": now,
        "lifted_by": actor,
        "lifted_said": words[:300],
    }
    rows.put(held, changes, actor=actor, verb="lift food lock", now=now)
    machine = Machine.objects.get(pk=held.machine_id)
    telling.over(machine=machine, kind=Finding.Kind.FOOD, said="serviced and restocked", now=now)
    return held


def save_limits(
    *,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
    limits: TemperatureLimits | None = None,
) -> TemperatureLimits:
    """Write down a state's limits, or change them. What was locked by others stays locked.

    Raises Unacceptable.
    """
    verb = "add temperature limits" if limits is None else "change temperature limits"
    return rows.put(limits or TemperatureLimits(), changes, actor=actor, verb=verb, now=now)


def remove_limits(*, limits: TemperatureLimits, actor: Person, now: datetime) -> None:
    """A state goes by what is known of it, or by the food code, again."""
    rows.delete(limits, actor=actor, verb="remove temperature limits", now=now)


def _lock(course: Course, now: datetime) -> FoodLock | None:
    standing = course.standing
    key = standing.because.removeprefix("reading-")
    reading = next((one for one in course.readings if str(one.pk) == key), None)
    figures = {
        "hold": course.hold.value,
        "limit_c": float(course.limit_c),
        "allowed_minutes": course.minutes,
        "read_c": None if reading is None else float(reading.value),
        "rule": course.limits.citation,
        "source": course.limits.status,
    }
    with transaction.atomic():
        row = _write(
            course.machine,
            reading,
            standing.since or now,
            standing.why[:300],
            figures,
            now,
            None,
        )
        if row is None:
            return None
        _tell(row, now, course)
    return row


def _write(
    machine: Machine,
    reading: Reading | None,
    since: datetime,
    said: str,
    figures: Mapping[str, Any],
    now: datetime,
    actor: Person | None,
) -> FoodLock | None:
    """The lock written; None where another was first."""
    row = FoodLock(
        machine=machine,
        reading=reading,
        since=since,
        locked_at=now,
        said=said,
        figures=dict(figures),
    )
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError:
        if FoodLock.objects.filter(machine=machine, lifted_at__isnull=True).exists():
            return None
        raise
    audit.record(actor=actor, verb="lock food", row=row, now=now, after=audit.values(row))
    return row


def _tell(row: FoodLock, now: datetime, course: Course | None = None) -> None:
    """The finding of a lock, and a letter to the desk."""
    finding = telling.tell(
        machine=row.machine,
        kind=Finding.Kind.FOOD,
        said=f"Food out of its limits: {row.said}",
        since=row.since,
        strength=STRENGTH,
        strength_said="a rule is broken; nothing is left to chance",
        numbers=row.figures,
        chart={} if course is None else _chart(course),
        now=now,
    )
    FoodLock.objects.filter(pk=row.pk).update(finding=finding)
    row.finding = finding
    desk = Person.objects.filter(is_active=True, roles__overlap=[Role.OWNER, Role.DISPATCHER])
    notices.tell(
        people=desk.order_by("pk"),
        key=f"food lock {row.pk}",
        subject=f"Food out of its limits: {row.machine}",
        text=f"{row.said}\n\n{CAUTION}",
        address=f"/compliance/temperatures/{row.machine_id}/",
        now=now,
    )


def _chart(course: Course) -> dict[str, Any]:
    """The readings as the watch draws temperatures: days since 1970 and degrees."""
    readings = course.readings[-40:]
    return {
        "kind": "temperature",
        "at": [round(one.taken_at.timestamp() / 86_400, 5) for one in readings],
        "celsius": [float(one.value) for one in readings],
        "limit_c": float(course.limit_c),
    }


def _require_road(actor: Person) -> None:
    if not actor.has_role(*ROAD):
        raise NotAllowed("only drivers and the desk write down what was done at machines")


def _require_past(at: datetime, now: datetime, field: str) -> None:
    if at > now + CLOCK_AHEAD:
        message = f"{Business.the().clock_of(at)} is still to come; give when it was"
        raise Unacceptable(message, fields={field: message})
