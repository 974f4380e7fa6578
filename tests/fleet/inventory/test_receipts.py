"""Deliveries: stock, average cost, what is owed, and every difference kept."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.inventory.actions import moves, orders, receipts
from fleet.inventory.models import CostChange, Movement, Receipt, ReceiptLine
from fleet.inventory.queries.orders import owed
from fleet.machines.actions import holdings
from people.errors import Unable, Unacceptable
from people.models import Person
from tests.fleet.inventory.shop import Shop
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(world: World) -> Shop:
    return Shop(world)


def codes(receipt: Receipt) -> dict[str, list[str]]:
    return {
        line.product.name: [one["code"] for one in line.differences]
        for line in receipt.lines.select_related("product")
    }


def test_all_that_was_ordered_comes(shop: Shop) -> None:
    order = shop.ordered(cola=2, tea=1)
    receipt = shop.receives(shop.came(shop.cola, 48), shop.came(shop.tea, 12), order=order)
    assert codes(receipt) == {"Cola": [], "Tea": []}
    assert (shop.held(shop.cola), shop.held(shop.tea)) == (48, 12)
    order.refresh_from_db()
    assert (order.state, order.ended_reason) == ("received", "")
    assert receipt.movement is not None
    assert receipt.movement.reason == Movement.Reason.RECEIPT
    line = receipt.movement.lines.get(product=shop.tea)
    assert (line.from_place, line.unit_cost) == (shop.supplier.stock_place, Decimal("0.8000"))
    shop.tea.refresh_from_db()
    assert shop.tea.cost == Decimal("0.8000")


def test_short_then_the_rest_or_closed_with_what_never_came(shop: Shop) -> None:
    order = shop.ordered(cola=2, tea=1)
    receipt = shop.receives(shop.came(shop.cola, 24), order=order)
    line = receipt.lines.get()
    assert line.expected_units == 48
    assert line.differences == [{"code": "short", "said": "24 of 48 came; the rest is still owed"}]
    assert owed([order])[order.pk] == {shop.cola.pk: 24, shop.tea.pk: 12}
    order.refresh_from_db()
    assert order.state == "placed"
    last = shop.receives(shop.came(shop.cola, 20), order=order, closes=True)
    assert [line.differences for line in last.lines.order_by("product__name")] == [
        [{"code": "short", "said": "20 of 24 came; no more will come"}],
        [{"code": "short", "said": "none of 12 came"}],
    ]
    order.refresh_from_db()
    assert (order.state, order.ended_reason) == ("received", "closed with less than ordered")


def test_over_other_dates_other_cost_refused_and_not_ordered_are_kept(
    shop: Shop, owner: Person
) -> None:
    shop.sells(shop.cola, least_days_left=60)
    lemon = shop.world.product("Lemon", shop.cola.package, cost=None)
    order = shop.ordered(cola=1)
    receipt = shop.receives(
        shop.came(
            shop.cola,
            20,
            code="A1",
            best_before=shop.day(30),
            stated_best_before=shop.day(90),
            unit_cost=Decimal("0.5500"),
        ),
        shop.came(shop.cola, 10, code="A2", refused_units=2, why="crushed corner"),
        shop.came(lemon, 6, unit_cost=Decimal("0.4")),
        order=order,
    )
    lines = list(receipt.lines.order_by("pk"))
    assert [[one["code"] for one in line.differences] for line in lines] == [
        ["other_date", "short_dated", "other_cost"],
        ["over", "refused"],
        ["not_ordered"],
    ]
    said = [one["said"] for line in lines for one in line.differences]
    assert "30 days left where 60 are asked" in said
    assert "0.55 a unit where 0.50 was agreed" in said
    assert "10 came where 4 were owed" in said
    assert "2 refused and sent back" in said
    # What was refused never was in stock.
    assert shop.held(shop.cola) == 30
    assert str(lines[0].lot) == f"A1, best before {shop.day(30)}"
    order.refresh_from_db()
    assert order.state == "received"


def test_the_average_cost_moves_and_its_history_is_kept(shop: Shop, owner: Person) -> None:
    # Cola costs 0.62 by hand and nothing is held: the first delivery alone decides.
    shop.receives(shop.came(shop.cola, 24))
    shop.receives(shop.came(shop.cola, 48, unit_cost=Decimal("0.60")))
    shop.cola.refresh_from_db()
    # (24 x 0.50 + 48 x 0.60) / 72 = 0.566667, which money writes 0.57
    assert shop.cola.cost == Decimal("0.57")
    changes = list(CostChange.objects.filter(product=shop.cola))
    assert [(one.cause, one.held_units, one.units, one.average) for one in changes] == [
        ("first", 0, 0, Decimal("0.620000")),
        ("receipt", 0, 24, Decimal("0.500000")),
        ("receipt", 24, 48, Decimal("0.566667")),
    ]
    # Somebody sets it by hand: the next average starts from that, and the history says so.
    holdings.save_product(
        product=shop.cola, changes={"cost": Decimal("0.70")}, actor=owner, now=shop.world.now
    )
    shop.receives(shop.came(shop.cola, 72, unit_cost=Decimal("0.50")))
    last = list(CostChange.objects.filter(product=shop.cola))[-2:]
    assert [(one.cause, one.average) for one in last] == [
        ("by_hand", Decimal("0.700000")),
        ("receipt", Decimal("0.600000")),
    ]


def test_the_same_key_again_takes_no_second_effect(shop: Shop) -> None:
    order = shop.ordered(cola=1)
    first = shop.receives(shop.came(shop.cola, 24), order=order, key="gate-1")
    again = shop.receives(shop.came(shop.cola, 24), order=order, key="gate-1")
    assert again == first
    assert shop.held(shop.cola) == 24
    assert CostChange.objects.filter(cause="receipt").count() == 1


def test_a_receipt_is_taken_back_with_stock_cost_and_order(shop: Shop, owner: Person) -> None:
    shop.receives(shop.came(shop.cola, 24))
    order = shop.ordered(cola=2)
    receipt = shop.receives(
        shop.came(shop.cola, 48, unit_cost=Decimal("0.60")), order=order, delivery_note="N-77"
    )
    with pytest.raises(Unacceptable, match="say why"):
        receipts.take_back(receipt=receipt, reason="", actor=owner, now=shop.later(1))
    taken = receipts.take_back(
        receipt=receipt, reason="it was another supplier's", actor=owner, now=shop.later(1)
    )
    assert taken.taken_back_at == shop.later(1)
    assert shop.held(shop.cola) == 24
    shop.cola.refresh_from_db()
    assert shop.cola.cost == Decimal("0.5000")
    last = CostChange.objects.filter(product=shop.cola).last()
    assert last is not None
    assert (last.cause, last.units) == ("taken_back", -48)
    order.refresh_from_db()
    assert order.state == "placed"
    assert owed([order])[order.pk] == {shop.cola.pk: 48}
    with pytest.raises(receipts.UnableToReceive, match="already"):
        receipts.take_back(receipt=receipt, reason="again", actor=owner, now=shop.later(1))


def test_what_was_moved_on_is_not_taken_back(shop: Shop, owner: Person) -> None:
    receipt = shop.receives(shop.came(shop.cola, 24))
    moves.waste(
        place=shop.warehouse,
        items=[moves.Item(shop.cola, 20)],
        waste_reason="damaged",
        actor=owner,
        happened_at=shop.later(1),
        now=shop.later(1),
    )
    with pytest.raises(Unable) as refused:
        receipts.take_back(receipt=receipt, reason="wrong", actor=owner, now=shop.later(2))
    assert refused.value.code == "not_enough"
    assert shop.held(shop.cola) == 4
    assert not CostChange.objects.filter(cause="taken_back").exists()


def test_what_cannot_be_is_refused_and_changes_nothing(shop: Shop, owner: Person) -> None:
    order = shop.ordered(cola=1)
    for lines, more, words in (
        ([], {}, "at least one line"),
        ([shop.came(shop.cola, 0)], {}, "say how many came"),
        ([shop.came(shop.cola, -1)], {}, "not below zero"),
        ([shop.came(shop.cola, 1)], {"received_at": shop.later(2)}, "future"),
        ([shop.came(shop.cola, 1)], {"received_at": shop.later(-2)}, "before"),
        ([shop.came(shop.cola, 1)], {"place": shop.supplier.stock_place}, "no warehouse"),
    ):
        with pytest.raises(Unacceptable, match=words):
            shop.receives(*lines, order=order, **more)
    lemon = shop.world.product("Lemon", shop.cola.package, cost=None)
    with pytest.raises(Unacceptable, match="say what a unit costs"):
        shop.receives(shop.came(lemon, 6))
    draft = orders.draft(
        supplier=shop.supplier,
        place=shop.warehouse,
        lines=[orders.Wanted(shop.cola, 1)],
        actor=owner,
        now=shop.world.now,
    )
    with pytest.raises(orders.UnableToOrder, match="only what was placed"):
        shop.receives(shop.came(shop.cola, 24), order=draft)
    assert not Receipt.objects.exists()
    assert not ReceiptLine.objects.exists()
    assert not Movement.objects.exists()


def test_all_of_it_refused_moves_nothing(shop: Shop) -> None:
    order = shop.ordered(cola=1)
    receipt = shop.receives(
        shop.came(shop.cola, 0, refused_units=24, why="thawed"),
        order=order,
        received_at=shop.world.now + timedelta(0),
    )
    assert receipt.movement is None
    assert codes(receipt) == {"Cola": ["short", "refused"]}
    order.refresh_from_db()
    assert order.state == "placed"
