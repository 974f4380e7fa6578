"""A small stock: a warehouse, two trucks, a machine whose columns hold cola and tea."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from fleet.inventory.actions import counts, ledger, moves, places
from fleet.inventory.actions.moves import InColumn, Item
from fleet.inventory.models import Lot, Movement, MovementLine, StockCount, StockLevel, StockPlace
from fleet.inventory.posting import ANY, AnyLot
from fleet.inventory.queries.check import check_stock
from fleet.machines.models import Column, Machine, Product, Site
from people.models import Person
from tests.cast import NOW
from tests.world import World


def at(hours: float) -> datetime:
    """So many hours after the beginning of the story, ten days before now."""
    return NOW - timedelta(days=10) + timedelta(hours=hours)


def count_column(
    *, column: Column, counted: int | Mapping[Product, int], **told: Any
) -> StockCount:
    """What was found in one column."""
    (found,) = counts.count_columns(counts=[counts.ColumnCount(column, counted)], **told)
    return found


@dataclass
class Stores:
    """The rows by plain names, and the verbs with what a test does not care about filled in."""

    machine: Machine
    one: Column
    two: Column
    cola: Product
    tea: Product
    depot: StockPlace
    truck: StockPlace
    other_truck: StockPlace
    old: Lot
    new: Lot
    actor: Person

    def receive(self, quantity: int, lot: Lot | None = None, hours: float = 0) -> Movement:
        return ledger.post(
            reason="opening",
            lines=[ledger.Line(self.cola, quantity, places.the("unexplained"), self.depot, lot)],
            actor=self.actor,
            happened_at=at(hours),
            now=NOW,
        )

    def load(self, quantity: int, hours: float = 1, **more: object) -> Movement:
        given = {"warehouse": self.depot, "truck": self.truck} | more
        return moves.load(
            items=[Item(self.cola, quantity)],
            actor=self.actor,
            happened_at=at(hours),
            now=NOW,
            **given,  # type: ignore[arg-type]
        )

    def fill(
        self,
        quantity: int,
        hours: float = 2,
        *,
        column: Column | None = None,
        product: Product | None = None,
        lot: Lot | AnyLot | None = ANY,
        truck: StockPlace | None = None,
        **more: object,
    ) -> Movement:
        return moves.fill_columns(
            fills=[InColumn(column or self.one, product or self.cola, quantity, lot)],
            truck=truck or self.truck,
            actor=self.actor,
            happened_at=at(hours),
            now=NOW,
            **more,  # type: ignore[arg-type]
        )

    def remove(self, quantity: int, hours: float = 3, **more: object) -> Movement:
        return moves.remove_from_columns(
            removals=[InColumn(self.one, self.cola, quantity)],
            actor=self.actor,
            happened_at=at(hours),
            now=NOW,
            **({"to_place": self.truck} | more),  # type: ignore[arg-type]
        )

    def count(self, counted: int, hours: float, **more: object) -> StockCount:
        return count_column(
            column=self.one,
            counted=counted,
            actor=self.actor,
            counted_at=at(hours),
            now=NOW,
            **more,  # type: ignore[arg-type]
        )

    def count_truck(self, counted: counts.Found, hours: float, **more: object) -> StockCount:
        return counts.count_place(
            place=self.truck,
            counted=counted,
            actor=self.actor,
            counted_at=at(hours),
            now=NOW,
            **more,  # type: ignore[arg-type]
        )

    def held(self, place: StockPlace) -> dict[str, int]:
        """Units of cola by the code of their lot, zeros left out; "" bears no known lot."""
        rows = StockLevel.objects.filter(place=place, product=self.cola).exclude(quantity=0)
        return {
            code or "": quantity for code, quantity in rows.values_list("lot__code", "quantity")
        }

    def in_column(self) -> dict[str, int]:
        return self.held(places.column_place(self.one))

    def total(self, place: StockPlace) -> int:
        return sum(self.held(place).values())


@pytest.fixture
def stores(world: World, lobby: Machine, driver: Person) -> Stores:
    """The warehouse, trucks and columns, in which nothing is in stock yet."""
    return stores_of(world, lobby, driver)


def stores_of(world: World, lobby: Machine, actor: Person) -> Stores:
    """In columns 1 (cola) and 2 (tea) of the lobby machine; nothing is in stock yet."""
    one, two = world.column(lobby, "1"), world.column(lobby, "2")
    cola, tea = one.set_ups.get().product, two.set_ups.get().product
    depot = places.warehouse(world.site("Canal depot", purpose=Site.Purpose.WAREHOUSE))
    old = Lot.objects.create(product=cola, code="OLD", best_before=date(2026, 4, 1))
    new = Lot.objects.create(product=cola, code="NEW", best_before=date(2026, 6, 1))
    vans = places.truck("Van 1"), places.truck("Van 2")
    return Stores(lobby, one, two, cola, tea, depot, *vans, old, new, actor)


def require_books_balance() -> None:
    """Levels are the ledger, and units are neither made nor lost: what all lines add up to is 0."""
    found = check_stock()
    assert not found.faults
    assert found.levels == StockLevel.objects.count()


def found_then(count: StockCount) -> dict[str, int]:
    """What the ledger says now that the place held at the moment of a count, by product."""
    held: dict[str, int] = {}
    for line in MovementLine.objects.filter(happened_at__lte=count.counted_at).select_related(
        "product"
    ):
        for place, sign in ((line.from_place_id, -1), (line.to_place_id, 1)):
            if place == count.place_id:
                name = line.product.name
                held[name] = held.get(name, 0) + sign * line.quantity
    return {name: n for name, n in held.items() if n}
