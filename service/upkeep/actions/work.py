"""Maintenance that was done, and readings taken by hand."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from django.db import transaction

from fleet.machines.models import Machine
from people import rows
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import Person
from people.roles import Role
from service.tickets.actions import reporting
from service.tickets.models import Symptom, Ticket
from service.tickets.queries.duplicates import same

from .. import asked
from ..models import DueWork, MaintenanceDone, MaintenancePlan, Reading
from ..queries.turns import applies
from . import due as due_work
from . import lock
from .errors import ToldAlready

DONE: Final = "done"
FAULT: Final = "fault"
NOT_DONE: Final = "not_done"
ANSWERS: Final = (DONE, FAULT, NOT_DONE)
CLOCK_AHEAD: Final = timedelta(minutes=10)
"""A device's clock may run so far ahead of ours."""


@dataclass(frozen=True)
class Answer:
    """What became of one item of the checklist: done, fault (said what) or not_done (said why).

    With a symptom a fault becomes a ticket.
    """

    item: str
    answer: str
    said: str = ""
    symptom: Symptom | None = None


@dataclass(frozen=True)
class Taken:
    """A value as it was read, with its unit; an empty unit is the reading's own."""

    what: str
    value: Decimal
    unit: str = ""


@transaction.atomic
def done(
    *,
    plan: MaintenancePlan,
    machine: Machine,
    answers: Sequence[Answer],
    readings: Sequence[Taken],
    at: datetime,
    actor: Person,
    now: datetime,
    minutes: int | None = None,
    note: str = "",
) -> MaintenanceDone:
    """Write down that a plan's work was done at a machine; its next turn is counted from `at`.

    Every item of the checklist has its answer, at least one of them done or with a fault found. An
    open turn is closed by it. What was written down earlier for a later moment keeps counting. A
    fault with a symptom makes a ticket, joined to the one that is open on the same. Raises
    Unacceptable by field, ToldAlready, NotAllowed for an accountant, and Unable where the plan is
    not for the machine.
    """
    _require_road(actor)
    if not applies(plan, machine):
        raise Unable(f"{plan} is not for {machine}", code="plan_not_for_machine")
    _require_moment(at, now)
    said = _checked(plan, answers)
    taken = _read(plan, readings)
    lock.take()
    before = MaintenanceDone.objects.filter(plan=plan, machine=machine, done_at=at).first()
    if before is not None:
        raise ToldAlready(before)
    written = rows.put(
        MaintenanceDone(plan=plan, machine=machine, by=actor, recorded_at=now),
        {"done_at": at, "answers": said, "note": note.strip(), "minutes": minutes},
        actor=actor,
        verb="record maintenance",
        now=now,
    )
    for what, value, usual in taken:
        _keep(machine, what, value, usual, at, actor, now, Reading.Source.UPKEEP, written)
    turn = DueWork.objects.filter(plan=plan, machine=machine, state=DueWork.State.OPEN).first()
    if turn is not None and not _later_work(written):
        due_work.close(due=turn, done_id=written.pk, actor=actor, now=now)
    due_work.work_out_again(plan=plan, now=now, machines=[machine.pk])
    _report(written, answers, now)
    return written


@transaction.atomic
def set_aside(*, done: MaintenanceDone, why: str, actor: Person, now: datetime) -> MaintenanceDone:
    """Take back what was written down by mistake: it counts for nothing, and stays to be seen.

    Whoever wrote it may, and the desk. Raises Unacceptable without a reason, NotAllowed.
    """
    if actor.pk != done.by_id and not actor.has_role(Role.OWNER, Role.DISPATCHER):
        raise NotAllowed(f"{done}: only {done.by} or the desk takes this back")
    why = why.strip()
    if not why:
        message = "say why it is taken back"
        raise Unacceptable(message, fields={"why": message})
    lock.take()
    done.refresh_from_db()
    if done.set_aside_at is not None:
        return done
    changes = {"set_aside_at": now, "set_aside_by": actor, "set_aside_why": why}
    rows.put(done, changes, actor=actor, verb="set maintenance aside", now=now, reason=why)
    due_work.work_out_again(plan=done.plan, now=now, machines=[done.machine_id])
    return done


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
    """Write down one value read at a machine. Raises Unacceptable, NotAllowed for an accountant."""
    _require_road(actor)
    _require_moment(at, now)
    own = asked.in_own_unit(what, value, unit)
    return _keep(machine, what, own, None, at, actor, now, source, None)


