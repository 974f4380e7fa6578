"""Spare parts are kept and bought like products, and never sold: no column is set for them."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from fleet.inventory.actions import ledger, moves, places
from fleet.inventory.models import Movement
from fleet.inventory.queries.check import check_stock
from fleet.machines.actions import changeovers, holdings
from fleet.machines.models import Machine, Product
from fleet.machines.queries.fits import what_fits
from people.errors import Unable, Unacceptable
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def motor(world: World) -> Product:
    return world.product("Vend motor", world.can("motor box"), form="part", cost=Decimal("41.50"))


def test_a_spare_part_is_not_sold_whatever_is_said(motor: Product, world: World) -> None:
    assert motor.sold is False
    again = holdings.save_product(
        product=motor, changes={"sold": True}, actor=world.owner, now=world.now
    )
    assert again.sold is False
    with pytest.raises(IntegrityError, match="product_part_not_sold"), transaction.atomic():
        Product.objects.filter(pk=motor.pk).update(sold=True)


def test_what_is_sold_in_a_machine_does_not_become_a_part(lobby: Machine, world: World) -> None:
    cola = Product.objects.get(name="Cola")
    with pytest.raises(Unacceptable, match="was sold in machines"):
        holdings.save_product(
            product=cola, changes={"form": "part"}, actor=world.owner, now=world.now
        )


def test_no_column_is_set_for_a_part(lobby: Machine, motor: Product, world: World) -> None:
    column = world.column(lobby, "1")
    later = world.now - timedelta(days=1)
    with pytest.raises(Unacceptable, match="is a spare part") as refused:
        world.set_up(column, motor, starts_at=later)
    assert refused.value.code == "spare_part"
    line = changeovers.PlannedLine(column=column, product=motor, deep=2)
    with pytest.raises(Unacceptable) as refused:
        changeovers.plan(
            purpose="x",
            planned_for=world.now.date(),
            lines=[line],
            actor=world.owner,
            now=world.now,
        )
    assert list(refused.value.fields) == ["lines.0.product"]
    assert motor not in {one.product for one in what_fits(column)}


def test_a_part_leaves_the_truck_for_the_machine(motor: Product, world: World) -> None:
    truck = places.truck("Van 1")
    ledger.post(
        reason="opening",
        lines=[ledger.Line(motor, 2, places.the("unexplained"), truck, None)],
        actor=world.owner,
        happened_at=world.now - timedelta(days=1),
        now=world.now,
    )
    given = {"place": truck, "actor": world.owner, "happened_at": world.now, "now": world.now}
    movement = moves.fit_parts(items=[moves.Item(motor, 1)], **given)
    assert movement.reason == Movement.Reason.PART
    line = movement.lines.get()
    assert (line.to_place.kind, line.unit_cost) == ("fitted", Decimal("41.5000"))
    with pytest.raises(Unable) as refused:
        moves.fit_parts(items=[moves.Item(motor, 2)], **given)
    assert refused.value.code == "not_enough"
    assert not check_stock().faults


def test_only_parts_are_fitted_and_only_from_a_truck_or_a_warehouse(
    lobby: Machine, motor: Product, world: World
) -> None:
    truck = places.truck("Van 1")
    given = {"actor": world.owner, "happened_at": world.now, "now": world.now}
    cola = Product.objects.get(name="Cola")
    with pytest.raises(Unacceptable, match="no spare part") as refused:
        moves.fit_parts(place=truck, items=[moves.Item(cola, 1)], **given)
    assert (refused.value.code, list(refused.value.fields)) == ("not_a_part", ["parts.0"])
    column = places.column_place(world.column(lobby, "1"))
    with pytest.raises(Unacceptable, match="this takes a truck"):
        moves.fit_parts(place=column, items=[moves.Item(motor, 1)], **given)
