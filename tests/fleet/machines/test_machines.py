"""Machines, their placements and their selections."""

from datetime import timedelta

import pytest
from django.db import transaction

from fleet.machines.actions import machines
from fleet.machines.models import Machine, Placement
from people import audit
from people.errors import Unable, Unacceptable
from tests.world import World

pytestmark = pytest.mark.django_db


def test_a_machine_has_a_column_for_every_position(lobby: Machine) -> None:
    assert [c.position.label for c in lobby.columns.all()] == ["1", "2", "3", "4"]
    assert [c.selection.code for c in lobby.columns.all() if c.selection] == ["1", "2", "3", "4"]


def test_an_asset_tag_is_one_machine(world: World, lobby: Machine) -> None:
    with pytest.raises(Unacceptable) as refused:
        world.machine("LOB-1", lobby.kind)
    assert "asset_tag" in refused.value.fields


def test_a_selection_may_draw_on_two_columns(world: World, lobby: Machine) -> None:
    machines.wire_selections(
        machine=lobby,
        selections=[{"code": "A", "positions": ["1", "4"]}, {"code": "B", "positions": ["2"]}],
        actor=world.owner,
        now=world.now,
    )
    assert {c.position.label for c in lobby.selections.get(code="A").columns.all()} == {"1", "4"}
    assert world.column(lobby, "3").selection is None
    assert not lobby.selections.filter(code="1").exists()


@pytest.mark.parametrize(
    ("selections", "field", "words"),
    [
        ([{"code": "A", "positions": ["7"]}], "selections.0.positions", "there are 1, 2, 3, 4"),
        (
            [{"code": "A", "positions": ["1"]}, {"code": "B", "positions": ["1"]}],
            "selections.1.positions",
            "already belongs to selection A",
        ),
        ([{"code": "A", "positions": []}, {"code": "A", "positions": []}], "selections", "twice"),
    ],
)
def test_a_wiring_that_cannot_be_is_refused(
    world: World, lobby: Machine, selections: list[dict[str, object]], field: str, words: str
) -> None:
    with pytest.raises(Unacceptable) as refused:
        machines.wire_selections(
            machine=lobby, selections=selections, actor=world.owner, now=world.now
        )
    assert words in refused.value.fields[field]
    assert lobby.selections.count() == 4


def test_a_move_ends_the_placement_before(world: World, lobby: Machine) -> None:
    hall = world.site("Upper hall")
    machines.place_machine(
        machine=lobby, site=hall, starts_at=world.now, actor=world.owner, now=world.now
    )
    now, before = lobby.placements.all()
    assert (now.site, now.ends_at) == (hall, None)
    assert before.ends_at == world.now


def test_taken_away_it_stands_nowhere(world: World, lobby: Machine) -> None:
    machines.place_machine(
        machine=lobby, site=None, starts_at=world.now, actor=world.owner, now=world.now
    )
    assert not lobby.placements.filter(ends_at__isnull=True).exists()


def test_why_it_was_taken_away_is_kept(world: World, lobby: Machine) -> None:
    machines.place_machine(
        machine=lobby,
        site=None,
        starts_at=world.now,
        actor=world.owner,
        now=world.now,
        reason="the hall closes",
    )
    assert audit.entries_of(lobby.placements.get())[0].reason == "the hall closes"


@pytest.mark.parametrize("site", ["Elsewhere", None])
def test_a_move_is_noted_once_it_is_made(world: World, lobby: Machine, site: str | None) -> None:
    with pytest.raises(Unacceptable) as refused:
        machines.place_machine(
            machine=lobby,
            site=None if site is None else world.site(site),
            starts_at=world.now + timedelta(days=1),
            actor=world.owner,
            now=world.now,
        )
    assert set(refused.value.fields) == {"starts_at"}
    assert lobby.placements.get().ends_at is None


def test_another_picture_on_a_button_is_in_the_trail(world: World, lobby: Machine) -> None:
    wired = [
        {"code": one, "positions": [one], "picture": "Lemonade" if one == "2" else ""}
        for one in ("1", "2", "3", "4")
    ]
    machines.wire_selections(machine=lobby, selections=wired, actor=world.owner, now=world.now)
    assert audit.entries_of(lobby)[0].after == {"picture of 2": "Lemonade"}


def test_the_past_is_not_rewritten(world: World, lobby: Machine) -> None:
    with pytest.raises(Unable) as refused:
        machines.place_machine(
            machine=lobby,
            site=world.site("Elsewhere"),
            starts_at=world.now - timedelta(days=91),
            actor=world.owner,
            now=world.now,
        )
    assert refused.value.code == "placed_later"


def test_two_placements_at_once_are_refused_by_the_database(world: World, lobby: Machine) -> None:
    with pytest.raises(Exception, match="placement_one_at_a_time"), transaction.atomic():
        Placement.objects.create(machine=lobby, site=world.site("Elsewhere"), starts_at=world.now)


def test_a_machine_keeps_its_kind(world: World, lobby: Machine) -> None:
    with pytest.raises(Unacceptable):
        machines.change_machine(
            machine=lobby, changes={"kind": world.kind("other")}, actor=world.owner, now=world.now
        )
