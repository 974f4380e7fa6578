"""What machines need on a day: prizes, fills, what to pull, and how a changed set-up is taken."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.demand.models import ColumnDemand, ColumnNeed
from fleet.demand.queries.ahead import column_ahead
from fleet.demand.queries.needs import machine_needs
from fleet.inventory.actions import ledger, moves, places
from fleet.inventory.models import Lot
from fleet.machines.models import Machine, Product
from people.errors import Unacceptable
from people.models import Person
from tests.fleet.demand.sellers import column, fit_all, sell_and_read, shop
from tests.fleet.inventory.stores import count_column
from tests.world import World

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 2)


def stocked(world: World, machine: Machine, label: str, units: int, lot: Lot | None = None) -> None:
    """Count a column empty an hour ago and put so many in, from a truck that has them."""
    held = column(machine, label)
    product = held.set_ups.get(ends_at=None).product
    truck = places.truck("Truck 1")
    by = {"actor": world.owner, "now": world.now}
    at = world.now - timedelta(hours=1)
    ledger.post(
        reason="opening",
        lines=[ledger.Line(product, units, places.the("unexplained"), truck, lot=lot)],
        happened_at=at - timedelta(days=1),
        **by,
    )
    count_column(column=held, counted=0, counted_at=at, **by)
    moves.fill_columns(
        fills=[moves.InColumn(held, product, units, lot)],
        truck=truck,
        happened_at=at + timedelta(minutes=5),
        **by,
    )


@pytest.fixture
def sold(world: World, owner: Person) -> Sequence[Machine]:
    """Three machines of which each sells 6 and 2.5 a day, fitted."""
    machines = shop(world)
    for machine in machines:
        sell_and_read(machine, until=world.now)
    fit_all(owner, world.now)
    return machines


def test_the_emptier_machine_is_worth_more_to_visit(sold: Sequence[Machine], world: World) -> None:
    empty, full = sold[0], sold[1]
    stocked(world, empty, "1", 3)
    stocked(world, full, "1", 30)
    found = machine_needs(
        sold, day=TODAY + timedelta(days=1), next_chance=TODAY + timedelta(days=4), now=world.now
    )
    assert found[empty.pk].prize_minor > found[full.pk].prize_minor
    lines = {line.column: line for line in found[empty.pk].lines}
    line = lines[column(empty, "1").pk]
    assert line.expected_stock < 3
    assert line.level <= line.capacity
    assert line.expected_fill <= line.fill_quantile <= line.level
    assert sum(line.need_chances) == pytest.approx(1)
    # Three days of six cans, of which few are left: near 18 lost, at 1.13 a can.
    other = lines[column(empty, "2").pk].column
    assert other != line.column
    assert found[empty.pk].units_at_stake > 12
    assert found[empty.pk].weight_g == 0  # nobody has weighed the cans


def test_a_later_next_chance_is_worth_more(sold: Sequence[Machine], world: World) -> None:
    stocked(world, sold[0], "1", 10)
    prizes = [
        machine_needs(sold[:1], day=TODAY, next_chance=TODAY + timedelta(days=days), now=world.now)[
            sold[0].pk
        ].prize_minor
        for days in (1, 3, 7, 14)
    ]
    assert prizes == sorted(prizes)
    assert prizes[0] < prizes[-1]


def test_what_goes_out_of_date_before_the_next_chance_makes_a_visit_due(
    sold: Sequence[Machine], world: World
) -> None:
    product = column(sold[0], "2").set_ups.get(ends_at=None).product
    lot = Lot.objects.create(product=product, code="OLD", best_before=TODAY + timedelta(days=2))
    stocked(world, sold[0], "2", 25, lot)
    found = machine_needs(
        sold[:1], day=TODAY, next_chance=TODAY + timedelta(days=7), now=world.now
    )[sold[0].pk]
    (why,) = found.must_go
    assert why.code == "out_of_date"
    line = next(one for one in found.lines if one.column == column(sold[0], "2").pk)
    # Three days at 2.5: hardly more than seven sell in time, so most of 25 is pulled.
    assert 15 <= line.pull <= 24
    assert line.pull_lots == {lot.pk: line.pull}
    soon = machine_needs(sold[:1], day=TODAY, next_chance=TODAY + timedelta(days=1), now=world.now)[
        sold[0].pk
    ]
    assert not soon.must_go


def test_a_new_product_starts_from_its_pool_and_not_from_the_sales_before(
    sold: Sequence[Machine], world: World, owner: Person
) -> None:
    """Column 1 sold 6 a day of Cola; what it sells of Lemon is told by Lemon elsewhere."""
    machine = sold[0]
    held = column(machine, "1")
    lemon = Product.objects.get(name="Lemon")
    setting = held.set_ups.get(ends_at=None)
    world.set_up(
        held,
        lemon,
        deep=2,
        front_setting=20,
        program=setting.program,
        starts_at=world.now - timedelta(hours=2),
    )
    found = column_ahead(held, now=world.now, days=7)
    assert found is not None
    assert found.from_pool
    fit_all(owner, world.now)
    demand = ColumnDemand.objects.get(column=held)
    assert (demand.product, demand.basis, demand.intervals) == (lemon, "pool", 0)
    assert demand.a_day < 4.5


def test_machines_without_reads_are_fitted_from_counts(world: World, owner: Person) -> None:
    (machine,) = shop(world, 1)
    held = column(machine, "1")
    truck = places.truck("Truck 1")
    cola = held.set_ups.get(ends_at=None).product
    by = {"actor": owner, "now": world.now}
    start = world.now - timedelta(days=70)
    ledger.post(
        reason="opening",
        lines=[ledger.Line(cola, 1000, places.the("unexplained"), truck)],
        happened_at=start - timedelta(days=1),
        **by,
    )
    for visit in range(15):
        at = start + timedelta(days=5 * visit)
        # Four a day leave 10 of 30; at the first visit there were none.
        left = 10 if visit else 0
        count_column(column=held, counted=left, counted_at=at, **by)
        moves.fill_columns(
            fills=[moves.InColumn(held, cola, 30 - left)],
            truck=truck,
            happened_at=at + timedelta(minutes=5),
            **by,
        )
    fit_all(owner, world.now)
    demand = ColumnDemand.objects.get(column=held)
    assert (demand.basis, demand.intervals, demand.units) == ("counts", 14, 14 * 20)
    assert demand.dry_intervals == 0
    assert demand.a_day == pytest.approx(4, rel=0.1)


def test_a_count_of_nothing_marks_the_interval_as_run_dry(world: World, owner: Person) -> None:
    (machine,) = shop(world, 1)
    sell_and_read(machine, until=world.now, every=7)
    count_column(
        column=column(machine, "1"),
        counted=0,
        counted_at=world.now - timedelta(days=10),
        actor=owner,
        now=world.now,
    )
    fit_all(owner, world.now)
    assert ColumnDemand.objects.get(column=column(machine, "1")).dry_intervals == 1
    assert ColumnDemand.objects.get(column=column(machine, "2")).dry_intervals == 0


def test_needs_are_kept_with_their_reasons(sold: Sequence[Machine], world: World) -> None:
    need = ColumnNeed.objects.get(column=column(sold[0], "1"))
    assert need.fill_to <= need.capacity
    assert len(need.units_lost_by_day) == len(need.margin_lost_by_day) == 28
    assert need.units_lost_by_day == sorted(need.units_lost_by_day)
    assert all(isinstance(one, Decimal) for one in need.margin_lost_by_day)
    assert {one["code"] for one in need.reasons} >= {"critical_ratio", "outcome"}


def test_needs_cost_the_same_queries_whatever_the_fleet(
    sold: Sequence[Machine], world: World
) -> None:
    def queries(machines: Sequence[Machine]) -> int:
        with CaptureQueriesContext(connection) as asked:
            machine_needs(machines, day=TODAY, next_chance=TODAY + timedelta(days=3), now=world.now)
        return len(asked)

    assert queries(sold[:1]) == queries(sold)


def test_a_day_that_is_past_and_a_chance_before_it_are_refused(
    sold: Sequence[Machine], world: World
) -> None:
    with pytest.raises(Unacceptable) as refused:
        machine_needs(sold, day=TODAY - timedelta(days=1), next_chance=TODAY, now=world.now)
    assert "day" in refused.value.fields
    with pytest.raises(Unacceptable) as refused:
        machine_needs(sold, day=TODAY, next_chance=TODAY, now=world.now)
    assert "next_chance" in refused.value.fields


def test_a_machine_that_holds_nothing_has_nothing_at_stake(world: World) -> None:
    machine = world.machine("BARE", world.kind())
    found = machine_needs(
        [machine], day=TODAY, next_chance=TODAY + timedelta(days=1), now=world.now
    )
    assert found[machine.pk].lines == ()
    assert found[machine.pk].prize_minor == 0
