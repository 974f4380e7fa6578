"""What a column holds: counted, filled, removed and sold since, and how sure that is."""

from datetime import date, timedelta

import pytest

from fleet.compute.lots import Held
from fleet.sales import stock
from tests.cast import NOW
from tests.fleet.inventory.stores import Stores
from tests.fleet.sales.helpers import arrived, day, take
from tests.fleet.sales.meter import Meter
from tests.fleet.sales.test_settling import count, fill, visit
from tests.world import World

pytestmark = pytest.mark.django_db


def of(stores: Stores, at: object = NOW) -> stock.ColumnStock:
    return stock.estimate([stores.one], at)[stores.one.pk]  # type: ignore[arg-type]


def test_nobody_counted_yet(stores: Stores) -> None:
    found = of(stores)
    assert (found.basis, found.known_until) == ("never counted", None)
    assert (found.low, found.expected, found.high) == (
        0,
        found.capacity / 2,
        found.capacity,
    )
    assert found.product_id == stores.cola.pk
    assert "nobody has counted it yet" in found.reasons


def test_counted_filled_and_sold_since_by_reads(stores: Stores) -> None:
    meter = Meter.with_buttons("1", "2")
    visit(stores, meter, 0, sold=0, counted=4, filled=12)
    take(meter.sell("1", cash=3), day(1))
    take(meter.sell("1", cash=2), day(2))
    found = of(stores)
    assert (found.basis, found.counted, found.filled, found.removed) == ("reads", 4, 12, 0)
    assert (found.sold_since, found.expected) == (5, 11)
    assert found.low < 11 < found.high <= found.capacity
    assert found.known_until is not None
    assert abs(found.known_until - arrived(day(2))) < timedelta(minutes=5)


def test_of_an_interval_that_began_before_the_count_its_part_after(stores: Stores) -> None:
    meter = Meter.with_buttons("1", "2")
    take(meter, day(0))
    count(stores, 10, arrived(day(2)))
    take(meter.sell("1", cash=8), day(8))
    found = of(stores)
    assert found.sold_since == pytest.approx(6, abs=0.01)
    # 8 x 3/4 x 1/4 is the variance of how the eight fell on either side of the count.
    alone = 1.645 * 0.5
    assert found.high - found.expected > 1.645 * 1.2
    assert found.high - found.expected > alone


def test_what_sold_before_a_changeover_was_of_the_product_before(
    stores: Stores, world: World
) -> None:
    meter = Meter.with_buttons("1", "2")
    visit(stores, meter, 0, sold=0, counted=20, filled=0)
    take(meter.sell("1", cash=7), day(5))
    world.set_up(stores.one, stores.tea, starts_at=arrived(day(5)))
    take(meter.sell("1", cash=2), day(6))
    found = of(stores)
    assert (found.product_id, found.sold_since) == (stores.tea.pk, 2)


def test_a_machine_without_reads_is_left_to_the_model(stores: Stores) -> None:
    count(stores, 10, arrived(day(2)))
    found = of(stores)
    assert (found.basis, found.expected, found.sold_since) == ("model", 10, 0)
    assert found.known_until == arrived(day(2))


def test_as_of_an_earlier_moment(stores: Stores) -> None:
    count(stores, 10, arrived(day(2)))
    fill(stores, 6, arrived(day(4)))
    assert of(stores, arrived(day(3))).expected == 10
    assert of(stores).expected == 16


def test_counts_that_surprise_widen_the_range(stores: Stores) -> None:
    meter = Meter.with_buttons("1", "2")
    for number in range(6):
        visit(
            stores,
            meter,
            number,
            sold=0 if number == 0 else 2,
            counted=20 - 4 * (number % 2),
            filled=0,
        )
    before = of(stores)
    stock.settle_counts(stores.machine, NOW)
    after = of(stores)
    assert after.high - after.low > before.high - before.low
    assert any("differed from the books" in reason for reason in after.reasons)


def test_more_left_than_went_in_says_that_a_count_is_due(stores: Stores) -> None:
    meter = Meter.with_buttons("1", "2")
    visit(stores, meter, 0, sold=0, counted=4, filled=0)
    take(meter.sell("1", cash=9), day(3))
    found = of(stores)
    assert (found.expected, found.low) == (0, 0)
    assert any("a count is due" in reason for reason in found.reasons)


def test_lots_lie_in_the_order_in_which_they_drop(stores: Stores) -> None:
    meter = Meter.with_buttons("1", "2")
    visit(stores, meter, 0, sold=0, counted=2, filled=6)
    take(meter.sell("1", cash=5), day(1))
    assert stock.lots_in([stores.one], NOW)[stores.one.pk] == [
        Held(stores.old.pk, 3, stores.old.best_before)
    ]


def test_what_will_be_out_of_date_before_the_next_visit_is_pulled(stores: Stores) -> None:
    count(stores, 2, arrived(day(0)))
    fill(stores, 6, arrived(day(1)))
    last = stores.old.best_before
    assert last == date(2026, 4, 1)
    assert stock.to_pull(stores.one, last + timedelta(days=1), at=NOW) == []
    (pulled,) = stock.to_pull([stores.one, stores.two], last + timedelta(days=2), at=NOW)
    assert (pulled.lot_id, pulled.units, pulled.best_before) == (stores.old.pk, 6, last)


def test_queries_do_not_grow_with_the_columns(
    stores: Stores, django_assert_num_queries: object
) -> None:
    with django_assert_num_queries(4):  # type: ignore[operator]
        stock.estimate([stores.one], NOW)
    with django_assert_num_queries(4):  # type: ignore[operator]
        stock.estimate([stores.one, stores.two.pk], NOW)
