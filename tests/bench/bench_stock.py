"""How long a visit's stock takes, beside a bare transaction that writes the same rows.

Run with `-m bench`; prints the figures. The past of a demo is some two thousand visits to machines
of twelve columns, each of a count and a fill. What is asserted is the ratio.
"""

from datetime import datetime, timedelta
from time import perf_counter

import pytest
from django.db import connection, transaction

from fleet.inventory.actions import counts, ledger, moves, places
from fleet.inventory.models import Lot, MovementLine
from fleet.machines.actions import kinds
from fleet.machines.models import Column, Product, Site
from people.models import AuditEntry, Person
from tests.cast import NOW
from tests.fleet.inventory.stores import require_books_balance
from tests.world import World, stack

pytestmark = [pytest.mark.bench, pytest.mark.django_db]
VISITS = 150
MOST_TIMES_BARE = 12


def twelve_columns(world: World) -> list[Column]:
    kind = kinds.save_kind(
        kind=world.kind(),
        changes={},
        positions=[stack(str(number)) for number in range(1, 13)],
        actor=world.owner,
        now=world.now,
    )
    machine = world.machine("BIG-1", kind)
    cola = world.product("Cola", world.can())
    for column in machine.columns.all():
        world.set_up(column, cola, deep=2, starts_at=NOW - timedelta(days=400))
    return list(machine.columns.select_related("machine", "position"))


def test_visits_of_a_machine_of_twelve_columns(world: World, driver: Person) -> None:
    columns = twelve_columns(world)
    product = Product.objects.get()
    depot = places.warehouse(world.site("Depot", purpose=Site.Purpose.WAREHOUSE))
    truck = places.truck("Van 1")
    lots = [
        Lot.objects.create(product=product, code=f"L{n}", best_before=(NOW + timedelta(n)).date())
        for n in range(12)
    ]
    begin = NOW - timedelta(days=VISITS + 1)
    for lot in lots:
        line = ledger.Line(product, 12 * VISITS, places.the("unexplained"), depot, lot)
        ledger.post(reason="opening", lines=[line], actor=None, happened_at=begin, now=NOW)
    took = sorted(
        visit(columns, product, depot, truck, driver, begin + timedelta(days=number))
        for number in range(VISITS)
    )
    bare = least(columns, driver)
    median, late = took[VISITS // 2], took[int(VISITS * 0.95)]
    print(
        f"\na visit's stock {median * 1e3:.1f} ms, 95 % within {late * 1e3:.1f} ms; the same rows "
        f"alone {bare * 1e3:.1f} ms; 2,000 visits {2000 * sum(took) / VISITS:.0f} s"
    )
    require_books_balance()
    assert median < MOST_TIMES_BARE * bare


def visit(
    columns: list[Column],
    product: Product,
    depot: object,
    truck: object,
    driver: Person,
    at: datetime,
) -> float:
    started = perf_counter()
    moves.load(
        warehouse=depot,  # type: ignore[arg-type]
        truck=truck,  # type: ignore[arg-type]
        items=[moves.Item(product, 36)],
        actor=driver,
        happened_at=at,
        now=NOW,
    )
    counts.count_columns(
        counts=[counts.ColumnCount(column, 5) for column in columns],
        actor=driver,
        counted_at=at + timedelta(hours=1),
        now=NOW,
    )
    moves.fill_columns(
        fills=[moves.InColumn(column, product, 3) for column in columns],
        truck=truck,  # type: ignore[arg-type]
        actor=driver,
        happened_at=at + timedelta(hours=2),
        now=NOW,
    )
    return perf_counter() - started


def least(columns: list[Column], driver: Person) -> float:
    """The same rows, as values that are known already: three movements, their lines and levels, the
    counts and the trail, in one transaction."""
    lines = list(MovementLine.objects.order_by("-pk")[:26].values_list())
    trail = list(AuditEntry.objects.order_by("-pk")[:15].values_list("after", flat=True))
    best = float("inf")
    for _ in range(30):
        started = perf_counter()
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(
                "INSERT INTO inventory_movement (reason, waste_reason, actor_id, happened_at,"
                " recorded_at, fingerprint, note) SELECT 'load', '', %s, %s, %s, '', ''"
                " FROM generate_series(1, 3) RETURNING id",
                [driver.pk, NOW, NOW],
            )
            movement = cursor.fetchall()[0][0]
            cursor.executemany(
                "INSERT INTO inventory_movementline (movement_id, product_id, lot_id,"
                " from_place_id, to_place_id, quantity, unit_cost, happened_at)"
                " VALUES (%s, %s, %s, %s, %s, %s, %s, %s)",
                [[movement, *line[2:8], NOW] for line in lines],
            )
            places_of = [place.pk for place in places.column_places(columns).values()]
            cursor.executemany(
                "UPDATE inventory_stocklevel SET quantity = quantity + 1 WHERE place_id = %s",
                [[place] for place in places_of],
            )
            for place in places_of:
                cursor.execute(
                    "INSERT INTO inventory_stockcount (place_id, counted_at, recorded_at, actor_id,"
                    " is_whole, fingerprint, note) VALUES (%s, %s, %s, %s, true, '', '')"
                    " RETURNING id",
                    [place, NOW, NOW, driver.pk],
                )
                cursor.execute(
                    "INSERT INTO inventory_countline (count_id, product_id, by_lot, counted, book,"
                    " difference) VALUES (%s, %s, false, 5, 5, 0)",
                    [cursor.fetchone()[0], lines[0][2]],
                )
            AuditEntry.objects.bulk_create(
                AuditEntry(
                    at=NOW, actor=driver, verb="x", object_type="x", object_id=1, after=after
                )
                for after in trail
            )
            took = perf_counter() - started
            transaction.set_rollback(True)
        best = min(best, took)
    return best
