"""Two people at once, on a real database with real threads."""

from threading import Barrier, Thread

import pytest
from django.db import transaction

from fleet.machines.actions import changeovers, kinds
from fleet.machines.models import Changeover, Machine, Product, SetUp
from people.errors import Unable
from tests.races import at_once
from tests.world import World, stack

pytestmark = pytest.mark.django_db(transaction=True)


def test_two_complete_one_changeover_and_one_is_refused(world: World, lobby: Machine) -> None:
    row = world.planned(world.column(lobby, "1"), Product.objects.get(name="Tea"))
    row = changeovers.take(changeover=row, actor=world.owner, now=world.now)
    found = at_once(lambda: world.complete(row), lambda: world.complete(row))
    assert sorted(isinstance(one, Unable) for one in found) == [False, True]
    assert SetUp.objects.filter(column=row.column).count() == 2


def test_two_plan_for_one_column_and_one_is_refused(world: World, lobby: Machine) -> None:
    column, tea = world.column(lobby, "1"), Product.objects.get(name="Tea")
    found = at_once(lambda: world.planned(column, tea), lambda: world.planned(column, tea))
    assert sorted(isinstance(one, Unable) for one in found) == [False, True]
    assert Changeover.objects.filter(column=column).count() == 1


def test_a_machine_added_while_its_kind_grows_has_every_column(
    world: World, lobby: Machine
) -> None:
    labels = [*lobby.kind.positions.values_list("label", flat=True), "5"]
    added: list[object] = []
    adding = Thread(
        target=lambda: added.extend(at_once(lambda: world.machine("LOB-2", lobby.kind)))
    )
    with transaction.atomic():
        kinds.save_kind(
            kind=lobby.kind,
            changes={},
            positions=[stack(label) for label in labels],
            actor=world.owner,
            now=world.now,
        )
        adding.start()
        adding.join(timeout=1)
    adding.join(timeout=20)
    [machine] = added
    assert isinstance(machine, Machine)
    assert [column.position.label for column in machine.columns.all()] == labels


def test_without_the_lock_both_would_have_seen_it_in_hand(world: World, lobby: Machine) -> None:
    """Proves that the race above is real: read without locking, both see the state before."""
    row = world.planned(world.column(lobby, "1"), Product.objects.get(name="Tea"))
    changeovers.take(changeover=row, actor=world.owner, now=world.now)
    both_read = Barrier(2)

    def read_state() -> str:
        state = Changeover.objects.get(pk=row.pk).state
        both_read.wait(timeout=10)
        return state

    assert at_once(read_state, read_state) == ["in_hand", "in_hand"]
