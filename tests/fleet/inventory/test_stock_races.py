"""Two drivers, one truck; one key, sent twice; two counts: on a real database with real threads.

Each race is first run with the lock taken out, which shows that it is one.
"""

from collections.abc import Callable
from threading import Barrier, BrokenBarrierError
from typing import Any

import pytest
from django.db import IntegrityError, connection

from fleet.inventory import book
from fleet.inventory.actions import ledger, places
from fleet.inventory.actions.stores import close_store
from fleet.inventory.models import Movement, StockCount, StockLevel, StockPlace
from fleet.inventory.queries.check import check_stock
from fleet.sales.stock import settle_counts
from people.errors import Unable
from people.models import Person
from tests.cast import NOW
from tests.fleet.inventory.stores import Stores, at, count_column, require_books_balance
from tests.races import at_once

pytestmark = pytest.mark.django_db(transaction=True)


def both(barrier: Barrier) -> None:
    """Wait for the other; when it cannot come, because a lock keeps it out, go on."""
    try:
        barrier.wait(timeout=3)
    except BrokenBarrierError:
        return


def without_the_lock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two at once read before either writes, and nobody locks what they read."""
    read, writing = Barrier(2), book.Book.write

    def unlocked(keys: Any) -> dict[int, StockPlace]:
        return {place.pk: place for place in StockPlace.objects.filter(pk__in=keys)}

    def write(self: book.Book) -> None:
        both(read)
        writing(self)

    monkeypatch.setattr(book, "lock_places", unlocked)
    monkeypatch.setattr(book.Book, "write", write)


def eight(stores: Stores, actor: Person) -> Movement:
    """Put eight from the first truck into the column."""
    line = ledger.Line(stores.cola, 8, stores.truck, places.column_place(stores.one))
    return ledger.post(reason="fill", lines=[line], actor=actor, happened_at=at(2), now=NOW)


def test_without_the_lock_two_drivers_take_sixteen_of_ten(
    stores: Stores, driver: Person, other_driver: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    stores.receive(10, stores.new)
    stores.load(10)
    without_the_lock(monkeypatch)
    found = at_once(lambda: eight(stores, driver), lambda: eight(stores, other_driver))
    assert all(isinstance(one, Movement) for one in found)
    assert [fault.code for fault in check_stock().faults] == ["level_differs"] * 2


def test_two_drivers_fill_from_one_truck_and_one_is_refused(
    stores: Stores, driver: Person, other_driver: Person
) -> None:
    stores.receive(10, stores.new)
    stores.load(10)
    found = at_once(lambda: eight(stores, driver), lambda: eight(stores, other_driver))
    assert sorted(isinstance(one, ledger.NotEnough) for one in found) == [False, True]
    assert stores.held(stores.truck) == {"NEW": 2}
    require_books_balance()


def test_without_the_lock_a_twin_breaks_a_rule_of_the_table(
    stores: Stores, monkeypatch: pytest.MonkeyPatch
) -> None:
    stores.receive(10, stores.new)
    looked = Barrier(2)
    monkeypatch.setattr(ledger, "lock_keys", lambda *_: None)
    asked = ledger._known

    def known(*given: Any) -> Any:
        found = asked(*given)
        both(looked)
        return found

    monkeypatch.setattr(ledger, "_known", known)

    def load() -> object:
        try:
            return stores.load(4, key="twin")
        except IntegrityError as broken:
            return broken
        finally:
            connection.close()

    found = at_once(load, load)
    assert sorted(isinstance(one, IntegrityError) for one in found) == [False, True]


def test_twins_of_one_key_are_one_movement(stores: Stores) -> None:
    stores.receive(100, stores.new)
    found = at_once(*[lambda: stores.load(4, key="twin")] * 4)
    assert len({one.pk for one in found if isinstance(one, Movement)}) == 1
    assert not any(isinstance(one, Unable) for one in found)
    assert stores.held(stores.truck) == {"NEW": 4}
    again = at_once(*[lambda: stores.count(7, 5, key="twin")] * 4)
    assert len({one.pk for one in again if isinstance(one, StockCount)}) == 1
    assert StockCount.objects.count() == 1
    require_books_balance()


def test_without_the_lock_two_counts_post_one_difference_twice(
    stores: Stores, monkeypatch: pytest.MonkeyPatch
) -> None:
    stores.count(20, 1)
    without_the_lock(monkeypatch)
    at_once(lambda: stores.count(15, 5), lambda: stores.count(15, 5))
    assert [fault.code for fault in check_stock().faults] == ["level_differs"]


def test_two_counts_at_once_post_the_difference_once(stores: Stores) -> None:
    stores.count(20, 1)
    at_once(lambda: stores.count(15, 5), lambda: stores.count(15, 6))
    assert stores.total(places.column_place(stores.one)) == 15
    moved = [count.lines.get().difference for count in StockCount.objects.order_by("counted_at")]
    assert sorted(moved[1:]) in ([-5, 0], [-5, -5])
    require_books_balance()


def test_goods_that_go_both_ways_at_once_wait_and_do_not_lock_each_other_out(
    stores: Stores, driver: Person
) -> None:
    opening = [
        ledger.Line(stores.cola, 100, places.the("unexplained"), place, None)
        for place in (stores.depot, stores.truck, stores.other_truck)
    ]
    ledger.post(reason="opening", lines=opening, actor=None, happened_at=at(0), now=NOW)
    ways = [stores.depot, stores.truck, stores.other_truck]

    def carry(source: StockPlace, target: StockPlace) -> Callable[[], object]:
        line = ledger.Line(stores.cola, 1, source, target)

        def call() -> object:
            for _ in range(10):
                ledger.post(
                    reason="transfer", lines=[line], actor=driver, happened_at=at(1), now=NOW
                )
            return None

        return call

    found = at_once(*[carry(a, b) for a in ways for b in ways if a != b])
    assert found == [None] * 6
    assert [stores.total(place) for place in ways] == [100, 100, 100]
    require_books_balance()


def test_a_truck_is_not_closed_while_something_is_loaded(stores: Stores, driver: Person) -> None:
    stores.receive(10)
    found = at_once(
        lambda: stores.load(4),
        lambda: close_store(place=stores.truck, actor=driver, now=NOW),
    )
    assert sorted(isinstance(one, Unable) for one in found) == [False, True]
    stores.truck.refresh_from_db()
    assert stores.truck.active == bool(stores.total(stores.truck))
    require_books_balance()


def test_a_machine_settled_by_two_at_once_sold_once(stores: Stores) -> None:
    stores.count(20, 1)
    stores.count(12, 50)
    at_once(*[lambda: settle_counts(stores.machine, NOW)] * 3)
    assert Movement.objects.filter(reason="sale").count() == 1
    require_books_balance()


def test_two_first_movements_make_one_place(stores: Stores) -> None:
    at_once(*[lambda: count_column(**one_count(stores))] * 3)
    assert StockPlace.objects.filter(column=stores.one).count() == 1
    assert StockLevel.objects.get().quantity == 5
    require_books_balance()


def one_count(stores: Stores) -> dict[str, Any]:
    return {
        "column": stores.one,
        "counted": 5,
        "actor": stores.actor,
        "counted_at": at(1),
        "now": NOW,
    }
