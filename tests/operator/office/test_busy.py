"""Somebody else holds the row: the desk says so, instead of breaking."""

from collections.abc import Callable, Iterator
from typing import Any

import psycopg
import pytest
from django.db import connection
from django.test import Client

from fleet.machines.models import Product
from people.models import Person
from tests.world import World

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def other() -> Iterator[psycopg.Connection[Any]]:
    """A second connection to the same database, and no patience in the first."""
    given = connection.get_connection_params()
    named = {k: given[k] for k in ("dbname", "user", "host", "port", "password") if k in given}
    with connection.cursor() as cursor:
        cursor.execute("SET lock_timeout = '50ms'")
    with psycopg.connect(**named) as opened:
        yield opened
    with connection.cursor() as cursor:
        cursor.execute("SET lock_timeout = '10s'")


def test_a_row_that_somebody_else_holds_is_refused_in_words(
    world: World,
    owner: Person,
    desk: Callable[[Person], Client],
    other: psycopg.Connection[Any],
) -> None:
    cola = world.product("Cola", world.can())
    address = f"/products/{cola.pk}/change/"
    form = desk(owner).get(address).context["form"]
    typed = {name: form[name].value() for name in form.fields}
    given = {k: v for k, v in typed.items() if v not in (None, False)} | {"name": "Cola zero"}
    other.execute("SELECT 1 FROM machines_product WHERE id = %s FOR UPDATE", [cola.pk])
    refused = desk(owner).post(address, given)
    assert refused.status_code == 409
    assert "somebody else is at work on the same rows" in refused.content.decode()
    assert 'value="Cola zero"' in refused.content.decode()  # the form is kept as typed
    other.rollback()
    assert desk(owner).post(address, given).status_code == 302
    assert Product.objects.get(pk=cola.pk).name == "Cola zero"
