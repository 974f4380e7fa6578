"""Kinds are saved whole, with their programs and positions."""

from decimal import Decimal

import pytest

from fleet.machines.actions import kinds
from fleet.machines.models import Column, Kind, Machine, Position
from people import audit
from people.errors import Unable, Unacceptable
from tests.world import World, rail, stack

pytestmark = pytest.mark.django_db


@pytest.fixture
def kind(world: World) -> Kind:
    return world.kind()


def save(world: World, kind: Kind, **changes: object) -> Kind:
    return kinds.save_kind(kind=kind, changes={}, actor=world.owner, now=world.now, **changes)  # type: ignore[arg-type]


def test_positions_keep_their_order_and_their_halves(kind: Kind) -> None:
    found = list(kind.positions.all())
    assert [p.label for p in found] == ["1", "2", "3", "4"]
    assert [bool(p.front_depth_mm) for p in found] == [True, True, True, False]
    assert [bool(p.rear_depth_mm) for p in found] == [False, False, True, True]


def test_a_list_is_whole_and_rows_are_known_by_their_label(world: World, kind: Kind) -> None:
    second = kind.positions.get(label="2")
    save(world, kind, positions=[stack("2", height_mm=Decimal(800)), stack("9")])
    assert [p.label for p in kind.positions.all()] == ["2", "9"]
    second.refresh_from_db()
    assert second.height_mm == 800
    assert not Position.objects.filter(kind=kind, label="1").exists()
    assert audit.entries_of(second)[0].before == {"height_mm": "900.000", "order": 1}


def test_a_new_position_becomes_a_column_of_every_machine(world: World, kind: Kind) -> None:
    machine = world.machine("LOB-1", kind)
    save(
        world,
        kind,
        positions=[
            stack("1"),
            stack("2"),
            stack("3", "front", "rear"),
            stack("4", "rear"),
            stack("5"),
        ],
    )
    assert Column.objects.filter(machine=machine, position__label="5").count() == 1


@pytest.mark.parametrize(
    ("cycle_s", "window_s", "field"), [("0.05", "15", "programs"), ("18", "0", "vend_window_s")]
)
def test_times_that_no_board_has_are_refused_by_name(
    world: World, kind: Kind, cycle_s: str, window_s: str, field: str
) -> None:
    Kind.objects.filter(pk=kind.pk).update(vend_window_s=window_s)
    program = {"name": "stop", "deep": 2, "cycle_s": Decimal(cycle_s), "run_on_s": Decimal(0)}
    with pytest.raises(Unacceptable) as refused:
        save(world, kind, programs=[program])
    assert set(refused.value.fields) == {field}


def test_a_position_in_use_stays(world: World, lobby: Machine) -> None:
    with pytest.raises(Unable) as refused:
        save(world, lobby.kind, positions=[stack("2")])
    assert refused.value.code == "in_use"
    assert lobby.kind.positions.count() == 4


@pytest.mark.parametrize(
    ("position", "field"),
    [
        (stack("1", width_mm=Decimal(0)), "positions.0.width_mm"),
        (stack("1", **rail("front", notches=40)), "positions.0"),
        (stack("1", **rail("front", runs="inward")), "positions.0"),
        (stack("1", greatest_deep=0), "positions.0.greatest_deep"),
        (
            {"label": "1", "style": "stack", "width_mm": Decimal(80), "height_mm": Decimal(900)},
            "positions.0.",
        ),
        (
            {"label": "1", "style": "spiral", "width_mm": Decimal(80), "height_mm": Decimal(200)},
            "positions.0.",
        ),
    ],
)
def test_a_geometry_that_cannot_be_is_refused_by_name_and_changes_nothing(
    world: World, position: dict[str, object], field: str
) -> None:
    with pytest.raises(Unacceptable) as refused:
        kinds.save_kind(
            changes={"name": "odd"}, positions=[position], actor=world.owner, now=world.now
        )
    assert field in refused.value.fields
    assert not Kind.objects.exists()


def test_one_label_twice_is_refused(world: World) -> None:
    with pytest.raises(Unacceptable) as refused:
        kinds.save_kind(
            changes={"name": "odd"},
            positions=[stack("1"), stack("1")],
            actor=world.owner,
            now=world.now,
        )
    assert refused.value.fields == {"positions.1.label": "'1' stands twice"}


def test_a_kind_with_machines_is_not_deleted(world: World, lobby: Machine) -> None:
    with pytest.raises(Unable):
        kinds.delete_kind(kind=lobby.kind, actor=world.owner, now=world.now)
    spare = world.kind("spare")
    kinds.delete_kind(kind=spare, actor=world.owner, now=world.now)
    assert not Kind.objects.filter(name="spare").exists()
