"""Statements of commission for two thousand sites, from receipts and tax to issued rows.

Run by name: `pytest tests/bench/bench_statements.py -m bench -n 0 -s`. A machine of ten columns a
site, read ten times in the month; every host is paid by steps on receipts less tax and refunds,
with a minimum. Beside it the bare sum of the same lines. `SITES` in the environment asks for
another size.
"""

import os
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from time import perf_counter

import pytest
from django.db import connection

from fleet.machines.models import Machine, Placement, SetUp, Site
from fleet.sales.models import Agreement
from people.models import Person
from service.compliance.actions import tax_rules
from service.compliance.models import SiteJurisdiction
from service.compliance.statements import run_statements
from tests.bench.bench_tax import BARE, INTERVALS, LINES, as_replica, goods
from tests.service.compliance.taxed import rate
from tests.world import World

pytestmark = [pytest.mark.bench, pytest.mark.django_db(transaction=True)]
SITES = int(os.environ.get("SITES", "2000"))
COLUMNS, READS = 10, 10
BEGIN = datetime(2026, 1, 30, 12, tzinfo=UTC)
MOST_S = 30
TERMS = {
    "shares": {"other_food": "5"},
    "steps": [["0", "8"], ["200", "12"], ["400", "15"]],
    "marginal": True,
    "minimum": "25",
    "base": ["refunds", "tax"],
}


def make(world: World, owner: Person) -> None:
    tax_rules.load_packs(states=["FL"], actor=owner, now=world.now)
    rate("FL", "state", "0.06", owner, world.now)
    county = rate("FL-00-00011", "county", "0.01", owner, world.now)
    kind, sold = world.kind(), goods(world)
    long_ago = BEGIN - timedelta(days=400)
    sites = Site.objects.bulk_create(Site(name=f"Site {n}", state="FL") for n in range(SITES))
    SiteJurisdiction.objects.bulk_create(
        SiteJurisdiction(site=site, jurisdiction=county) for site in sites
    )
    machines = Machine.objects.bulk_create(
        Machine(kind=kind, asset_tag=f"B-{n}") for n in range(SITES)
    )
    Placement.objects.bulk_create(
        Placement(machine=machine, site=site, starts_at=long_ago)
        for machine, site in zip(machines, sites, strict=True)
    )
    Agreement.objects.bulk_create(
        Agreement(site=site, starts_on=date(2026, 1, 1), terms=TERMS) for site in sites
    )
    with as_replica(), connection.cursor() as cursor:
        SetUp.objects.bulk_create(
            SetUp(
                column_id=machine.pk * 1000 + column,
                product=sold[(machine.pk + column) % len(sold)],
                deep=1,
                capacity=10,
                price=Decimal("1.75"),
                starts_at=long_ago,
                front_setting=5,
                source="found",
            )
            for machine in machines
            for column in range(COLUMNS)
        )
        arguments = {
            "begin": BEGIN,
            "each": timedelta(days=3),
            "currency": "",
            "reads": READS,
            "dearer": BEGIN + timedelta(days=20),
        }
        cursor.execute(INTERVALS, arguments)
        cursor.execute(LINES, arguments)
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE sales_machineinterval, sales_saleinterval, machines_setup")


def test_the_statements_of_all_sites_take_less_than_half_a_minute(
    world: World, owner: Person
) -> None:
    make(world, owner)
    begun = perf_counter()
    with connection.cursor() as cursor:
        cursor.execute(BARE, [datetime(2026, 2, 1, tzinfo=UTC), datetime(2026, 3, 1, tzinfo=UTC)])
        cursor.fetchall()
    bare = perf_counter() - begun
    begun = perf_counter()
    made = run_statements(
        rhythm="monthly",
        day=date(2026, 2, 10),
        actor=owner,
        now=datetime(2026, 3, 2, 14, tzinfo=UTC),
    )
    took = perf_counter() - begun
    print(f"\n{SITES} statements in {took:.1f} s; the bare sum alone {bare:.2f} s")
    assert len(made) == SITES
    assert all(one.amount >= Decimal(25) and one.receipts > 0 for one in made)
    assert took < MOST_S
