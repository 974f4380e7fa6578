"""The one table of who may do what: complete, without dead rows, and true at the doors."""

from collections.abc import Callable, Iterator
from copy import deepcopy
from typing import Any

import pytest
from django.contrib.auth.models import AnonymousUser
from django.db import transaction
from django.http import HttpResponse

from people import policy
from people.models import Person
from tests.cast import Cast
from tests.house.doors import WRITES, Door, Route, routes

ALL = ("GET", *WRITES)
Knock = Callable[[Person | AnonymousUser, list[Door]], Iterator[tuple[Door, HttpResponse]]]


def takes(route: Route, method: str) -> bool:
    """Whether the view takes the method. A plain function does not tell; then the table does."""
    if route.methods is None:
        return policy.row_for(method, route.name) is not None
    return method in route.methods


def doors() -> list[Door]:
    return [
        Door(method, route.name, route.path)
        for route in routes()
        for method in ALL
        if takes(route, method)
    ]


def not_doors() -> list[Door]:
    """Methods that an address does not take."""
    return [
        Door(method, route.name, route.path)
        for route in routes()
        for method in ALL
        if not takes(route, method)
    ]


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
        f"{method} {route.name}"
        for route in routes()
        for method in ALL
        if route.methods is None or method in route.methods
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
def test_every_door_answers_as_the_table_says(who: str, cast: Cast, knock: Knock) -> None:
    """With ids that no row has: who may pass is not told 403, others are."""
    person = cast.by_name()[who]
    wrong = []
    for door, answer in knock(person, doors()):
        if said := otherwise(door, person, answer):
            wrong.append(f"{door}: {said}")
    assert not wrong, f"as {who}:\n" + "\n".join(wrong)


def test_a_method_that_an_address_does_not_take_is_refused_even_to_an_owner(
    owner: Person, knock: Knock
) -> None:
    taken = [
        str(door)
        for door, answer in knock(owner, not_doors())
        if answer.status_code not in {403, 405} and not leads_back(door, answer)
    ]
    assert not taken


def leads_back(door: Door, answer: HttpResponse) -> bool:
    """Where only a form goes, a reload leads to the form's page, which stands above it."""
    page = answer.headers.get("Location", "")
    above = page != door.path and page not in {"", "/"} and door.path.startswith(page)
    return door.method == "GET" and answer.status_code == 302 and above


@pytest.fixture
def knock(desk: Callable[..., Any], device: Callable[..., Any]) -> Knock:
    """Asks at each door as a person: by device token at the API, from a browser at the office."""

    def at(
        person: Person | AnonymousUser, doors: list[Door]
    ) -> Iterator[tuple[Door, HttpResponse]]:
        browser, app = desk(person), device(person)
        browser.raise_request_exception = app.raise_request_exception = False
        signed_in = deepcopy(browser.cookies)
        for door in doors:
            browser.cookies = deepcopy(signed_in)  # one of the doors is the way out
            client = app if door.route.startswith("api:") else browser
            with transaction.atomic():  # one door must not change what the next one finds
                yield door, getattr(client, door.method.lower())(door.path)
                transaction.set_rollback(True)

    return at


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
