"""Gatekeepers of promises and webhooks. Who reads rules and days closed is the policy's to say;
who hears of tickets outside, and with what, is the owner's alone."""

from typing import TypeVar

from django.db.models import Model, QuerySet

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import ClosedDay, PromiseRule, ServiceHours, WebhookDelivery, WebhookTarget

Row = TypeVar("Row", bound=Model)
READS = (Role.OWNER, Role.DISPATCHER, Role.ACCOUNTANT)


def rules() -> "QuerySet[PromiseRule]":
    """Everywhere first, then the sites by name."""
    return PromiseRule.objects.select_related("site").order_by("site__name", "urgency", "pk")


def rule_for(person: Person, pk: int, *, write: bool = False) -> PromiseRule:
    return _found(rules(), person, READS, pk, write, (Role.OWNER,), "an owner sets promises")


def hours_for(person: Person, *, write: bool = False) -> list[ServiceHours]:
    """All hours together, as they are set; locked to be changed."""
    if not person.has_role(*READS):
        raise NotFound("there are no service hours")
    if write and not person.has_role(Role.OWNER):
        raise NotAllowed("an owner sets promises")
    found = ServiceHours.objects.order_by("weekday", "opens", "pk")
    return list(found.select_for_update() if write else found)


def closed_days() -> "QuerySet[ClosedDay]":
    return ClosedDay.objects.select_related("site").order_by("-date", "-pk")


def closed_day_for(person: Person, pk: int, *, write: bool = False) -> ClosedDay:
    desk = (Role.OWNER, Role.DISPATCHER)
    return _found(closed_days(), person, READS, pk, write, desk, "the desk closes and opens days")


def targets() -> "QuerySet[WebhookTarget]":
    return WebhookTarget.objects.order_by("name", "pk")


def target_for(person: Person, pk: int, *, write: bool = False) -> WebhookTarget:
    return _found(targets(), person, (Role.OWNER,), pk, write, (Role.OWNER,), "")


def deliveries() -> "QuerySet[WebhookDelivery]":
    """The latest first."""
    return WebhookDelivery.objects.select_related("target").order_by("-pk")


def delivery_for(person: Person, pk: int, *, write: bool = False) -> WebhookDelivery:
    return _found(deliveries(), person, (Role.OWNER,), pk, write, (Role.OWNER,), "")


def _found(
    rows: "QuerySet[Row]",
    person: Person,
    readers: tuple[Role, ...],
    pk: int,
    write: bool,
    writers: tuple[Role, ...],
    whose: str,
) -> Row:
    row = rows.order_by().filter(pk=pk).first() if person.has_role(*readers) else None
    if row is None:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    if write and not person.has_role(*writers):
        raise NotAllowed(f"{row}: {whose}")
    return row
