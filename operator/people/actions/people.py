"""People: added, changed, let go and taken back; their passwords."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from functools import partial
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from people import audit, rows
from people.actions import tokens
from people.errors import Unable, Unacceptable
from people.models import Person
from people.roles import Role

Letter = Callable[[Person], object]
LET_GO = "no longer works here"


@transaction.atomic
def add(
    *,
    email: str,
    name: str,
    roles: Iterable[str],
    actor: Person | None,
    now: datetime,
    phone: str = "",
    password: str | None = None,
    letter: Letter | None = None,
) -> Person:
    """Add somebody who works here. Without a password they can only come in by a link to set one.

    `letter` is called once the row is committed, to send that link. Raises Unacceptable.
    """
    person = Person()
    if password is None:
        person.set_unusable_password()
    else:
        _check_password(password, Person(email=email, name=name))
        person.set_password(password)
    _check_email(email, person)
    changes = {"email": email.strip(), "name": name.strip(), "phone": phone.strip()}
    rows.put(person, {**changes, "roles": _known(roles)}, actor=actor, verb="add person", now=now)
    if letter is not None:
        transaction.on_commit(partial(letter, person))
    return person


@transaction.atomic
def change(
    *, person: Person, changes: Mapping[str, Any], actor: Person | None, now: datetime
) -> Person:
    """Change a name, e-mail, phone or the roles.

    Raises Unacceptable, or Unable for the last owner.
    """
    wanted = {k: v for k, v in changes.items() if k in {"name", "email", "phone", "roles"}}
    if "email" in wanted:
        _check_email(wanted["email"], person)
    if "roles" in wanted:
        wanted["roles"] = _known(wanted["roles"])
        if Role.OWNER not in wanted["roles"]:
            _keep_an_owner(person)
    return rows.put(person, wanted, actor=actor, verb="change person", now=now)


@transaction.atomic
def let_go(*, person: Person, actor: Person, now: datetime, reason: str = "") -> Person:
    """The person no longer works here: no sign-in, and their device tokens are taken away for good.

    Raises Unable for the last owner, since nobody could then let anybody in again.
    """
    _keep_an_owner(person)
    gone = rows.put(
        person, {"is_active": False}, actor=actor, verb="let go", now=now, reason=reason
    )
    # A phone kept or lost in the meantime would open the doors again with whoever is taken back.
    tokens.revoke_all(person=person, actor=actor, now=now, reason=reason or LET_GO)
    return gone


@transaction.atomic
def take_back(*, person: Person, actor: Person, now: datetime) -> Person:
    """The person works here again, with the roles they had and without the devices."""
    if not person.is_active:
        # Whoever was let go while a token was being made for them still has it.
        tokens.revoke_all(person=person, actor=actor, now=now, reason=LET_GO)
    return rows.put(person, {"is_active": True}, actor=actor, verb="take back", now=now)


@transaction.atomic
def set_password(*, person: Person, password: str, actor: Person | None, now: datetime) -> Person:
    """Set a password. The trail says that it was set, never what it is. Raises Unacceptable."""
    _check_password(password, person)
    person.set_password(password)
    person.save(update_fields=["password"])
    audit.record(actor=actor, verb="set password", row=person, now=now)
    return person


def _known(roles: Iterable[str]) -> list[str]:
    wanted = set(roles)
    unknown = sorted(wanted - set(Role.values))
    if unknown:
        message = f"{', '.join(unknown)} is no role; the roles are {', '.join(Role.values)}"
        raise Unacceptable(message, fields={"roles": message})
    return [role for role in Role.values if role in wanted]


def _check_email(email: str, person: Person) -> None:
    others = Person.objects.filter(email__iexact=email.strip()).exclude(pk=person.pk)
    if others.exists():
        message = (
            f"{email.strip()} already belongs to somebody; each person has an e-mail of their own"
        )
        raise Unacceptable(message, fields={"email": message})


def _check_password(password: str, person: Person) -> None:
    try:
        validate_password(password, person)
    except ValidationError as error:
        message = " ".join(error.messages)
        raise Unacceptable(f"password: {message}", fields={"password": message}) from error


def _keep_an_owner(person: Person) -> None:
    # All owners are locked, or two owners letting each other go at once would leave none.
    owners = Person.objects.select_for_update().filter(is_active=True, roles__contains=[Role.OWNER])
    if {owner.pk for owner in owners.order_by("pk")} == {person.pk}:
        raise Unable(
            f"{person} is the only owner; make somebody else an owner first", code="last_owner"
        )
