"""Between two counts, what reads say was sold was sold; the rest stays unexplained."""

from datetime import datetime, timedelta

import pytest

from fleet.inventory.actions import places
from fleet.inventory.models import Movement, MovementLine, StockLevel
from fleet.machines.models import Machine
from fleet.sales import tasks
from fleet.sales.actions import settling, tray
from fleet.sales.models import AuditRead
from fleet.sales.stock import settle_counts
from people.models import Person
from tests.cast import NOW
from tests.fleet.inventory.stores import Stores, count_column, require_books_balance
from tests.fleet.sales.helpers import arrived, day, take
from tests.fleet.sales.meter import Meter

pytestmark = pytest.mark.django_db


def count(stores: Stores, counted: int, moment: datetime) -> None:
    count_column(column=stores.one, counted=counted, actor=stores.actor, counted_at=moment, now=NOW)


def fill(stores: Stores, quantity: int, moment: datetime) -> None:
    hours = (moment - (NOW - timedelta(days=10))).total_seconds() / 3600
    stores.receive(quantity, stores.old, hours=hours - 2)
    stores.load(quantity, hours - 1)
    stores.fill(quantity, hours)


def net(stores: Stores, kind: str) -> int:
    """Units of cola that went out of the column to an outside place, less what came back."""
    column, other = places.column_place(stores.one), places.the(kind)  # type: ignore[arg-type]
    lines = MovementLine.objects.filter(product=stores.cola).exclude(movement__reason="opening")
    out = lines.filter(from_place=column, to_place=other)
    back = lines.filter(from_place=other, to_place=column)
    return sum(line.quantity for line in out) - sum(line.quantity for line in back)


def visit(
    stores: Stores, meter: Meter, number: int, *, sold: int, counted: int, filled: int
) -> None:
    """Read, count and fill within a quarter of an hour, so many days after the first Monday."""
    take(meter.sell("1", cash=sold), day(number))
    count(stores, counted, arrived(day(number)) + timedelta(minutes=5))
    if filled:
        fill(stores, filled, arrived(day(number)) + timedelta(minutes=12))


def test_what_reads_tell_was_sold_and_the_rest_stays_unexplained(stores: Stores) -> None:
    meter = Meter.with_buttons("1", "2")
    visit(stores, meter, 0, sold=0, counted=4, filled=16)
    visit(stores, meter, 7, sold=11, counted=8, filled=0)
    assert (net(stores, "customer"), net(stores, "unexplained")) == (0, 12)
    done = settle_counts(stores.machine, NOW)
    assert (done.sold, done.taken_back) == (11, 0)
    assert (net(stores, "customer"), net(stores, "unexplained")) == (11, 1)
    # The lots that dropped first were sold: four of no known lot, then of the one filled in.
    customers = places.the("customer")
    sold = MovementLine.objects.filter(to_place=customers).values_list("lot__code", "quantity")
    assert dict(sold) == {"OLD": 8, None: 3}
    assert stores.total(places.column_place(stores.one)) == 8
    require_books_balance()


def test_settling_again_posts_nothing(stores: Stores) -> None:
    meter = Meter.with_buttons("1", "2")
    visit(stores, meter, 0, sold=0, counted=4, filled=16)
    visit(stores, meter, 7, sold=11, counted=8, filled=0)
    settle_counts(stores.machine, NOW)
    movements = Movement.objects.count()
    assert settle_counts(stores.machine, NOW) == settling.Settled(0, 0)
    assert Movement.objects.count() == movements


def test_more_sold_than_missing_means_that_some_were_found(stores: Stores) -> None:
    meter = Meter.with_buttons("1", "2")
    visit(stores, meter, 0, sold=0, counted=20, filled=0)
    visit(stores, meter, 7, sold=9, counted=13, filled=0)
    settle_counts(stores.machine, NOW)
    assert (net(stores, "customer"), net(stores, "unexplained")) == (9, -2)
    require_books_balance()


