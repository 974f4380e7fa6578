"""The one table of who may do what: complete, without dead rows, and true at the doors."""

from collections.abc import Callable

import pytest
from django.contrib.auth.models import AnonymousUser
from django.http import HttpResponse

from people import policy
from people.models import Person
from tests.cast import Cast
from tests.house.doors import WRITES, Door, Route, routes

ALL = ("GET", *WRITES)


def doors() -> list[Door]:
    """Every route by every method, whether the view takes the method or not."""
    return [Door(method, route.name, route.path) for route in routes() for method in ALL]


def takes(route: Route, method: str) -> bool:
    return route.methods is None or method in route.methods


def test_every_door_has_a_row() -> None:
    forgotten = [
        f"{method} {route.name}"
        for route in routes()
        for method in sorted(route.methods or ())
        if policy.row_for(method, route.name) is None
    ]
    named = {door.partition(" ")[2] for door in policy.BY_DOOR}
    # A function does not tell its methods, but one that no row names at all opens to nobody.
    forgotten += [route.name for route in routes() if route.name not in named]
    assert not forgotten, f"people/policy.py has no row for {', '.join(forgotten)}"


def test_every_row_names_doors_that_exist() -> None:
    there_are = {
        f"{method} {route.name}" for route in routes() for method in ALL if takes(route, method)
    }
    dead = sorted(set(policy.BY_DOOR) - there_are)
    assert not dead, f"people/policy.py names doors that are not there: {', '.join(dead)}"


def test_no_two_addresses_share_a_name() -> None:
    names = [route.name for route in routes()]
    assert len(names) == len(set(names))


def test_a_door_in_two_rows_is_refused() -> None:
    row = policy.Row("x", policy.OWNER, ("GET healthz",))
    with pytest.raises(ValueError, match="GET healthz stands in two rows"):
        policy._index((row, row))


def test_a_door_that_no_row_names_is_shut_even_for_an_owner(owner: Person) -> None:
    assert policy.row_for("GET", "office:no-such-door") is None
    assert not policy.allows(owner, None)


def test_a_person_who_has_left_may_nothing_but_what_all_may(owner: Person) -> None:
    owner.is_active = False
    for row in policy.TABLE:
        assert policy.allows(owner, row) == (row.who is policy.Anyone.PUBLIC), row.can


@pytest.mark.parametrize(
    "who", ["owner", "dispatcher", "driver", "accountant", "no_role", "nobody"]
)
def test_every_door_answers_as_the_table_says(
    who: str,
    cast: Cast,
    desk: Callable[..., object],
    device: Callable[..., object],
) -> None:
    """Knocks at every door with ids that no row has: who may pass is not told 403, others are."""
    person = cast.by_name()[who]
    wrong = []
    for door in doors():
        client = (device if door.route.startswith("api:") else desk)(person)
        client.raise_request_exception = False  # type: ignore[attr-defined]
        answer = getattr(client, door.method.lower())(door.path)
        if said := otherwise(door, person, answer):
            wrong.append(f"{door}: {said}")
    assert not wrong, f"as {who}:\n" + "\n".join(wrong)


def otherwise(door: Door, person: Person | AnonymousUser, answer: HttpResponse) -> str | None:
    """What is wrong with an answer, given the table; None when it is right."""
    row = policy.row_for(door.method, door.route)
    status = answer.status_code
    if status >= 500:
        return f"answered {status}: {answer.content[:300]!r}"
    if policy.allows(person, row):
        return "is shut to somebody who may pass" if status in {401, 403} else None
    refusals = {403, 405}
    if not person.is_authenticated:
        refusals.add(401)
        if status == 302 and "/sign-in" in answer["Location"]:
            return None
    return None if status in refusals else f"answered {status} to somebody who may not pass"
