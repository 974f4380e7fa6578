"""What moves is written once, balanced, and never changed."""

from datetime import date, timedelta

import pytest

from fleet.inventory.actions import ledger, moves, places
from fleet.inventory.actions.moves import Item
from fleet.inventory.models import Lot, StockLevel, StockPlace
from fleet.machines.models import Machine, Site
from people.models import Person
from tests.cast import NOW
from tests.world import World

pytestmark = pytest.mark.django_db


def test_smoke(world: World, lobby: Machine, driver: Person) -> None:
    column = world.column(lobby, "1")
    cola = column.set_ups.get().product
    depot = places.warehouse(world.site("Depot", purpose=Site.Purpose.WAREHOUSE))
    truck = places.truck("Van 1")
    old = Lot.objects.create(product=cola, code="A", best_before=date(2026, 4, 1))
    new = Lot.objects.create(product=cola, code="B", best_before=date(2026, 5, 1))
    unexplained = places.the("unexplained")
    ledger.post(
        reason="opening",
        lines=[
            ledger.Line(cola, 10, unexplained, depot, new),
            ledger.Line(cola, 10, unexplained, depot, old),
        ],
        actor=driver,
        happened_at=NOW - timedelta(days=3),
        now=NOW,
    )
    load = moves.load(
        warehouse=depot,
        truck=truck,
        items=[Item(cola, 15)],
        actor=driver,
        happened_at=NOW,
        now=NOW,
        key="x",
    )
    assert (
        moves.load(
            warehouse=depot,
            truck=truck,
            items=[Item(cola, 15)],
            actor=driver,
            happened_at=NOW,
            now=NOW,
            key="x",
        )
        == load
    )
    assert {line.lot.code: line.quantity for line in load.lines.all()} == {"A": 10, "B": 5}
    moves.fill(
        column=column,
        product=cola,
        quantity=12,
        truck=truck,
        actor=driver,
        happened_at=NOW,
        now=NOW,
    )
    assert {
        (level.place.kind, level.lot.code): level.quantity for level in StockLevel.objects.all()
    } == {
        ("warehouse", "A"): 0,
        ("warehouse", "B"): 5,
        ("truck", "A"): 0,
        ("truck", "B"): 3,
        ("column", "A"): 10,
        ("column", "B"): 2,
    }
    with pytest.raises(ledger.NotEnough, match="Van 1 holds 3 Cola"):
        moves.fill(
            column=column,
            product=cola,
            quantity=4,
            truck=truck,
            actor=driver,
            happened_at=NOW,
            now=NOW,
        )
    moves.remove(
        column=column,
        product=cola,
        quantity=11,
        waste_reason="damaged",
        actor=driver,
        happened_at=NOW,
        now=NOW,
    )
    assert StockLevel.objects.get(place__kind=StockPlace.Kind.COLUMN, lot=new).quantity == 1