def test_a_machine_that_nobody_reads_sold_what_was_missing(stores: Stores) -> None:
    count(stores, 20, arrived(day(0)))
    count(stores, 14, arrived(day(7)))
    count(stores, 15, arrived(day(8)))
    assert settle_counts(stores.machine, NOW).sold == 6
    assert (net(stores, "customer"), net(stores, "unexplained")) == (6, -1)
    require_books_balance()


def test_a_read_still_to_come_is_waited_for(stores: Stores) -> None:
    meter = Meter.with_buttons("1", "2")
    visit(stores, meter, 0, sold=0, counted=20, filled=0)
    visit(stores, meter, 7, sold=5, counted=15, filled=0)
    count(stores, 11, arrived(day(14)))
    settle_counts(stores.machine, NOW)
    assert (net(stores, "customer"), net(stores, "unexplained")) == (5, 4)
    take(meter.sell("1", cash=4), day(14))
    settle_counts(stores.machine, NOW)
    assert (net(stores, "customer"), net(stores, "unexplained")) == (9, 0)
    # And where none came for long, none will.
    count(stores, 8, arrived(day(20)))
    assert settle_counts(stores.machine, NOW).sold == 0
    assert settle_counts(stores.machine, NOW + timedelta(days=60)).sold == 3
    require_books_balance()


def test_intervals_cut_again_are_settled_by_further_lines(
    stores: Stores, dispatcher: Person
) -> None:
    meter = Meter.with_buttons("1", "2")
    visit(stores, meter, 0, sold=0, counted=20, filled=0)
    visit(stores, meter, 7, sold=6, counted=14, filled=0)
    visit(stores, meter, 14, sold=2, counted=12, filled=0)
    settle_counts(stores.machine, NOW)
    assert net(stores, "customer") == 8
    kept = set(MovementLine.objects.values_list("pk", flat=True))
    # Without the read between, the same eight are shared out by time: four each week.
    tray.set_aside(
        read=AuditRead.objects.get(place=2), actor=dispatcher, now=NOW, reason="wrong machine"
    )
    done = settle_counts(stores.machine, NOW)
    assert (done.sold, done.taken_back) == (2, 2)
    assert net(stores, "customer") == 8
    assert kept < set(MovementLine.objects.values_list("pk", flat=True))
    assert settle_counts(stores.machine, NOW) == settling.Settled(0, 0)
    require_books_balance()


def test_a_count_that_arrives_between_two_is_settled_too(stores: Stores) -> None:
    meter = Meter.with_buttons("1", "2")
    visit(stores, meter, 0, sold=0, counted=20, filled=0)
    visit(stores, meter, 14, sold=10, counted=10, filled=0)
    settle_counts(stores.machine, NOW)
    count(stores, 15, arrived(day(7)))
    done = settle_counts(stores.machine, NOW)
    assert (done.sold, done.taken_back) == (5, 5)
    assert (net(stores, "customer"), net(stores, "unexplained")) == (10, 0)
    assert stores.total(places.column_place(stores.one)) == 10
    require_books_balance()


def test_every_night_the_machines_that_were_counted_are_settled(stores: Stores) -> None:
    count(stores, 20, arrived(day(0)))
    count(stores, 14, arrived(day(7)))
    assert settling.machines_to_settle(since=arrived(day(-1))) == [stores.machine.pk]
    assert settling.machines_to_settle(since=NOW) == []
    assert tasks.settle_machine(stores.machine.pk + 1) == 0


def test_test_vends_are_not_sales(stores: Stores) -> None:
    meter = Meter.with_buttons("1", "2")
    visit(stores, meter, 0, sold=0, counted=20, filled=0)
    meter.sell("1", test=3, free=2)
    visit(stores, meter, 7, sold=5, counted=13, filled=0)
    settle_counts(stores.machine, NOW)
    assert (net(stores, "customer"), net(stores, "unexplained")) == (7, 0)


def test_the_machine_of_another_is_not_touched(stores: Stores, lobby: Machine) -> None:
    count(stores, 20, arrived(day(0)))
    levels = list(StockLevel.objects.values_list("place", "quantity"))
    settle_counts(lobby, NOW)
    assert list(StockLevel.objects.values_list("place", "quantity")) == levels
