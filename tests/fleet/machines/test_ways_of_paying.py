"""Which payment a machine takes from when on: the action, the API's door and the desk's."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client

from fleet.machines.actions import machines
from fleet.machines.models import Machine, WaysOfPaying
from people.errors import Unacceptable
from people.models import AuditEntry, Person
from tests.world import World

pytestmark = pytest.mark.django_db


def say(world: World, machine: Machine, takes: str, starts_on: date) -> WaysOfPaying:
    return machines.set_ways_of_paying(
        machine=machine, takes=takes, starts_on=starts_on, actor=world.owner, now=world.now
    )


def test_what_is_said_for_a_day_again_replaces_it(world: World, lobby: Machine) -> None:
    first = say(world, lobby, "cash", date(2026, 1, 1))
    assert say(world, lobby, "all", date(2026, 2, 1)).pk != first.pk
    again = say(world, lobby, "cashless", date(2026, 1, 1))
    assert again.pk == first.pk
    assert [(one.takes, one.starts_on.month) for one in lobby.ways_of_paying.all()] == [
        ("all", 2),
        ("cashless", 1),
    ]
    trail = AuditEntry.objects.filter(verb="set ways of paying")
    assert trail.count() == 3


@pytest.mark.parametrize(
    ("takes", "days", "field"), [("coupons", 0, "takes"), ("cash", 2, "starts_on")]
)
def test_what_cannot_be_is_refused(
    world: World, lobby: Machine, takes: str, days: int, field: str
) -> None:
    with pytest.raises(Unacceptable) as refused:
        say(world, lobby, takes, world.now.date() + timedelta(days=days))
    assert field in refused.value.fields
    assert not lobby.ways_of_paying.exists()


def test_through_the_api(lobby: Machine, as_owner: Any) -> None:
    path = f"/machines/{lobby.pk}/ways-of-paying"
    told = as_owner.post(path, {"takes": "cash", "starts_on": "2026-01-01"})
    assert told.status_code == 200, told.content
    assert [one["takes"] for one in as_owner.get(path).json()] == ["cash"]
    refused = as_owner.post(path, {"takes": "coupons", "starts_on": "2026-01-01"})
    assert refused.status_code in {400, 422}


def test_at_the_desk(
    lobby: Machine, owner: Person, driver: Person, desk: Callable[[Any], Client]
) -> None:
    address = f"/fleet/{lobby.pk}/paying/"
    client = desk(owner)
    assert client.post(address, {"takes": "cash", "starts_on": "2026-01-01"}).status_code == 302
    assert "coins and notes only from" in client.get(f"/fleet/{lobby.pk}/change/").content.decode()
    wrong = client.post(address, {"takes": "cash", "starts_on": "2999-01-01"})
    assert wrong.status_code == 422
    assert "still to come" in wrong.content.decode()
    assert (
        desk(driver).post(address, {"takes": "all", "starts_on": "2026-01-01"}).status_code == 403
    )
