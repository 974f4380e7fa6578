"""The verbs of a day: each says from where to where and why, or refuses and changes nothing."""

import pytest

from fleet.inventory.actions import ledger, moves, places
from fleet.inventory.actions.moves import InColumn, Item
from fleet.inventory.models import Movement, StockPlace
from fleet.inventory.queries.stock import dated
from fleet.machines.models import SetUp
from people.errors import Unable, Unacceptable
from people.models import AuditEntry
from tests.cast import NOW
from tests.fleet.inventory.stores import Stores, at, require_books_balance
from tests.world import World

pytestmark = pytest.mark.django_db


def ends(movement: Movement) -> tuple[str, str, str]:
    line = movement.lines.select_related("from_place", "to_place").get()
    return movement.reason, line.from_place.name, line.to_place.name


def test_each_verb_moves_from_where_to_where(stores: Stores) -> None:
    stores.receive(50, stores.new)
    did = {
        "load": stores.load(20),
        "unload": moves.unload(
            truck=stores.truck,
            warehouse=stores.depot,
            items=[Item(stores.cola, 2)],
            actor=stores.actor,
            happened_at=at(2),
            now=NOW,
        ),
        "transfer": moves.transfer(
            from_place=stores.truck,
            to_place=stores.other_truck,
            items=[Item(stores.cola, 3)],
            actor=stores.actor,
            happened_at=at(3),
            now=NOW,
        ),
        "fill": stores.fill(10, 4),
        "removal": stores.remove(2, 5),
        "waste": stores.remove(1, 6, to_place=None, waste_reason="damaged"),
        "thrown": moves.waste(
            place=stores.truck,
            items=[Item(stores.cola, 1, stores.new)],
            waste_reason="spoiled",
            actor=stores.actor,
            happened_at=at(7),
            now=NOW,
        ),
    }
    column = "LOB-1 column 1"
    assert {name: ends(movement) for name, movement in did.items()} == {
        "load": ("load", "Canal depot", "Van 1"),
        "unload": ("unload", "Van 1", "Canal depot"),
        "transfer": ("transfer", "Van 1", "Van 2"),
        "fill": ("fill", "Van 1", column),
        "removal": ("removal", column, "Van 1"),
        "waste": ("waste", column, "waste"),
        "thrown": ("waste", "Van 1", "waste"),
    }
    assert did["waste"].waste_reason == "damaged"
    assert stores.held(stores.truck) == {"NEW": 6}
    entries = AuditEntry.objects.filter(object_type="inventory.Movement")
    assert entries.count() == Movement.objects.count() == 8
    require_books_balance()


def test_columns_of_a_visit_are_filled_together(stores: Stores) -> None:
    stores.receive(50, stores.new)
    tea = ledger.Line(stores.tea, 9, places.the("unexplained"), stores.truck, None)
    ledger.post(reason="opening", lines=[tea], actor=None, happened_at=at(0), now=NOW)
    stores.load(20)
    filled = moves.fill_columns(
        fills=[InColumn(stores.one, stores.cola, 12), InColumn(stores.two, stores.tea, 5)],
        truck=stores.truck,
        actor=stores.actor,
        happened_at=at(2),
        now=NOW,
    )
    assert filled.lines.count() == 2
    require_books_balance()


def test_no_more_goes_into_a_column_than_it_holds_as_it_was_set(stores: Stores) -> None:
    capacity = stores.one.set_ups.get().capacity
    stores.receive(capacity + 1, stores.new)
    stores.load(capacity + 1)
    with pytest.raises(Unacceptable) as refused:
        stores.fill(capacity + 1)
    assert refused.value.code == "over_capacity"
    assert f"holds {capacity} Cola as it is set" in refused.value.fields["quantity"]
    with pytest.raises(Unacceptable):
        moves.fill_columns(
            fills=[
                InColumn(stores.one, stores.cola, capacity),
                InColumn(stores.one, stores.cola, 1),
            ],
            truck=stores.truck,
            actor=stores.actor,
            happened_at=at(2),
            now=NOW,
        )
    stores.fill(capacity)
    require_books_balance()


