"""The gatekeepers of compliance: a row reaches a door only through one of these.

Whoever works here sees duties, temperatures, dates and recalls; the desk and the accountant keep
duties, the desk recalls and limits. What is missing and what is not yours look alike (NotFound).
"""

from typing import TypeVar

from django.db.models import Model, QuerySet

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import (
    AccessCheck,
    Duty,
    DutyDone,
    DutyRule,
    EnergyReading,
    Evidence,
    FoodLock,
    Recall,
    TemperatureLimits,
)
from .duties import done_whole, duties_whole
from .measured import checks_whole, readings_whole
from .recalls import recalls_whole
from .temperatures import locks_whole

Row = TypeVar("Row", bound=Model)
DESK = (Role.OWNER, Role.DISPATCHER)
ROAD = (*DESK, Role.DRIVER)
KEEPERS = (*DESK, Role.ACCOUNTANT)


def rule_for(person: Person, pk: int, *, write: bool = False) -> DutyRule:
    return _gate(DutyRule.objects.select_related("owner"), person, pk, write, KEEPERS)


def duty_for(person: Person, pk: int, *, write: bool = False) -> Duty:
    """`write` is to change it; writing down that it was done is the action's to judge."""
    return _gate(duties_whole(), person, pk, write, KEEPERS)


def done_for(person: Person, pk: int) -> DutyDone:
    return _gate(done_whole(), person, pk, False, ())


def evidence_for(person: Person, pk: int) -> Evidence:
    return _gate(Evidence.objects.select_related("added_by"), person, pk, False, ())


def limits_for(person: Person, pk: int, *, write: bool = False) -> TemperatureLimits:
    return _gate(TemperatureLimits.objects.all(), person, pk, write, DESK)


def lock_for(person: Person, pk: int, *, write: bool = False) -> FoodLock:
    return _gate(locks_whole(), person, pk, write, ROAD)


def recall_for(person: Person, pk: int, *, write: bool = False) -> Recall:
    """`write` is to change it, send for it or close it; drivers take out what they find."""
    return _gate(recalls_whole(), person, pk, write, DESK)


def access_check_for(person: Person, pk: int) -> AccessCheck:
    """Taking it back is the action's to judge: whoever wrote it down may."""
    return _gate(checks_whole(), person, pk, False, ())


def energy_reading_for(person: Person, pk: int) -> EnergyReading:
    """As `access_check_for`."""
    return _gate(readings_whole(), person, pk, False, ())


def _gate(
    rows: "QuerySet[Row]", person: Person, pk: int, write: bool, writers: tuple[Role, ...]
) -> Row:
    row = rows.filter(pk=pk).first() if person.has_role(*Role) else None
    if row is None:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    if write and not person.has_role(*writers):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row
