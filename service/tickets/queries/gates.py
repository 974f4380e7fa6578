"""The gatekeepers of tickets: the desk sees and changes all of them, the accountant sees them, a
driver sees the own ones and those that are open and nobody's.

What is missing and what is not yours look alike (NotFound). Who a customer is, only the desk and
the driver who goes there may know.
"""

from typing import TypeVar

from django.db.models import Model, Q, QuerySet

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import Attachment, Cause, Refund, ServiceSettings, Symptom, Ticket

Row = TypeVar("Row", bound=Model)
DESK = (Role.OWNER, Role.DISPATCHER)
SEES_ALL = (*DESK, Role.ACCOUNTANT)
_LISTED = Ticket.objects.select_related(
    "machine", "column__position", "site", "symptom", "owner", "given_to"
)


def tickets_seen_by(person: Person) -> "QuerySet[Ticket]":
    """The tickets that this person may see, with what a list of them shows."""
    tickets = _LISTED.all()
    if person.has_role(*SEES_ALL):
        return tickets
    if person.has_role(Role.DRIVER):
        return tickets.filter(
            Q(given_to=person)
            | Q(state__in=Ticket.OPEN, given_to__isnull=True)
            | Q(work__done_by=person)
        )
    return tickets.none()


def ticket_for(person: Person, pk: int, *, write: bool = False) -> Ticket:
    """With `write` for an act: the accountant, who sees it, may not. Raises NotFound, NotAllowed.

    Which act a driver may do to it is the action's to say.
    """
    row = _found(tickets_seen_by(person), pk)
    if write and not person.has_role(*DESK, Role.DRIVER):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row


def ticket_to_tell_of(person: Person, pk: int) -> Ticket:
    """For what is told late: a driver may have seen any ticket while it was nobody's.

    Whether what was done then still counts is the action's to say. Raises NotFound, NotAllowed.
    """
    if person.has_role(Role.DRIVER):
        return _found(_LISTED, pk)
    return ticket_for(person, pk, write=True)


def ticket_by_reference(reference: str) -> Ticket:
    """The ticket of a reference as the public types it: capitals and O for 0 do not matter."""
    clean = "".join(reference.split()).replace("-", "").upper()
    for typed, meant in (("O", "0"), ("I", "1"), ("L", "1")):
        clean = clean.replace(typed, meant)
    row = Ticket.objects.select_related("joined_to").filter(reference=clean).first()
    if row is None:
        raise NotFound(f"there is no report {clean or 'without a reference'}")
    return row


def sees_contact(person: Person, ticket: Ticket) -> bool:
    """Whether this person may know who reported it."""
    return person.has_role(*DESK) or (
        person.has_role(Role.DRIVER) and ticket.given_to_id == person.pk
    )


def refunds_seen_by(person: Person) -> "QuerySet[Refund]":
    refunds = Refund.objects.select_related(
        "ticket__machine", "ticket__site", "ticket__symptom", "asked_by", "ended_by"
    )
    if person.has_role(*SEES_ALL):
        return refunds
    return refunds.filter(ticket__in=tickets_seen_by(person).values("pk"))


def refund_for(person: Person, pk: int, *, write: bool = False) -> Refund:
    """To pay or refuse (`write`) is the desk's and the accountant's."""
    row = _found(refunds_seen_by(person), pk)
    if write and not person.has_role(*SEES_ALL):
        raise NotAllowed(f"{row}: the desk pays or refuses it")
    return row


def attachments_seen_by(person: Person) -> "QuerySet[Attachment]":
    """Without their bytes, which come when they are asked for."""
    attachments = Attachment.objects.select_related("ticket", "added_by").defer("raw")
    if person.has_role(*SEES_ALL):
        return attachments
    return attachments.filter(ticket__in=tickets_seen_by(person).values("pk"))


def attachment_for(person: Person, pk: int, *, write: bool = False) -> Attachment:
    row = _found(attachments_seen_by(person), pk)
    if write and not person.has_role(*DESK) and row.added_by_id != person.pk:
        raise NotAllowed(f"{row} was not added by you")
    return row


def symptom_for(person: Person, pk: int, *, write: bool = False) -> Symptom:
    return _kept(Symptom.objects.all(), person, pk, write=write)


def cause_for(person: Person, pk: int, *, write: bool = False) -> Cause:
    return _kept(Cause.objects.all(), person, pk, write=write)


def settings_for(person: Person, *, write: bool = False) -> ServiceSettings:
    if not person.has_role(*SEES_ALL):
        raise NotFound("there are no service settings")
    if write and not person.has_role(Role.OWNER):
        raise NotAllowed("the owner sets what service work costs and promises")
    return ServiceSettings.the()


def _kept(rows: "QuerySet[Row]", person: Person, pk: int, *, write: bool) -> Row:
    if not person.roles:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    row = _found(rows, pk)
    if write and not person.has_role(*DESK):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row


def _found(rows: "QuerySet[Row]", pk: int) -> Row:
    row = rows.order_by().filter(pk=pk).first()
    if row is None:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    return row