def test_a_capacity_that_nobody_could_compute_stops_no_fill(stores: Stores) -> None:
    SetUp.objects.filter(column=stores.one).update(capacity=0)
    stores.receive(5)
    stores.load(5)
    stores.fill(5)
    assert stores.in_column() == {"": 5}


def test_a_column_is_filled_with_what_it_was_set_for_at_that_moment(
    stores: Stores, world: World
) -> None:
    stores.receive(20)
    stores.load(20)
    with pytest.raises(Unable) as refused:
        stores.fill(1, column=stores.two)
    assert refused.value.code == "other_product"
    with pytest.raises(Unable) as refused:
        stores.fill(1, column=world.column(stores.machine, "3"))
    assert refused.value.code == "no_set_up"
    world.set_up(stores.one, stores.tea, starts_at=at(24))
    stores.fill(3, 23)
    with pytest.raises(Unable, match="was set for Tea"):
        stores.fill(3, 25)
    require_books_balance()


def test_the_hand_is_right_where_a_column_holds_more_than_the_records_say(stores: Stores) -> None:
    stores.remove(4)
    assert stores.in_column() == {"": -4}
    assert stores.held(stores.truck) == {"": 4}
    require_books_balance()


def test_what_is_removed_goes_to_one_place(stores: Stores) -> None:
    for given in ({"to_place": None}, {"waste_reason": "damaged"}):
        with pytest.raises(Unacceptable, match="say either the place"):
            stores.remove(1, **given)
    with pytest.raises(Unacceptable, match="this takes a truck"):
        stores.remove(1, to_place=places.the("customer"))


def test_each_verb_takes_places_of_its_kind(stores: Stores) -> None:
    with pytest.raises(Unacceptable) as refused:
        stores.load(1, truck=stores.depot)
    assert refused.value.fields == {"truck": "Canal depot is a warehouse; this takes a truck"}
    with pytest.raises(Unacceptable, match="this takes a warehouse"):
        stores.load(1, warehouse=stores.truck)
    with pytest.raises(Unacceptable, match="this takes a truck"):
        stores.fill(1, truck=places.the("customer"))
    with pytest.raises(Unacceptable, match="nothing there is ours to throw away"):
        moves.waste(
            place=places.the("customer"),
            items=[Item(stores.cola, 1)],
            waste_reason="damaged",
            actor=stores.actor,
            happened_at=at(1),
            now=NOW,
        )
    with pytest.raises(Unacceptable, match="this takes a warehouse"):
        moves.transfer(
            from_place=stores.depot,
            to_place=places.column_place(stores.one),
            items=[Item(stores.cola, 1)],
            actor=stores.actor,
            happened_at=at(1),
            now=NOW,
        )


def test_a_place_is_made_once_and_follows_the_tag(stores: Stores, world: World) -> None:
    place = places.column_place(stores.one)
    assert places.column_place(stores.one) == place
    assert places.truck("Van 1") == stores.truck
    assert places.the("waste") == places.outside()["waste"]
    assert StockPlace.objects.filter(kind="waste").count() == 1
    with pytest.raises(Unacceptable) as refused:
        places.warehouse(world.site("Pier cafe"))
    assert refused.value.code == "not_a_warehouse"
    stores.machine.asset_tag = "LOB-9"
    stores.machine.save()
    assert places.column_place(world.column(stores.machine, "1")).name == "LOB-9 column 1"


def test_what_bears_a_date_is_listed_the_first_to_go_first(stores: Stores) -> None:
    stores.receive(5, stores.new)
    stores.receive(5, stores.old)
    stores.load(2)
    assert [(level.lot, level.place.name, level.quantity) for level in dated()] == [
        (stores.old, "Canal depot", 3),
        (stores.old, "Van 1", 2),
        (stores.new, "Canal depot", 5),
    ]
