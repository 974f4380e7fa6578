"""The named cast: one person for each role, whom every test means by the same name."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from functools import cache

import pytest
from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import AnonymousUser
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from people.actions import people, tokens
from people.models import Person
from people.roles import Role

NOW = datetime(2026, 3, 2, 14, tzinfo=UTC)
"""A Monday morning in New York: the moment of a test that does not care when it is."""

PASSWORD = "seven-columns-of-lemonade"
"""Everybody's password."""


@dataclass(frozen=True)
class Cast:
    """Everybody at once, for tables that go through all of them."""

    owner: Person
    dispatcher: Person
    driver: Person
    other_driver: Person
    accountant: Person
    no_role: Person
    nobody: AnonymousUser

    def by_name(self) -> dict[str, Person | AnonymousUser]:
        return {field.name: getattr(self, field.name) for field in fields(self)}


@cache
def _encoded() -> str:
    # Hashing is slow on purpose; once for all tests is enough.
    return make_password(PASSWORD)


def join(name: str, *roles: Role) -> Person:
    """Somebody who works here, with PASSWORD as the password."""
    person = people.add(
        email=f"{name.split(maxsplit=1)[0].lower()}@desk.example.org",
        name=name,
        roles=roles,
        actor=None,
        now=NOW,
    )
    person.password = _encoded()
    person.save(update_fields=["password"])
    return person


@pytest.fixture
def owner(db: None) -> Person:
    return join("Orla Fennimore", Role.OWNER)


@pytest.fixture
def dispatcher(db: None) -> Person:
    return join("Dev Castellane", Role.DISPATCHER)


@pytest.fixture
def driver(db: None) -> Person:
    return join("Rosa Quillfeather", Role.DRIVER)


@pytest.fixture
def other_driver(db: None) -> Person:
    return join("Tobin Ashgrove", Role.DRIVER)


@pytest.fixture
def accountant(db: None) -> Person:
    return join("Agnes Wetherlow", Role.ACCOUNTANT)


@pytest.fixture
def no_role(db: None) -> Person:
    """Works here and holds no role."""
    return join("Noor Hallbrook")


@pytest.fixture
def nobody() -> AnonymousUser:
    """Has not signed in."""
    return AnonymousUser()


@pytest.fixture
def cast(
    owner: Person,
    dispatcher: Person,
    driver: Person,
    other_driver: Person,
    accountant: Person,
    no_role: Person,
    nobody: AnonymousUser,
) -> Cast:
    return Cast(owner, dispatcher, driver, other_driver, accountant, no_role, nobody)


@pytest.fixture
def desk(db: None) -> Callable[[Person | AnonymousUser], Client]:
    """A browser at the office in which the person has signed in."""

    def at_the_desk(person: Person | AnonymousUser) -> Client:
        client = Client()
        if isinstance(person, Person):
            client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return at_the_desk


@pytest.fixture
def device(db: None) -> Callable[[Person | AnonymousUser], APIClient]:
    """A device that carries a token of the person."""

    def with_token(person: Person | AnonymousUser) -> APIClient:
        client = APIClient()
        if isinstance(person, Person):
            _, secret = tokens.issue(
                person=person, name="test device", actor=person, now=timezone.now()
            )
            client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
        return client

    return with_token
