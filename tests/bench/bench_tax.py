"""A year's report of sales tax over ten million sale intervals, beside the bare sum in SQL.

Run by name: `pytest tests/bench/bench_tax.py -m bench -n 0 -s`. A thousand machines of forty
columns, each read 250 times in the year, in counties of two states; rates that change in the
middle of the year, and one machine in twenty moved. The bare sum joins the same three tables and
adds up units and money by machine, product and price, for no place, rate or rule. Keys that
neither follows (reads, columns) are numbers alone. `SALE_INTERVALS` in the environment asks for
another size; the limit is of the full one, for the bare sum of few rows lies in memory.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from time import perf_counter

import pytest
from django.db import connection

from fleet.machines.models import Machine, Placement, Product, SetUp, Site
from fleet.sales.models import Bag
from people.models import Person
from service.compliance.actions import tax_rules
from service.compliance.models import SiteJurisdiction
from service.compliance.queries.tax import TaxReport, tax_report
from service.compliance.sums.gathering import Period
from tests.service.compliance.taxed import SODA, WATER, rate
from tests.world import World

pytestmark = [pytest.mark.bench, pytest.mark.django_db(transaction=True)]
COLUMNS, READS = 40, 250
FULL_SIZE = 10_000_000
MACHINES = int(os.environ.get("SALE_INTERVALS", str(FULL_SIZE))) // (COLUMNS * READS)
SITES, COUNTIES = 200, 20
YEAR = Period(date(2025, 1, 1), date(2026, 1, 1))
BEGIN = datetime(2024, 12, 31, 12, tzinfo=UTC)
MOST_TIMES_BARE = 2
BARE = """
    SELECT i.machine_id, u.product_id, l.price_minor,
        SUM(l.paid_units)::bigint, SUM(l.paid_minor)::bigint
    FROM sales_saleinterval l
    JOIN sales_machineinterval i ON i.id = l.interval_id
    LEFT JOIN machines_setup u ON u.id = l.set_up_id
    WHERE i.ends_at >= %s AND i.ends_at < %s
    GROUP BY 1, 2, 3
"""
INTERVALS = """
    INSERT INTO sales_machineinterval (machine_id, from_read_id, to_read_id, starts_at, ends_at,
        currency, exponent, quality, sum_agrees, awaits_decision, other_figures, why_not, devices,
        warnings)
    SELECT m.id, r.number * 1000000 + m.id, (r.number + 1) * 1000000 + m.id,
        %(begin)s + m.late + (r.number - 1) * %(each)s, %(begin)s + m.late + r.number * %(each)s,
        %(currency)s, 2, 'good', true, false, '{}', '[]', '[]', '[]'
    FROM (SELECT id, id %% 600 * interval '1 minute' AS late FROM machines_machine) m,
        generate_series(1, %(reads)s) AS r(number)
    ORDER BY r.number, m.id
"""
LINES = """
    INSERT INTO sales_saleinterval (interval_id, set_up_id, column_id, price_minor, paid_units,
        paid_minor, cash_units, cash_minor, cashless_units, cashless_minor, selection_code, ordinal,
        is_unassigned, spans_set_ups, is_share, share_said, ran_dry, evidence, how)
    SELECT i.id, s.id, s.column_id, at, cash + card, (cash + card) * at, cash, cash * at,
        card, card * at, 'A' || s.column_id %% 40, 1, false, false, false, '', '', '[]', '{}'
    FROM sales_machineinterval i
    JOIN machines_setup s
        ON s.column_id BETWEEN i.machine_id * 1000 AND i.machine_id * 1000 + 999,
    LATERAL (
        SELECT (s.price * 100)::bigint + CASE WHEN i.ends_at > %(dearer)s THEN 25 ELSE 0 END,
            (i.id + s.id) %% 3, (i.id * 7 + s.id * 3) %% 4
    ) AS sold(at, cash, card)
    ORDER BY i.id
