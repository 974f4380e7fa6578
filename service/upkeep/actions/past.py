"""Maintenance of the time before the service was used, written down afterwards from notebooks."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

from django.db import transaction

from fleet.machines.models import Machine
from people import audit, bulk
from people.errors import Unacceptable
from people.models import AuditEntry, Person

from ..asked import POSSIBLE, asked_of
from ..models import MaintenanceDone, MaintenancePlan, Reading
from ..queries.turns import applies
from . import lock
from .work import DONE


@dataclass(frozen=True)
class PastWork:
    """Work of a plan, every item of its list done, and what was read, in the readings' units."""

    plan: MaintenancePlan
    machine: Machine
    by: Person
    done_at: datetime
    minutes: int | None = None
    readings: Mapping[str, Decimal] = field(default_factory=dict)
    note: str = ""


@transaction.atomic
def write_down(*, works: Sequence[PastWork], actor: Person, now: datetime) -> list[MaintenanceDone]:
    """Write down finished maintenance, all or none. What is due is worked out afterwards.

    The statements do not grow with their number. Raises Unacceptable by the number in the list.
    """
    _require_sound(works, now)
    lock.take()
    rows = [
        MaintenanceDone(
            plan=one.plan,
            machine=one.machine,
            done_at=one.done_at,
            recorded_at=now,
            by=one.by,
            answers=[{"item": item, "answer": DONE, "said": ""} for item in one.plan.checklist],
            note=one.note,
            minutes=one.minutes,
        )
        for one in works
    ]
    bulk.write(rows)
    bulk.write(
        [
            reading
            for one, row in zip(works, rows, strict=True)
            for reading in _readings(one, row, now)
        ]
    )
    bulk.write(
        [
            AuditEntry(
                **audit.entry_values(
                    actor=actor,
                    verb="write down maintenance",
                    row=row,
                    now=now,
                    after=audit.values(row),
                )
            )
            for row in rows
        ]
    )
    return rows


def _require_sound(works: Sequence[PastWork], now: datetime) -> None:
    wrong: dict[str, str] = {}
    for index, one in enumerate(works):
        if not applies(one.plan, one.machine):
            wrong[f"works.{index}.plan"] = f"{one.plan} is not for {one.machine}"
        if one.done_at > now:
            wrong[f"works.{index}.done_at"] = "is still to come; give when it was done"
        for what, value in one.readings.items():
            least, most = POSSIBLE.get(what, (Decimal(1), Decimal(0)))
            if not least <= value <= most:
                wrong[f"works.{index}.readings"] = f"{what}: {value} is no reading of it"
    if wrong:
        raise Unacceptable("; ".join(f"{k}: {v}" for k, v in wrong.items()), fields=wrong)


def _readings(one: PastWork, row: MaintenanceDone, now: datetime) -> list[Reading]:
    bands = {asked.what: asked for asked in asked_of(one.plan.readings_asked)}
    return [
        Reading(
            machine=one.machine,
            what=what,
            value=value,
            taken_at=one.done_at,
            recorded_at=now,
            by=one.by,
            source=Reading.Source.UPKEEP,
            done=row,
            usual=bands[what].usual(value) if what in bands else None,
        )
        for what, value in one.readings.items()
    ]
