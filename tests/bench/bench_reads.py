"""Audit files from bytes to committed intervals, beside COPY of the very rows that come of them.

Run by name: `pytest tests/bench/bench_reads.py -s -n 0`. The baseline is PostgreSQL's own COPY, in
one transaction, of the same rows into the same tables with the same rules, from text made before.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from time import perf_counter

import pytest
from django.db import connection, transaction

from demo.books import Books
from demo.business import marrowby
from demo.simulator import simulate
from fleet.sales.files import FoundFile
from fleet.sales.many import receive_many
from fleet.sales.models import (
    AuditRead,
    EventOccurrence,
    MachineEvent,
    MachineInterval,
    SaleInterval,
)
from people.models import AuditEntry

pytestmark = [pytest.mark.bench, pytest.mark.django_db(transaction=True)]

UNTIL = date(2026, 3, 1)
NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)
MACHINES = 24
WEEKS = 5
LEAST_FILES_A_SECOND = 150
MOST_TIMES_COPY = 6
TABLES = (AuditRead, MachineInterval, SaleInterval, MachineEvent, EventOccurrence)


def test_reading_files_in_is_quick() -> None:
    business = marrowby(UNTIL)
    # The stranger's set-ups are those of a machine near the end.
    kept = {m.asset_tag for m in (*business.machines[: MACHINES - 12], *business.machines[-12:])}
    business = replace(
        business,
        machines=tuple(m for m in business.machines if m.asset_tag in kept),
        set_ups=tuple(s for s in business.set_ups if s.asset_tag in kept),
    )
    Books(business, NOW).write()
    entries_before = AuditEntry.objects.count()
    files = [
        FoundFile(file.name, file.data, file.delivered_at)
        for file in simulate(business, UNTIL, WEEKS)
    ]
    started = perf_counter()
    outcomes = receive_many(files=files, source="command", now=NOW)
    took = perf_counter() - started
    assert sum(outcome.result == "accepted" for outcome in outcomes) > 0.9 * len(files)
    copied, rows = _copy_again(entries_before)
    rate, times = len(files) / took, took / copied
    print(
        f"\n{len(files)} files, {sum(len(f.data) for f in files) / len(files):.0f} bytes each, "
        f"{rows} rows: {took:.2f} s, {rate:.0f} files/s; "
        f"bare COPY of the rows {copied:.2f} s; {times:.1f} times COPY"
    )
    assert rate >= LEAST_FILES_A_SECOND
    assert times <= MOST_TIMES_COPY


def _copy_again(entries_before: int) -> tuple[float, int]:
    """Seconds that COPY takes for the rows just written, and how many they are."""
    entries = (
        f"(SELECT * FROM {AuditEntry._meta.db_table} "  # noqa: S608
        f"WHERE object_type = 'sales.AuditRead')"
    )
    texts: list[tuple[str, bytes]] = []
    with connection.cursor() as cursor:
        for model in TABLES:
            table = model._meta.db_table
            texts.append((table, _text(cursor, table)))
        texts.append((AuditEntry._meta.db_table, _text(cursor, entries)))
        rows = sum(text.count(b"\n") for _, text in texts)
        assert AuditEntry.objects.count() > entries_before
        for model in reversed(TABLES):
            cursor.execute(f"TRUNCATE {model._meta.db_table} CASCADE")
        # Entries are never deleted; the copies get keys of their own.
        texts[-1] = (texts[-1][0], _with_new_keys(texts[-1][1]))
    started = perf_counter()
    with transaction.atomic(), connection.cursor() as cursor:
        for table, text in texts:
            with cursor.cursor.copy(f"COPY {table} FROM STDIN") as stream:
                stream.write(text)
    return perf_counter() - started, rows


def _text(cursor: object, what: str) -> bytes:
    with cursor.cursor.copy(f"COPY {what} TO STDOUT") as stream:  # type: ignore[attr-defined]
        return b"".join(bytes(block) for block in stream)


def _with_new_keys(text: bytes) -> bytes:
    lines = (line.split(b"\t", 1) for line in text.splitlines())
    return b"".join(b"%d\t%s\n" % (int(key) + 1_000_000, rest) for key, rest in lines)