"""


@contextmanager
def as_replica() -> Iterator[None]:
    """Rows whose keys lead nowhere, and indexes of lines made when all lines are there."""
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute(
            "SELECT indexname, indexdef FROM pg_indexes "
            "WHERE tablename = 'sales_saleinterval' AND indexdef NOT LIKE '%UNIQUE%'"
        )
        indexes = cursor.fetchall()
        for name, _ in indexes:
            cursor.execute(f'DROP INDEX "{name}"')
        try:
            yield
        finally:
            cursor.execute("SET session_replication_role = origin")
            for _, made in indexes:
                cursor.execute(made)


def places(world: World, owner: Person) -> list[Site]:
    """Sites of two states; half of the counties charge more from July on."""
    tax_rules.load_packs(states=["FL", "NJ"], actor=owner, now=world.now)
    rate("FL", "state", "0.06", owner, world.now)
    rate("NJ", "state", "0.06625", owner, world.now)
    counties = []
    for number in range(COUNTIES):
        code = f"FL-00-{number:05}"
        county = rate(code, "county", "0.01", owner, world.now)
        if number % 2:
            rate(code, "county", "0.015", owner, world.now, begins=date(2025, 7, 1))
        counties.append(county)
    sites = Site.objects.bulk_create(
        Site(name=f"Site {n}", state="NJ" if n % 4 == 0 else "FL", time_zone="America/New_York")
        for n in range(SITES)
    )
    SiteJurisdiction.objects.bulk_create(
        SiteJurisdiction(site=site, jurisdiction=counties[n % COUNTIES])
        for n, site in enumerate(sites)
        if site.state == "FL"
    )
    return sites


def goods(world: World) -> list[Product]:
    can = world.can(volume_ml=Decimal("354.88"), material="aluminium")
    return [world.product(f"Good {n}", can, **(WATER if n % 3 else SODA)) for n in range(60)]


def fleet(world: World, sites: list[Site], sold: list[Product]) -> None:
    kind = world.kind()
    machines = Machine.objects.bulk_create(
        Machine(kind=kind, asset_tag=f"B-{n}") for n in range(MACHINES)
    )
    long_ago, moved = BEGIN - timedelta(days=400), BEGIN + timedelta(days=140)
    stays = []
    for n, machine in enumerate(machines):
        ends = moved if n % 20 == 0 else None
        stays.append(Placement(machine=machine, site=sites[n % SITES], starts_at=long_ago))
        stays[-1].ends_at = ends
        if ends:
            elsewhere = sites[(n + 7) % SITES]
            stays.append(Placement(machine=machine, site=elsewhere, starts_at=ends))
    Placement.objects.bulk_create(stays)
    with as_replica(), connection.cursor() as cursor:
        SetUp.objects.bulk_create(
            SetUp(
                column_id=machine.pk * 1000 + column,
                product=sold[(machine.pk + column) % len(sold)],
                deep=1,
                capacity=10,
                price=Decimal("1.50") + Decimal("0.25") * (column % 3),
                starts_at=long_ago,
                front_setting=5,
                source="found",
            )
            for machine in machines
            for column in range(COLUMNS)
        )
        cursor.execute("ANALYZE machines_setup")
        arguments = {
            "begin": BEGIN,
            "each": timedelta(days=364) / READS,
            "currency": "",
            "reads": READS,
            "dearer": BEGIN + timedelta(days=200),
        }
        cursor.execute(INTERVALS, arguments)
        cursor.execute(LINES, arguments)
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE sales_machineinterval, sales_saleinterval, machines_setup")


def bags(owner: Person) -> None:
    """A bag a week sealed at each machine, by which cash falls into a period."""
    Bag.objects.bulk_create(
        Bag(
            seal_number=f"{machine}-{week}",
            machine_id=machine,
            sealed_at=BEGIN + timedelta(days=7 * week, minutes=machine % 600),
            recorded_at=BEGIN,
            sealed_by=owner,
        )
        for machine in Machine.objects.values_list("pk", flat=True)
        for week in range(1, 54)
    )
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE sales_bag")


def bare() -> list[tuple[int, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(BARE, [YEAR.since, YEAR.until])
        return cursor.fetchall()


def taken(work: Callable[[], object]) -> float:
    begun = perf_counter()
    work()
    return perf_counter() - begun


def test_a_years_report_takes_no_more_than_twice_the_bare_sum(world: World, owner: Person) -> None:
    begun = perf_counter()
    fleet(world, places(world, owner), goods(world))
    bags(owner)
    print(f"\n{MACHINES * COLUMNS * READS} sale intervals made in {perf_counter() - begun:.0f} s")
    receipts = Decimal(sum(row[4] for row in bare())).scaleb(-2)

    def of_basis(basis: str) -> TaxReport:
        found = tax_report(YEAR, basis=basis)
        sums = found.report.totals
        assert sums.parts == sums.receipts
        if basis == "read":
            assert sums.receipts == receipts
        return found

    times: dict[str, float] = {}
    for _ in range(3):
        for name, work in (
            ("bare", bare),
            ("by read", lambda: of_basis("read")),
            ("by days", lambda: of_basis("days")),
            ("by collection", lambda: of_basis("collection")),
        ):
            times[name] = min(times.get(name, 1e9), taken(work))
    print(", ".join(f"{name} {took:.2f} s" for name, took in times.items()))
    for name in ("by read", "by days", "by collection"):
        print(f"{name}: {times[name] / times['bare']:.2f} times the bare sum")
    if MACHINES * COLUMNS * READS >= FULL_SIZE:
        for name in ("by read", "by days", "by collection"):
            assert times[name] <= MOST_TIMES_BARE * times["bare"]
