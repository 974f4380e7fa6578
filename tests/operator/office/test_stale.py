"""A page that somebody had open while somebody else kept a change: nothing is overwritten."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.http import HttpResponse
from django.test import Client

from fleet.machines.models import Changeover, Machine
from fleet.sales.models import EventMeaning
from people.actions import business
from people.models import Business, Person
from people.roles import Role
from tests.cast import NOW, join
from tests.typed import typed
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]
Case = tuple[str, str, str, str, str]


@pytest.fixture
def second(db: None) -> Person:
    """Another owner, whose changes come in between."""
    return join("Odette Marlowe", Role.OWNER)


def cases(machine: Machine, person: Person) -> dict[str, Case]:
    """By name: the form, an input of the first to keep and their value, and the second's."""
    product = machine.columns.get(position__label="1").set_ups.get().product
    site, meaning = machine.placements.get().site, EventMeaning.objects.order_by("pk")[0]
    third, fourth = (machine.columns.get(position__label=label) for label in ("3", "4"))
    their, note = "Theirs, again", "measured_note"
    wired = (f"column-{third.pk}", "31", f"column-{fourth.pk}", "41")
    cycle = ("program-0-cycle_s", "19.50")
    return {
        "product": (f"/products/{product.pk}/change/", "price", "3.2500", "name", "Mine"),
        "package": (f"/packages/{product.package_id}/change/", note, their, "name", "Mine"),
        "kind": (f"/kinds/{machine.kind_id}/change/", *cycle, "name", "Mine"),
        "site": (f"/sites/{site.pk}/change/", "hours", "Sun 10:00-12:00", "name", "Mine"),
        "machine": (f"/fleet/{machine.pk}/change/", "notes", their, "serial", "Mine"),
        "wiring": (f"/fleet/{machine.pk}/selections/", *wired),
        "meaning": (f"/events/{meaning.pk}/", "about", their, "words", "Mine"),
        "person": (f"/people/{person.pk}/", "phone", "555 0100", "name", "Mine"),
        "business": ("/business/", "test_vends_asked", "7", "name", "Mine"),
    }


FORMS = (
    "product",
    "package",
    "kind",
    "site",
    "machine",
    "wiring",
    "meaning",
    "person",
    "business",
)


def said(answer: HttpResponse) -> str:
    return answer.content.decode()


@pytest.mark.parametrize("name", FORMS)
def test_what_somebody_else_kept_meanwhile_is_not_overwritten(
    name: str, owner: Person, second: Person, driver: Person, lobby: Machine, desk: Desk
) -> None:
    address, theirs, their_value, mine, my_value = cases(lobby, driver)[name]
    me, them = desk(owner), desk(second)
    opened = typed(me, address)
    assert said(me.get(address)).count(f'name="shown" value="{opened["shown"]}"') == 1
    kept = them.post(address, typed(them, address) | {theirs: their_value})
    assert kept.status_code == 302, said(kept)

    refused = me.post(address, opened | {mine: my_value})
    text = said(refused)
    assert refused.status_code == 409
    assert f'value="{my_value}"' in text
    assert "Meanwhile:" in text
    assert "Odette Marlowe, " in text
    assert {"site": "10:00"}.get(name, their_value) in text
    assert f'<a href="{address}">Load the page anew</a>' in text
    assert str(typed(me, address)[theirs]) == their_value
    # To press the button again is not to have looked.
    assert me.post(address, opened | {mine: my_value}).status_code == 409

    again = me.post(address, typed(me, address) | {mine: my_value})
    assert again.status_code == 302, said(again)
    kept_now = typed(me, address)
    assert (str(kept_now[theirs]), kept_now[mine]) == (their_value, my_value)


@pytest.mark.parametrize("name", FORMS)
def test_a_form_that_does_not_say_what_it_showed_is_refused(
    name: str, owner: Person, driver: Person, lobby: Machine, desk: Desk
) -> None:
    address, _, _, mine, my_value = cases(lobby, driver)[name]
    for shown in ("", "0", "0-", "x-y", "9" * 40 + "-z", "²-z"):
        given = typed(desk(owner), address) | {mine: my_value, "shown": shown}
        assert desk(owner).post(address, given).status_code == 409, shown
    del given["shown"]
    assert desk(owner).post(address, given).status_code == 409
    assert typed(desk(owner), address)[mine] != my_value


def test_a_changeover_found_otherwise_meanwhile_is_looked_at_again(
    driver: Person, other_driver: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    tea = world.column(lobby, "2").set_ups.get().product
    planned = world.planned(world.column(lobby, "1"), tea)
    address = f"/changeovers/{planned.pk}/as-left/"
    opened = typed(desk(driver), address)
    cola = planned.from_set_up
    beer = world.product("Root beer", world.can("tall can"))
    world.set_up(planned.column, beer, starts_at=world.now - timedelta(days=1))
    desk(other_driver).post(f"/changeovers/{planned.pk}/take/")
    refused = desk(driver).post(address, opened | {"removed_good": "12"})
    assert refused.status_code == 409
    assert "take changeover" in said(refused)
    assert 'value="12"' in said(refused)
    # Asking for one more line does not make the page a fresh one.
    line = desk(driver).post(address, opened | {"add": "stray"})
    assert typed(desk(driver), address, of=line)["shown"] == opened["shown"]
    planned.refresh_from_db()
    assert planned.state == Changeover.State.IN_HAND
    assert planned.from_set_up != cola


def test_inches_are_not_taken_for_millimetres_when_the_business_changes_over(
    owner: Person, lobby: Machine, desk: Desk
) -> None:
    client, before = desk(owner), Business.the().units
    product = lobby.columns.get(position__label="1").set_ups.get().product
    lengths, words = f"/packages/{product.package_id}/change/", f"/products/{product.pk}/change/"
    opened = {address: typed(client, address) for address in (lengths, words)}
    business.change(changes={"units": "in" if before == "mm" else "mm"}, actor=owner, now=NOW)
    assert client.post(lengths, opened[lengths]).status_code == 409
    assert client.post(words, opened[words]).status_code == 302


def test_a_part_of_a_kind_that_somebody_took_out_is_told(
    owner: Person, second: Person, world: World, desk: Desk
) -> None:
    kind = world.kind("unused kind")
    count = kind.programs.count()
    address = f"/kinds/{kind.pk}/change/"
    opened = typed(desk(owner), address)
    gone = typed(desk(second), address) | {"program-0-name": ""}
    assert desk(second).post(address, gone).status_code == 302
    refused = desk(owner).post(address, opened)
    assert refused.status_code == 409
    assert "remove from programs" in said(refused)
    assert kind.programs.count() == count - 1
