"""A whole refit, rows read and written, beside the bare kernel and the bare traffic of its rows.

Run by name: `pytest tests/bench/bench_refit.py -m bench -s -n 0`. The work: columns of machines of
12, each read once a week for 90 days, fitted as one part. The kernel is `fit` alone on the arrays.
The bare traffic is COPY of the very sales out (as text, to nowhere) and COPY of the very demand in,
into the same table with the same rules. Scoring and needs are measured beside it, and told apart.
COLUMNS_FITTED in the environment sets how many columns; 120000 is the nightly goal.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from time import perf_counter
from typing import TypeVar
from zoneinfo import ZoneInfo

import pytest
from django.db import connection, transaction

from fleet.demand import fitting, scoring
from fleet.demand.actions.needs import work_out_needs
from fleet.demand.models import ColumnDemand, FitRun
from fleet.machines.models import Machine
from people.bulk import copy_values
from tests.world import World, stack

pytestmark = [pytest.mark.bench, pytest.mark.django_db(transaction=True)]

COLUMNS = int(os.environ.get("COLUMNS_FITTED", "12000"))
IN_A_MACHINE = 12
DAYS, EVERY = 90, 7
MOST_TIMES = 4.0
# Machines whose needs are measured: what a column costs does not hang on how many there are.
NEEDS_OF = 500
Result = TypeVar("Result")
NOW = datetime(2026, 3, 2, 14, tzinfo=UTC)
ZONE = ZoneInfo("America/New_York")


def test_a_refit_costs_little_more_than_its_kernel_and_its_rows(world: World) -> None:
    machines = _fleet(world)
    run = FitRun.objects.create(day=NOW.date(), started_at=NOW)

    known, reading = _timed(lambda: fitting.known(machines, now=NOW, history_days=365, zone=ZONE))
    assert known is not None
    assert len(known.held.columns) == COLUMNS
    found, fitting_s = _timed(lambda: fitting.fitted(known, history_days=365))

    def write() -> None:
        rows = fitting.rows_of(known, found, run_id=run.pk, day=NOW.date(), now=NOW)
        with transaction.atomic():
            ColumnDemand.objects.filter(column__machine__in=machines).delete()
            copy_values(ColumnDemand, fitting.NAMES, rows)

    _, writing = _timed(write)
    assert ColumnDemand.objects.count() == COLUMNS
    kernel = fitting_s
    bare_out, bare_in = _bare_reading(machines), _bare_writing()
    whole, bare = reading + fitting_s + writing, kernel + bare_out + bare_in
    _, scoring_s = _timed(lambda: scoring.scores(known, run_id=0, history_days=365))
    some = machines[:NEEDS_OF]
    _, needs_s = _timed(lambda: work_out_needs(machines=some, run=run, now=NOW))
    print(
        f"\n{COLUMNS} columns, {len(known.sales)} intervals: read {reading:.2f} s, "
        f"fit {fitting_s:.2f} s, write {writing:.2f} s = {whole:.2f} s; bare kernel "
        f"{kernel:.2f} s, COPY out {bare_out:.2f} s, COPY in {bare_in:.2f} s = {bare:.2f} s; "
        f"{whole / bare:.2f} times. Beside it: scored {scoring_s:.2f} s, needs of "
        f"{len(some) * IN_A_MACHINE} columns {needs_s:.2f} s"
    )
    assert whole <= MOST_TIMES * bare


def _timed(work: Callable[[], Result]) -> tuple[Result, float]:
    started = perf_counter()
    return work(), perf_counter() - started


def _bare_reading(machines: list[int]) -> float:
    """Seconds for COPY of the columns of the lines that the fit needs, joined to their times."""
    sql = """COPY (SELECT l.column_id, i.starts_at, i.ends_at, l.paid_units, l.ran_dry
             FROM sales_machineinterval i JOIN sales_saleinterval l ON l.interval_id = i.id
             WHERE i.machine_id = ANY(%s)) TO STDOUT"""
    started = perf_counter()
    with connection.cursor() as cursor, cursor.cursor.copy(sql, [machines]) as stream:
        for _ in stream:
            pass
    return perf_counter() - started


def _bare_writing() -> float:
    """Seconds for COPY of the very rows just written into the emptied table."""
    table = ColumnDemand._meta.db_table
    with connection.cursor() as cursor:
        with cursor.cursor.copy(f"COPY {table} TO STDOUT") as stream:
            text = b"".join(bytes(block) for block in stream)
        cursor.execute(f"DELETE FROM {table}")  # noqa: S608
    started = perf_counter()
    with (
        transaction.atomic(),
        connection.cursor() as cursor,
        cursor.cursor.copy(f"COPY {table} FROM STDIN") as stream,
    ):
        stream.write(text)
    return perf_counter() - started


def _fleet(world: World) -> list[int]:
    """Machines with set-ups and intervals, by the database itself: their making is not measured."""
    kind = world.kind()
    position = kind.positions.first()
    positions = [
        type(position).objects.create(kind=kind, order=n, **stack(f"B{n}"))
        for n in range(IN_A_MACHINE)
    ]
    products = [world.product(f"Product {n}", world.can(f"can {n}")) for n in range(40)]
    site = world.site()
    many = COLUMNS // IN_A_MACHINE
    machines = Machine.objects.bulk_create(
        Machine(asset_tag=f"B-{n}", kind=kind) for n in range(many)
    )
    keys = [machine.pk for machine in machines]
    start = NOW - timedelta(days=DAYS)
    given = {
        "machines": keys,
        "positions": [one.pk for one in positions],
        "products": [one.pk for one in products],
        "site": site.pk,
        "start": start,
        "since": start - timedelta(days=30),
        "reads": DAYS // EVERY,
        "every": timedelta(days=EVERY),
    }
    with connection.cursor() as cursor:
        for statement in _MADE:
            cursor.execute(statement, given)
        cursor.execute("ANALYZE")
    return keys


_MADE = (
    """INSERT INTO machines_placement (machine_id, site_id, spot, starts_at)
       SELECT m, %(site)s, '', %(since)s FROM unnest(%(machines)s::bigint[]) m""",
    """INSERT INTO machines_column (machine_id, position_id)
       SELECT m, p FROM unnest(%(machines)s::bigint[]) m, unnest(%(positions)s::bigint[]) p""",
    """INSERT INTO machines_setup (deep, price, orientation, capacity, source, starts_at, column_id,
                                  product_id)
       SELECT 2, 1.75, 'cap_outward', 30, 'found', %(since)s, c.id,
              (%(products)s::bigint[])[1 + (c.id * 7919) %% 40]
       FROM machines_column c WHERE c.machine_id = ANY(%(machines)s)""",
    # Reads of their own would be files; without the triggers of foreign keys none are asked for.
    "SET session_replication_role = replica",
    """INSERT INTO sales_machineinterval (starts_at, ends_at, machine_id, from_read_id, to_read_id,
           currency, exponent, other_figures, quality, sum_agrees, why_not, devices,
           awaits_decision, warnings)
       SELECT %(start)s::timestamptz + n * %(every)s::interval,
              %(start)s::timestamptz + (n + 1) * %(every)s::interval,
              m, m * 1000 + n, m * 1000 + n + 1, 'USD', 2, '{}', 'good', true, '[]', '[]', false,
              '[]'
       FROM unnest(%(machines)s::bigint[]) m, generate_series(0, %(reads)s - 1) n""",
    """INSERT INTO sales_saleinterval (interval_id, column_id, set_up_id, selection_code, ordinal,
           is_unassigned, spans_set_ups, is_share, share_said, ran_dry, evidence, how, paid_units,
           paid_minor, cash_units, cashless_units)
       SELECT i.id, c.id, s.id, '', 1, false, false, false, '',
              CASE WHEN random() < 0.1 THEN 'strong' ELSE '' END, '[]', '{}', u.n, u.n * 175,
              u.n / 2, u.n - u.n / 2
       FROM sales_machineinterval i
       JOIN machines_column c ON c.machine_id = i.machine_id
       JOIN machines_setup s ON s.column_id = c.id,
       LATERAL (SELECT floor((0.5 + (c.id %% 23)) * (0.5 + random()))::int AS n) u""",
    "SET session_replication_role = DEFAULT",
)
