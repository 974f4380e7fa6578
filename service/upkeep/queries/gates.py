"""The gatekeepers of upkeep: whoever works here sees it, the desk keeps plans, drivers do the work.

What is missing and what is not yours look alike (NotFound).
"""

from typing import TypeVar

from django.db.models import Model, Prefetch, QuerySet

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role
from service.tickets.models import Ticket

from ..models import (
    CalendarAddress,
    DueWork,
    MaintenanceDone,
    MaintenancePlan,
    OwnTerms,
    Reading,
)

Row = TypeVar("Row", bound=Model)
DESK = (Role.OWNER, Role.DISPATCHER)
ROAD = (*DESK, Role.DRIVER)


def plan_for(person: Person, pk: int, *, write: bool = False) -> MaintenancePlan:
    rows = MaintenancePlan.objects.select_related("kind", "machine", "responsible")
    return _gate(rows, person, pk, write=write, writers=DESK)


def own_terms_for(person: Person, pk: int, *, write: bool = False) -> OwnTerms:
    rows = OwnTerms.objects.select_related("plan", "machine__kind")
    return _gate(rows, person, pk, write=write, writers=DESK)


def due_for(person: Person, pk: int, *, write: bool = False) -> DueWork:
    """`write` is to move it or to give it to somebody; doing it is the action's to judge."""
    rows = DueWork.objects.select_related("plan__responsible", "machine__kind", "given_to")
    return _gate(rows, person, pk, write=write, writers=DESK)


def done_for(person: Person, pk: int, *, write: bool = False) -> MaintenanceDone:
    return _gate(done_whole(), person, pk, write=write, writers=ROAD)


def done_whole() -> "QuerySet[MaintenanceDone]":
    """Work done with all that a page shows, in a fixed number of queries."""
    return MaintenanceDone.objects.select_related(
        "plan", "machine__kind", "by", "set_aside_by"
    ).prefetch_related(Prefetch("readings", queryset=Reading.objects.order_by("pk")))


def tickets_from(done: MaintenanceDone) -> "QuerySet[Ticket]":
    """The tickets that faults found with this work became."""
    return (
        Ticket.objects.filter(
            machine=done.machine_id,
            source=Ticket.Source.UPKEEP,
            because__maintenance_done=done.pk,
        )
        .select_related("symptom", "machine", "joined_to")
        .order_by("pk")
    )


def addresses_of(person: Person) -> "QuerySet[CalendarAddress]":
    """A person's own calendar addresses; an owner sees everybody's."""
    rows = CalendarAddress.objects.select_related("person", "revoked_by")
    if not person.has_role(Role.OWNER):
        rows = rows.filter(person=person)
    return rows.order_by("-made_at", "-pk")


def address_for(person: Person, pk: int) -> CalendarAddress:
    found = addresses_of(person).filter(pk=pk).first()
    if found is None:
        raise NotFound(f"there is no calendar address {pk}")
    return found


def _gate(
    rows: "QuerySet[Row]", person: Person, pk: int, *, write: bool, writers: tuple[Role, ...]
) -> Row:
    row = rows.filter(pk=pk).first() if person.has_role(*Role) else None
    if row is None:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    if write and not person.has_role(*writers):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row
