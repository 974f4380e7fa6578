"""Failures to sign in are counted by person and address, as the visitor cannot choose them."""

from typing import Any

import pytest
from django.test import Client

from people.models import Person
from tests.cast import PASSWORD

pytestmark = pytest.mark.django_db


def sign_in(client: Client, email: str, password: str, *, seen_at: str = "") -> int:
    body = {"email": email, "password": password, "name": "a device"}
    # As a proxy on the same machine passes it on: what the visitor sent, then what it saw.
    headers = {"X-Forwarded-For": f"203.0.113.1, {seen_at}"} if seen_at else {}
    return client.post(
        "/api/v1/tokens", body, content_type="application/json", headers=headers
    ).status_code


def test_each_way_to_write_the_capitals_counts_together(client: Client, owner: Person) -> None:
    for index in range(5):
        sign_in(client, owner.email[:index].upper() + owner.email[index:], "wrong")
    assert sign_in(client, owner.email, PASSWORD) == 429


def test_behind_a_proxy_one_visitor_shuts_the_door_for_nobody_else(
    client: Client, owner: Person, settings: Any
) -> None:
    settings.PROXIES = 1
    for _ in range(5):
        sign_in(client, owner.email, "wrong", seen_at="198.51.100.7")
    assert sign_in(client, owner.email, PASSWORD, seen_at="198.51.100.7") == 429
    assert sign_in(client, owner.email, PASSWORD, seen_at="198.51.100.8") == 201


def test_without_a_proxy_nobody_chooses_the_address_that_counts(
    client: Client, owner: Person
) -> None:
    for index in range(5):
        sign_in(client, owner.email, "wrong", seen_at=f"198.51.100.{index}")
    assert sign_in(client, owner.email, PASSWORD, seen_at="198.51.100.99") == 429
