"""What is due: worked out from plans, the last work done and what machines sold."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db import transaction

from fleet.machines.models import Machine
from people import audit, bulk, rows
from people.errors import NotAllowed, Unacceptable
from people.models import Business, Person
from people.roles import Role
from service.compute.upkeep import Due

from ..models import DueWork, MaintenancePlan
from ..queries.turns import Turns
from . import lock
from .errors import NotOpen

AT_ONCE: Final = 500
"""Machines worked out in one transaction, so that nobody at a machine waits long for it."""


@dataclass(frozen=True)
class WorkedOut:
    """How many turns were opened, moved to another day, taken away, and left as they stood.

    `untold` are turns of plans by vends at machines of which no sale is known.
    """

    opened: int = 0
    moved: int = 0
    fell_away: int = 0
    stood: int = 0
    untold: int = 0

    def __add__(self, other: "WorkedOut") -> "WorkedOut":
        return WorkedOut(
            self.opened + other.opened,
            self.moved + other.moved,
            self.fell_away + other.fell_away,
            self.stood + other.stood,
            self.untold + other.untold,
        )


def work_out(
    *,
    now: datetime,
    machines: Iterable[int] | None = None,
    plans: Iterable[int] | None = None,
) -> WorkedOut:
    """Work out what is due at machines (keys; None: all) by plans (keys; None: all).

    Turns of machines out of service, and of plans that hold no more, fall away. Asked twice it
    changes nothing the second time. Due work is a function of what is recorded, so it leaves no
    audit entry.
    """
    keys = sorted(Machine.objects.values_list("pk", flat=True) if machines is None else machines)
    wanted = None if plans is None else sorted(plans)
    total = WorkedOut()
    for start in range(0, len(keys), AT_ONCE):
        total += _work_out_some(keys[start : start + AT_ONCE], wanted, now)
    return total


@transaction.atomic
def _work_out_some(
    machines: Sequence[int], plans: Sequence[int] | None, now: datetime
) -> WorkedOut:
    lock.take()
    today = now.astimezone(Business.the().time_zone).date()
    turns = Turns(machines, plans, today)
    stands = DueWork.objects.filter(state=DueWork.State.OPEN, machine__in=machines)
    if plans is not None:
        stands = stands.filter(plan__in=plans)
    by_turn = {(row.machine_id, row.plan_id): row for row in stands}
    fresh: list[DueWork] = []
    moved: list[DueWork] = []
    stood = 0
    for (machine, plan), due in turns.due.items():
        row = by_turn.pop((machine, plan), None)
        if row is None:
            fresh.append(_opened(machine, plan, due, now))
        elif _differs(row, due):
            moved.append(_moved(row, due, now))
        else:
            stood += 1
    for key in turns.untold:
        by_turn.pop(key, None)  # what was estimated before stands until something is sold again
    fallen = list(by_turn.values())
    for row in fallen:
        row.state, row.closed_at, row.changed_at = DueWork.State.FELL_AWAY, now, now
        row.sequence += 1
    bulk.write(fresh)
    DueWork.objects.bulk_update(
        moved,
        [
            "due_on",
            "day",
            "earliest_on",
            "latest_on",
            "because",
            "figures",
            "sequence",
            "changed_at",
        ],
    )
    DueWork.objects.bulk_update(fallen, ["state", "closed_at", "changed_at", "sequence"])
    return WorkedOut(len(fresh), len(moved), len(fallen), stood, len(turns.untold))


def _opened(machine: int, plan: int, due: Due, now: datetime) -> DueWork:
    return DueWork(
        machine_id=machine,
        plan_id=plan,
        due_on=due.on,
        day=due.on,
        earliest_on=due.earliest,
        latest_on=due.latest,
        because=due.said[:300],
        figures=dict(due.figures),
        opened_at=now,
        changed_at=now,
    )


def _differs(row: DueWork, due: Due) -> bool:
    return (row.due_on, row.earliest_on, row.latest_on, row.because, row.figures) != (
        due.on,
        due.earliest,
        due.latest,
        due.said[:300],
        dict(due.figures),
    )


def _moved(row: DueWork, due: Due, now: datetime) -> DueWork:
    if row.put_off_to is None and row.due_on != due.on:
        row.day = due.on
        # Only what a calendar shows; the figures behind an estimate change every day.
        row.sequence += 1
        row.changed_at = now
    row.due_on, row.earliest_on, row.latest_on = due.on, due.earliest, due.latest
    row.because, row.figures = due.said[:300], dict(due.figures)
    return row


@transaction.atomic
def put_off(*, due: DueWork, to: date | None, why: str, actor: Person, now: datetime) -> DueWork:
    """Move one turn to another day, sooner or later; `to` None puts it back to its own day.

    Raises NotOpen, Unacceptable for a day gone by or no reason, NotAllowed for anybody but the
    desk.
    """
    _require_desk(actor)
    lock.take()
    row = _open(due)
    today = now.astimezone(Business.the().time_zone).date()
    why = why.strip()
    if to is not None and to < today:
        message = f"{to:%Y-%m-%d} has gone by; give a day from today on"
        raise Unacceptable(message, fields={"to": message})
    if to is not None and not why:
        message = "say why it is moved"
        raise Unacceptable(message, fields={"why": message})
    changes = {
        "put_off_to": to,
        "day": to or row.due_on,
        "put_off_why": why if to is not None else "",
    }
    if row.put_off_to == to and row.put_off_why == changes["put_off_why"]:
        return row
    return rows.put(
        row,
        changes | {"sequence": row.sequence + 1, "changed_at": now, "late_told_at": None},
        actor=actor,
        verb="put off due work" if to is not None else "put due work back",
        now=now,
        reason=why,
    )


@transaction.atomic
def give(*, due: DueWork, to: Person | None, actor: Person, now: datetime) -> DueWork:
    """Say who does one turn; None: whoever the plan names. Raises NotOpen, Unacceptable, NotAllowed
    for anybody but the desk."""
    _require_desk(actor)
    lock.take()
    row = _open(due)
    if to is not None and not to.has_role(Role.OWNER, Role.DISPATCHER, Role.DRIVER):
        message = f"{to} does no work at machines; choose a driver or somebody of the desk"
        raise Unacceptable(message, fields={"to": message})
    if row.given_to_id == (None if to is None else to.pk):
        return row
    changes = {
        "given_to": to,
        "sequence": row.sequence + 1,
        "changed_at": now,
        # Whoever has it now was not reminded.
        "reminded_at": None,
        "late_told_at": None,
    }
    return rows.put(row, changes, actor=actor, verb="give due work", now=now)


def close(*, due: DueWork, done_id: int, actor: Person, now: datetime) -> None:
    """The turn was done. For actions that hold the lock."""
    before = audit.values(due)
    due.state, due.done_id, due.closed_at = DueWork.State.DONE, done_id, now
    due.changed_at, due.sequence = now, due.sequence + 1
    due.save(update_fields=["state", "done", "closed_at", "changed_at", "sequence"])
    audit.record(
        actor=actor,
        verb="close due work",
        row=due,
        now=now,
        before=before,
        after=audit.values(due),
    )


def work_out_again(*, plan: MaintenancePlan, now: datetime, machines: Sequence[int]) -> None:
    """The turns of one plan at some machines, within the caller's transaction."""
    _work_out_some(machines, [plan.pk], now)


def _open(due: DueWork) -> DueWork:
    row = DueWork.objects.select_related("machine", "plan", "given_to").get(pk=due.pk)
    if row.state != DueWork.State.OPEN:
        raise NotOpen(row)
    return row


def _require_desk(actor: Person) -> None:
    if not actor.has_role(Role.OWNER, Role.DISPATCHER):
        raise NotAllowed("only the desk moves due work and says who does it")
