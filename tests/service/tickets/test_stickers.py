"""Stickers: signed, one in use a machine, and withdrawn when a new one is made."""

from typing import Any

import pytest

from fleet.machines.models import Machine
from people.errors import NotFound, Unacceptable
from people.models import AuditEntry, Person
from service.tickets.actions import stickers
from service.tickets.models import Sticker
from service.tickets.queries.stickers import Withdrawn, machines_with_stickers, sticker_for
from service.tickets.signed import code_of, token_of
from tests.cast import NOW
from tests.races import at_once
from tests.world import World

pytestmark = pytest.mark.django_db


def issue(machine: Machine, actor: Person, *, anew: bool = False) -> Sticker:
    (made,) = stickers.issue(machines=[machine], actor=actor, now=NOW, anew=anew)
    return made


def test_a_token_leads_to_its_sticker(lobby: Machine, owner: Person) -> None:
    made = issue(lobby, owner)
    found = sticker_for(token_of(made.code))
    assert found == made
    assert found.machine == lobby
    assert AuditEntry.objects.filter(verb="issue sticker", object_id=made.pk).exists()


def test_a_sticker_is_made_once_and_printed_often(lobby: Machine, owner: Person) -> None:
    assert issue(lobby, owner) == issue(lobby, owner)
    assert Sticker.objects.count() == 1


def test_a_new_one_withdraws_the_one_before(lobby: Machine, owner: Person) -> None:
    old = issue(lobby, owner)
    new = issue(lobby, owner, anew=True)
    assert old.code != new.code
    assert sticker_for(token_of(new.code)) == new
    with pytest.raises(Withdrawn):
        sticker_for(token_of(old.code))


@pytest.mark.parametrize("wrong", ["", ".", "x", "0" * 20, "0" * 20 + "." + "A" * 16, "ü.ü"])
def test_what_we_did_not_sign_leads_nowhere_and_asks_the_database_nothing(
    wrong: str, django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(0):
        assert code_of(wrong) is None
        with pytest.raises(NotFound):
            sticker_for(wrong)


def test_the_signature_of_one_sticker_opens_no_other(
    lobby: Machine, owner: Person, settings: Any
) -> None:
    token = token_of(issue(lobby, owner).code)
    code, _, signature = token.partition(".")
    changed = ("0" if code[0] != "0" else "1") + code[1:]
    assert code_of(f"{changed}.{signature}") is None
    settings.SECRET_KEY = "another key altogether " * 3
    assert code_of(token) is None
    # A key that is changed need not make all stickers worthless.
    settings.SECRET_KEY_FALLBACKS = ["only-in-the-tests-" * 4]
    assert code_of(token) == code


def test_a_sticker_of_a_retired_machine_is_withdrawn_and_none_is_made(
    lobby: Machine, owner: Person
) -> None:
    token = token_of(issue(lobby, owner).code)
    Machine.objects.update(status=Machine.Status.RETIRED)
    with pytest.raises(Withdrawn):
        sticker_for(token)
    lobby.refresh_from_db()
    with pytest.raises(Unacceptable, match="retired"):
        issue(lobby, owner)


def test_none_and_too_many_are_refused(lobby: Machine, owner: Person) -> None:
    with pytest.raises(Unacceptable, match="choose at least one"):
        stickers.issue(machines=[], actor=owner, now=NOW)
    many = [
        Machine(pk=number, kind=lobby.kind, asset_tag=f"M-{number}")
        for number in range(stickers.MOST_AT_ONCE + 1)
    ]
    with pytest.raises(Unacceptable, match="at most 200 at once; these are 201"):
        stickers.issue(machines=many, actor=owner, now=NOW)


def test_machines_are_listed_with_and_without(world: World, lobby: Machine, owner: Person) -> None:
    other = world.machine("GATE-2", lobby.kind, site=world.site("Harbour gate"))
    issue(lobby, owner)
    listed = {one.asset_tag: one.sticker_at for one in machines_with_stickers()}
    assert listed == {"GATE-2": None, "LOB-1": NOW}
    assert list(machines_with_stickers("harbour")) == [other]
    assert list(machines_with_stickers("lob")) == [lobby]


@pytest.mark.django_db(transaction=True)
def test_two_who_print_at_once_make_one(lobby: Machine, owner: Person) -> None:
    made = at_once(*(lambda: issue(lobby, owner) for _ in range(3)))
    assert len(set(made)) == 1
    assert Sticker.objects.count() == 1
