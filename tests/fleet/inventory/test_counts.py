"""What was counted last stands, in whatever order people's records arrive."""

from datetime import timedelta

import pytest

from fleet.inventory.actions import counts, ledger, places
from fleet.inventory.models import CountLine, Movement, StockCount
from people.errors import Unable, Unacceptable
from people.models import AuditEntry
from tests.cast import NOW
from tests.fleet.inventory.stores import Stores, at, count_column, found_then, require_books_balance

pytestmark = pytest.mark.django_db


def test_the_first_count_of_a_column_opens_it(stores: Stores) -> None:
    count = stores.count(12, 5)
    line = count.lines.get()
    assert (line.product, line.lot, line.counted, line.book, line.difference) == (
        stores.cola,
        None,
        12,
        0,
        12,
    )
    assert count.movement is not None
    assert count.movement.reason == Movement.Reason.OPENING
    assert stores.in_column() == {"": 12}
    require_books_balance()


def test_what_a_count_misses_dropped_first_in_first_out(stores: Stores) -> None:
    stores.receive(10, stores.new)
    stores.load(10)
    stores.fill(4, lot=stores.new)
    stores.receive(6, stores.old, hours=2.5)
    stores.load(6, 2.6)
    stores.fill(5, 3, lot=stores.old)
    count = stores.count(3, 24)
    # NEW was put in first, so it dropped first, though OLD is out of date earlier.
    assert stores.in_column() == {"OLD": 3}
    assert count.lines.get().difference == -6
    assert AuditEntry.objects.filter(verb="count", object_id=count.pk).exists()
    require_books_balance()


def test_what_a_count_finds_too_many_bears_no_lot(stores: Stores) -> None:
    stores.receive(10, stores.new)
    stores.load(10)
    stores.fill(4)
    stores.count(6, 3)
    assert stores.in_column() == {"NEW": 4, "": 2}


def test_a_count_that_agrees_moves_nothing_and_is_kept(stores: Stores) -> None:
    stores.count(8, 1)
    count = stores.count(8, 2)
    assert count.movement is None
    assert count.lines.get().difference == 0


def test_a_count_puts_right_what_was_below_zero(stores: Stores) -> None:
    stores.receive(10, stores.new)
    stores.load(10)
    stores.remove(3, 1.5)
    assert stores.in_column() == {"": -3}
    stores.fill(8)
    assert stores.in_column() == {"": -3, "NEW": 8}
    stores.count(7, 4)
    assert stores.in_column() == {"NEW": 7}
    require_books_balance()


def test_products_not_told_were_not_in_the_column(stores: Stores) -> None:
    count_column(
        column=stores.one,
        counted={stores.cola: 4, stores.tea: 3},
        actor=stores.actor,
        counted_at=at(1),
        now=NOW,
    )
    later = stores.count(4, 2)
    assert {line.product.name: line.counted for line in later.lines.all()} == {"Cola": 4, "Tea": 0}
    assert found_then(later) == {"Cola": 4}
    require_books_balance()


def test_a_count_that_arrives_late_does_not_move_what_was_counted_after(stores: Stores) -> None:
    stores.receive(30, stores.old)
    stores.load(30)
    stores.fill(20, 2)
    last = stores.count(9, 48)
    late = stores.count(14, 24)
    assert stores.total(places.column_place(stores.one)) == 9
    assert late.lines.get().book == 20
    assert found_then(late) == {"Cola": 14}
    assert found_then(last) == {"Cola": 9}
    back = Movement.objects.get(because_of=late.movement)
    assert (back.reason, back.happened_at) == (Movement.Reason.COUNT, last.counted_at)
    require_books_balance()


def test_a_fill_that_arrives_late_does_not_move_what_was_counted_after(stores: Stores) -> None:
    stores.receive(30, stores.old)
    stores.load(20)
    stores.count(2, 1.5)
    after = stores.count(15, 3)
    fill = stores.fill(13, 2)
    assert found_then(after) == {"Cola": 15}
    # What the count had found without a lot was the fill, which tells its lot.
    assert stores.in_column() == {"OLD": 13, "": 2}
    assert fill.consequences.count() == 1
    assert stores.held(stores.truck) == {"OLD": 7}
    require_books_balance()


def test_a_fill_that_arrives_after_the_truck_was_counted_takes_nothing_twice(
    stores: Stores,
) -> None:
    stores.receive(30, stores.old)
    stores.load(20)
    truck = stores.count_truck({(stores.cola, None): 7}, 10)
    stores.fill(13, 2)
    assert stores.held(stores.truck) == {"OLD": 7}
    assert stores.in_column() == {"OLD": 13}
    assert found_then(truck) == {"Cola": 7}
    require_books_balance()


def test_a_late_fill_of_more_than_the_truck_held_then_is_refused(stores: Stores) -> None:
    stores.receive(30, stores.old)
    stores.load(10)
    stores.count_truck({(stores.cola, None): 10}, 10)
    stores.load(10, 11)
    with pytest.raises(ledger.NotEnough, match="Van 1 holds 10 Cola by the records, not the 12"):
        stores.fill(12, 2)
    require_books_balance()


