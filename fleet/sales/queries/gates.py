"""The gatekeepers: a row reaches a door only through one of these.

What is missing and what is not yours look alike (NotFound). With `write=True` a person who may see
the row but not change it gets NotAllowed. The desk and the accountant see every read and what was
taken; drivers see the reads of machines and no takings; the tray is the desk's to decide.
"""

from typing import TypeVar

from django.db.models import Model, Q, QuerySet

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import AuditRead, EpochDecision, EventMeaning, MachineInterval, SaleInterval

Row = TypeVar("Row", bound=Model)
DESK = (Role.OWNER, Role.DISPATCHER)
ALL_READS = (*DESK, Role.ACCOUNTANT)


def sees_takings(person: Person) -> bool:
    """Whether a person sees what customers paid, and what was sold for it. A driver does not."""
    return person.has_role(*ALL_READS)


def reads_seen_by(person: Person) -> "QuerySet[AuditRead]":
    """The reads that a person may see, without their bytes."""
    rows = AuditRead.objects.defer("raw").select_related(
        "machine__kind", "received_by", "settled_by"
    )
    if person.has_role(*ALL_READS):
        return rows
    if person.has_role(Role.DRIVER):
        return rows.filter(machine__isnull=False)
    return rows.none()


def read_for(person: Person, pk: int, *, write: bool = False) -> AuditRead:
    return _gate(reads_seen_by(person), person, pk, write=write)


def interval_for(person: Person, pk: int, *, write: bool = False) -> MachineInterval:
    rows = MachineInterval.objects.select_related("machine", "from_read", "to_read").defer(
        "from_read__raw", "to_read__raw"
    )
    return _gate(_with_takings(rows, person), person, pk, write=write)


def line_for(person: Person, pk: int) -> SaleInterval:
    rows = SaleInterval.objects.select_related(
        "interval__machine", "column__position", "selection", "set_up__product"
    )
    return _gate(_with_takings(rows, person), person, pk, write=False)


def decision_for(person: Person, pk: int, *, write: bool = False) -> EpochDecision:
    rows = EpochDecision.objects.select_related("machine", "decided_by")
    return _gate(_with_takings(rows, person), person, pk, write=write)


def meaning_for(person: Person, pk: int, *, write: bool = False) -> EventMeaning:
    rows = EventMeaning.objects.select_related("kind")
    return _gate(_staff_only(rows, person), person, pk, write=write)


def _with_takings(rows: "QuerySet[Row]", person: Person) -> "QuerySet[Row]":
    return rows if sees_takings(person) else rows.none()


def _staff_only(rows: "QuerySet[Row]", person: Person) -> "QuerySet[Row]":
    return rows if person.has_role(*Role) else rows.filter(Q(pk__in=[]))


def _gate(rows: "QuerySet[Row]", person: Person, pk: int, *, write: bool) -> Row:
    row = rows.filter(pk=pk).first()
    if row is None:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    if write and not person.has_role(*DESK):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row
