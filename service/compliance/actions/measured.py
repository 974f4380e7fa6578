"""What was measured at machines is written down, or taken back; what signs say is kept."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final, TypeVar

from django.db import transaction

from fleet.compute.units import BadMeasure
from fleet.machines.models import Machine
from people import rows
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import Business, Person
from people.roles import Role
from service.compute.reach import Approach, Obstruction
from service.compute.reach import Part as MeasuredPart
from service.compute.reach import judge as judge_reach

from ..models import AccessCheck, AccessMeasure, EnergyReading, LabelSettings
from ..models.measured import Measured

CLOCK_AHEAD: Final = timedelta(minutes=10)
"""A device's clock may run so far ahead of ours."""
ROAD: Final = (Role.OWNER, Role.DISPATCHER, Role.DRIVER)
DESK: Final = (Role.OWNER, Role.DISPATCHER)
MOST_DAYS: Final = 3660
_Row = TypeVar("_Row", bound=Measured)


@dataclass(frozen=True)
class PartMeasured:
    """One part at its height, and the force it takes where a gauge was at hand."""

    part: str
    height_mm: int
    force_n: Decimal | None = None


@transaction.atomic
def measure_access(
    *,
    machine: Machine,
    parts: Sequence[PartMeasured],
    approach: str,
    measured_at: datetime,
    actor: Person,
    now: datetime,
    obstruction_height_mm: int | None = None,
    obstruction_depth_mm: int | None = None,
    note: str = "",
) -> AccessCheck:
    """Write down heights and forces of a machine where it stood at that moment.

    Raises Unacceptable by field, NotAllowed, and Unable for a machine that stood nowhere then.
    """
    _require(actor, ROAD)
    _require_past(measured_at, now, "measured_at")
    if not parts:
        raise Unacceptable("measure at least one part", fields={"parts": "measure at least one"})
    names = [one.part for one in parts]
    for index, name in enumerate(names):
        if name in names[:index]:
            message = "this part stands here twice"
            raise Unacceptable(message, fields={f"parts.{index}.part": message})
    _require_possible(parts, approach, obstruction_height_mm, obstruction_depth_mm)
    placement = (
        machine.placements.filter(starts_at__lte=measured_at)
        .exclude(ends_at__lte=measured_at)
        .first()
    )
    if placement is None:
        raise Unable(
            f"{machine} stood nowhere on {Business.the().day_of(measured_at)}; place it first",
            code="stood_nowhere",
        )
    row = rows.put(
        AccessCheck(placement=placement, by=actor, recorded_at=now),
        {
            "measured_at": measured_at,
            "approach": approach,
            "obstruction_height_mm": obstruction_height_mm,
            "obstruction_depth_mm": obstruction_depth_mm,
            "note": note.strip(),
        },
        actor=actor,
        verb="measure access",
        now=now,
    )
    for index, one in enumerate(parts):
        given = {"part": one.part, "height_mm": one.height_mm, "force_n": one.force_n}
        try:
            rows.put(
                AccessMeasure(access_check=row),
                given,
                actor=actor,
                verb="measure part",
                now=now,
            )
        except Unacceptable as error:
            fields = {f"parts.{index}.{name}": text for name, text in error.fields.items()}
            raise Unacceptable(str(error), fields=fields) from error
    return row


@transaction.atomic
def measure_energy(
    *,
    machine: Machine,
    starts_at: datetime,
    ends_at: datetime,
    actor: Person,
    now: datetime,
    kwh: Decimal | None = None,
    meter_from: Decimal | None = None,
    meter_until: Decimal | None = None,
    note: str = "",
) -> EnergyReading:
    """Write down what a machine used: `kwh`, or what the meter showed at both ends.

    Raises Unacceptable by field, NotAllowed.
    """
    _require(actor, ROAD)
    _require_past(ends_at, now, "ends_at")
    if ends_at <= starts_at:
        message = "it has to end after it began"
        raise Unacceptable(message, fields={"ends_at": message})
    if ends_at - starts_at > timedelta(days=MOST_DAYS):
        message = f"more than {MOST_DAYS} days lie between; give when it began"
        raise Unacceptable(message, fields={"starts_at": message})
    used = _used(kwh, meter_from, meter_until)
    return rows.put(
        EnergyReading(machine=machine, by=actor, recorded_at=now),
        {"starts_at": starts_at, "ends_at": ends_at, "kwh": used, "note": note.strip()},
        actor=actor,
        verb="measure energy",
        now=now,
    )