def test_at_one_moment_what_was_told_first_came_first(stores: Stores) -> None:
    stores.receive(30)
    stores.load(20)
    stores.count(5, 2)
    stores.fill(10, 2)
    assert stores.total(places.column_place(stores.one)) == 15
    assert stores.count(15, 2).lines.get().difference == 0


def test_a_truck_counted_by_lot(stores: Stores) -> None:
    stores.receive(10, stores.old)
    stores.receive(10, stores.new)
    stores.load(20)
    count = stores.count_truck({(stores.cola, stores.old): 6, (stores.cola, None): 3}, 5)
    found = {(line.lot_id, line.counted, line.book) for line in count.lines.all()}
    assert found == {(stores.old.pk, 6, 10), (stores.new.pk, 0, 10), (None, 3, 0)}
    assert stores.held(stores.truck) == {"OLD": 6, "": 3}
    # A load told late belongs to the count's past: each lot stands as it was found.
    stores.receive(5, stores.new)
    stores.load(5, 4)
    assert stores.held(stores.truck) == {"OLD": 6, "": 3}
    require_books_balance()


def test_a_part_of_a_warehouse_is_counted_and_the_rest_left(stores: Stores) -> None:
    stores.receive(10, stores.old)
    counts.count_place(
        place=stores.depot,
        counted={(stores.tea, None): 4},
        actor=stores.actor,
        counted_at=at(3),
        now=NOW,
    )
    assert stores.held(stores.depot) == {"OLD": 10}
    whole = counts.count_place(
        place=stores.depot,
        counted={(stores.tea, None): 4},
        actor=stores.actor,
        counted_at=at(4),
        now=NOW,
        whole=True,
    )
    assert found_then(whole) == {"Tea": 4}
    require_books_balance()


def test_a_late_count_of_a_truck_that_later_loads_contradict_is_refused(stores: Stores) -> None:
    stores.receive(10, stores.old)
    stores.load(10)
    stores.fill(8, 5)
    with pytest.raises(ledger.NotEnough):
        stores.count_truck({(stores.cola, None): 3}, 2)
    assert not StockCount.objects.exists()
    require_books_balance()


def test_the_same_key_gives_the_same_count(stores: Stores) -> None:
    first = stores.count(8, 1, key="k1")
    assert stores.count(8, 1, key="k1") == first
    assert StockCount.objects.count() == 1
    with pytest.raises(Unable) as refused:
        stores.count(9, 1, key="k1")
    assert refused.value.code == "key_reused"
    assert CountLine.objects.count() == 1


def test_what_no_count_can_be(stores: Stores) -> None:
    for counted in (-1, 2_000_000, True):
        with pytest.raises(Unacceptable, match="is no count from 0"):
            stores.count(counted, 1)
    with pytest.raises(Unacceptable, match="still to come"):
        stores.count(1, 24 * 11)
    with pytest.raises(Unacceptable, match="is no place of ours"):
        counts.count_place(
            place=places.the("customer"),
            counted={(stores.cola, None): 1},
            actor=stores.actor,
            counted_at=at(1),
            now=NOW,
        )
    with pytest.raises(Unacceptable, match="nothing is said"):
        stores.count_truck({}, 1)
    with pytest.raises(Unacceptable, match=r"lot .* is not of Tea"):
        stores.count_truck({(stores.tea, stores.old): 1}, 1)
    with pytest.raises(Unable) as refused:
        count_column(
            column=stores.one,
            counted=1,
            actor=stores.actor,
            counted_at=NOW - timedelta(days=80),
            now=NOW,
        )
    assert refused.value.code == "no_set_up"
    assert not StockCount.objects.exists()


def test_a_round_of_counts_is_as_each_count_by_itself(stores: Stores) -> None:
    """What is put in between two moments stands in the book of the later count only."""
    stores.receive(40)
    stores.load(40, 1)
    stores.fill(10, 2)
    ledger.post(
        reason=Movement.Reason.FILL,
        lines=[ledger.Line(stores.cola, 8, stores.truck, places.column_place(stores.two))],
        actor=stores.actor,
        happened_at=at(4),
        now=NOW,
    )
    found = counts.count_round(
        rounds=[
            counts.CountedAt(at(3), [counts.ColumnCount(stores.one, {stores.cola: 7})]),
            counts.CountedAt(at(5), [counts.ColumnCount(stores.two, {stores.cola: 9})]),
        ],
        actor=stores.actor,
        now=NOW,
    )
    assert [(c.counted_at, c.lines.get().book, c.lines.get().difference) for c in found] == [
        (at(3), 10, -3),
        (at(5), 8, 1),
    ]
    assert [c.movement and c.movement.happened_at for c in found] == [at(3), at(5)]
    require_books_balance()


def test_a_round_that_tells_a_column_twice_changes_nothing(stores: Stores) -> None:
    told = counts.CountedAt(at(3), [counts.ColumnCount(stores.one, 7)])
    with pytest.raises(Unacceptable, match="twice"):
        counts.count_round(rounds=[told, told], actor=stores.actor, now=NOW)
    assert not StockCount.objects.exists()
