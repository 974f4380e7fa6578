"""Reads about people, and the gatekeepers through which a person or token reaches a door.

What is missing and what is not yours look alike (NotFound). Owners see everybody; the dispatcher
sees who works here; everybody sees themselves.
"""

from django.db.models import QuerySet

from .errors import NotAllowed, NotFound
from .models import AuditEntry, DeviceToken, Notice, Person
from .roles import Role

OWNERS_ONLY = ("people.Person", "people.DeviceToken", "people.Business")
"""Rows whose trail only owners read."""


def people_seen_by(person: Person) -> "QuerySet[Person]":
    """Everybody whom a person may see."""
    everybody = Person.objects.order_by("name", "pk")
    if person.has_role(Role.OWNER, Role.DISPATCHER):
        return everybody
    return everybody.filter(pk=person.pk)


def person_for(person: Person, pk: int, *, write: bool = False) -> Person:
    found = people_seen_by(person).filter(pk=pk).first()
    if found is None:
        raise NotFound(f"there is no person {pk}")
    if write and not person.has_role(Role.OWNER):
        raise NotAllowed(f"only an owner changes what is kept about {found}")
    return found


def tokens_seen_by(person: Person) -> "QuerySet[DeviceToken]":
    """A person's own device tokens; an owner sees everybody's."""
    tokens = DeviceToken.objects.select_related("person", "created_by", "revoked_by")
    if not person.has_role(Role.OWNER):
        tokens = tokens.filter(person=person)
    return tokens.order_by("-created_at", "-pk")


def token_for(person: Person, pk: int, *, write: bool = False) -> DeviceToken:
    """Whoever sees a token may take it away, so `write` asks for nothing more."""
    found = tokens_seen_by(person).filter(pk=pk).first()
    if found is None:
        raise NotFound(f"there is no device token {pk}")
    return found


def entries_seen_by(person: Person) -> "QuerySet[AuditEntry]":
    """The audit trail as far as a person may read it, latest first."""
    entries = AuditEntry.objects.select_related("actor").order_by("-pk")
    return entries if person.has_role(Role.OWNER) else entries.exclude(object_type__in=OWNERS_ONLY)


def notices_of(person: Person) -> "QuerySet[Notice]":
    """What a person was told, latest first; nobody sees another's."""
    return Notice.objects.filter(person=person).order_by("-at", "-pk")