@transaction.atomic
def set_aside(*, row: _Row, why: str, actor: Person, now: datetime) -> _Row:
    """What was measured counts for nothing any more, and stays to be seen.

    Whoever wrote it down or the desk may. Raises Unacceptable, NotAllowed, and Unable where it was
    set aside before.
    """
    if actor.pk != row.by_id and not actor.has_role(*DESK):
        raise NotAllowed(f"{row}: only {row.by} or the desk takes this back")
    said = why.strip()
    if not said:
        message = "say why it is taken back"
        raise Unacceptable(message, fields={"why": message})
    held = type(row)._default_manager.select_for_update(of=("self",)).get(pk=row.pk)
    if held.set_aside_at is not None:
        raise Unable(f"{held} was set aside before", code="set_aside_already")
    changes = {"set_aside_at": now, "set_aside_by": actor, "set_aside_why": said}
    return rows.put(held, changes, actor=actor, verb="set aside", now=now, reason=said)


def save_label_settings(
    *, changes: Mapping[str, Any], actor: Person, now: datetime
) -> LabelSettings:
    """Keep whether the operator is registered and whom signs name. Raises Unacceptable."""
    row = LabelSettings.the()
    told = {"registered": row.registered, "registered_until": row.registered_until} | dict(changes)
    if told["registered_until"] is not None and not told["registered"]:
        message = "leave it empty where nothing is registered"
        raise Unacceptable(message, fields={"registered_until": message})
    return rows.put(row, changes, actor=actor, verb="change label settings", now=now)


def _used(kwh: Decimal | None, meter_from: Decimal | None, meter_until: Decimal | None) -> Decimal:
    if kwh is not None:
        if meter_from is not None or meter_until is not None:
            message = "give what was used or what the meter showed, not both"
            raise Unacceptable(message, fields={"kwh": message})
        return kwh
    if meter_from is None or meter_until is None:
        message = "give what was used, or what the meter showed at both ends"
        raise Unacceptable(message, fields={"kwh": message})
    if meter_until < meter_from:
        message = f"the meter showed {meter_from} before; it does not run back"
        raise Unacceptable(message, fields={"meter_until": message})
    return meter_until - meter_from


def _require_possible(
    parts: Sequence[PartMeasured],
    approach: str,
    obstruction_height_mm: int | None,
    obstruction_depth_mm: int | None,
) -> None:
    if approach not in AccessCheck.Approach.values:
        message = f"{approach!r}; give one of {', '.join(AccessCheck.Approach.values)}"
        raise Unacceptable(message, fields={"approach": message})
    if (obstruction_height_mm is None) != (obstruction_depth_mm is None):
        message = "give both the height and the depth of what stands in the way, or neither"
        raise Unacceptable(message, fields={"obstruction_depth_mm": message})
    over = None
    try:
        if obstruction_height_mm is not None and obstruction_depth_mm is not None:
            over = Obstruction(obstruction_height_mm, obstruction_depth_mm)
        measured = tuple(MeasuredPart(one.part, one.height_mm, one.force_n) for one in parts)
        judge_reach(measured, Approach(approach), over)
    except BadMeasure as error:
        name = error.field.replace("obstruction.", "obstruction_")
        for index, one in enumerate(parts):
            name = name.replace(f"{one.part}.", f"parts.{index}.")
        raise Unacceptable(error.message, fields={name: error.message}) from error


def _require(actor: Person, roles: tuple[Role, ...]) -> None:
    if not actor.has_role(*roles):
        raise NotAllowed("only drivers and the desk write down what was measured at machines")


def _require_past(at: datetime, now: datetime, field: str) -> None:
    if at > now + CLOCK_AHEAD:
        message = f"{Business.the().clock_of(at)} is still to come; give when it was"
        raise Unacceptable(message, fields={field: message})