def _report(written: MaintenanceDone, answers: Sequence[Answer], now: datetime) -> None:
    """A ticket for each fault that was told with its symptom."""
    for one in answers:
        if one.answer != FAULT or one.symptom is None:
            continue
        open_ones = same(written.machine, one.symptom)
        reporting.report(
            machine=written.machine,
            symptom=one.symptom,
            source=Ticket.Source.UPKEEP,
            said=f"{written.plan}: {one.item}: {one.said.strip()}",
            because={"maintenance_done": written.pk, "plan": written.plan.name, "item": one.item},
            reported_at=min(written.done_at, now),
            join=open_ones[0] if open_ones else None,
            actor=written.by,
            now=now,
        )


def _keep(
    machine: Machine,
    what: str,
    value: Decimal,
    usual: bool | None,
    at: datetime,
    actor: Person,
    now: datetime,
    source: str,
    done: MaintenanceDone | None,
) -> Reading:
    changes = {"what": what, "value": value, "taken_at": at, "usual": usual, "source": source}
    row = Reading(machine=machine, by=actor, recorded_at=now, done=done)
    return rows.put(row, changes, actor=actor, verb="take reading", now=now)


def _checked(plan: MaintenancePlan, answers: Sequence[Answer]) -> list[dict[str, Any]]:
    given: dict[str, Answer] = {}
    for index, one in enumerate(answers):
        where = f"answers.{index}"
        if one.item not in plan.checklist:
            raise _refused(where, f"{one.item!r} is not on the list of {plan}")
        if one.item in given:
            raise _refused(where, f"{one.item!r} is answered twice")
        if one.answer not in ANSWERS:
            raise _refused(where, f"{one.item}: answer one of {', '.join(ANSWERS)}")
        if one.answer != DONE and not one.said.strip():
            wanted = "what the fault is" if one.answer == FAULT else "why it was not done"
            raise _refused(where, f"{one.item}: say {wanted}")
        if one.symptom is not None and one.answer != FAULT:
            raise _refused(where, f"{one.item}: only a fault becomes a ticket")
        given[one.item] = one
    missing = [item for item in plan.checklist if item not in given]
    if missing:
        raise _refused("answers", f"not answered yet: {'; '.join(missing)}")
    if given and all(one.answer == NOT_DONE for one in given.values()):
        raise _refused("answers", "nothing was done, so there is nothing to write down")
    return [
        {"item": item, "answer": given[item].answer, "said": given[item].said.strip()}
        for item in plan.checklist
    ]


def _read(
    plan: MaintenancePlan, readings: Sequence[Taken]
) -> list[tuple[str, Decimal, bool | None]]:
    bands = {one.what: one for one in asked.asked_of(plan.readings_asked)}
    found: list[tuple[str, Decimal, bool | None]] = []
    for index, one in enumerate(readings):
        try:
            value = asked.in_own_unit(one.what, one.value, one.unit)
        except Unacceptable as error:
            raise _refused(f"readings.{index}", error.message) from error
        if any(what == one.what for what, _, _ in found):
            raise _refused(f"readings.{index}", f"{one.what} is read twice")
        band = bands.get(one.what)
        found.append((one.what, value, None if band is None else band.usual(value)))
    return found


def _later_work(written: MaintenanceDone) -> bool:
    """Whether work of the same plan was done later and told sooner, so that the turn is past."""
    return MaintenanceDone.objects.filter(
        plan=written.plan_id,
        machine=written.machine_id,
        set_aside_at__isnull=True,
        done_at__gt=written.done_at,
    ).exists()


def _require_road(actor: Person) -> None:
    if not actor.has_role(Role.OWNER, Role.DISPATCHER, Role.DRIVER):
        raise NotAllowed("only drivers and the desk write down what was done at machines")


def _require_moment(at: datetime, now: datetime) -> None:
    if at > now + CLOCK_AHEAD:
        raise _refused("at", f"{at:%Y-%m-%d %H:%M} is still to come; give when it was done")


def _refused(field: str, message: str) -> Unacceptable:
    return Unacceptable(message, fields={field: message})


__all__ = [
    "ANSWERS",
    "DONE",
    "FAULT",
    "NOT_DONE",
    "Answer",
    "Taken",
    "done",
    "set_aside",
    "take_reading",
]
