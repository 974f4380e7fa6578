"""Acts at a machine through the API beside a bare transaction that writes the same rows.

Run by name: `pytest tests/bench/bench_road.py -s -n 0`. The baseline sends no request: it inserts
the rows that one act left (the act, its movement with lines, levels, audit entries, links) again by
the same ORM, one transaction for each act, with the keys they need already known. It checks
nothing, reads nothing and locks nothing.
"""

import statistics
from time import perf_counter
from typing import Any

import pytest
from django.db import models, transaction

from fleet.inventory.actions import places
from fleet.inventory.models import CountLine, Movement, MovementLine, StockCount, StockLevel
from people.models import AuditEntry
from service.runs.models import RoadAct, Stop
from tests.callers import Caller
from tests.service.runs.roadwork import RoadWork, clock, count_all

pytestmark = [pytest.mark.bench, pytest.mark.django_db(transaction=True)]

TIMES = 150
WARM = 20
MOST_TIMES_BARE = 4.0
Rows = dict[type[models.Model], list[tuple[int, dict[str, Any]]]]
WRITTEN: tuple[type[models.Model], ...] = (
    Movement,
    MovementLine,
    StockCount,
    CountLine,
    RoadAct,
    RoadAct.movements.through,
    RoadAct.counts.through,
    AuditEntry,
)


def test_an_act_at_a_machine_is_quick(work: RoadWork, as_driver: Caller) -> None:
    count_all(work, 1, clock(5))
    run = work.out()
    stop = work.stop(run)
    work.stock(work.cola, 100_000)
    work.stock(work.tea, 100_000)
    body = {"at": clock(8).isoformat()}
    assert as_driver.post(f"/road/stops/{stop.pk}/arrive", body, key="a").status_code == 200
    for verb, lines in (
        ("fill", lambda n: _fill(work, 1 + n % 2)),
        ("count", lambda n: _counts(work, 3 + n % 2)),
    ):
        before = {model: _newest(model) for model in WRITTEN}
        _post(as_driver, stop, verb, lines(0), -1)
        rows = _since(before)
        levels = list(
            StockLevel.objects.filter(place__in=_places(work)).values_list("pk", flat=True)
        )
        acted = [
            _post(as_driver, stop, verb, lines(number), number) for number in range(WARM + TIMES)
        ][WARM:]
        bare = [_bare(rows, number, verb, levels) for number in range(WARM + TIMES)][WARM:]
        ours, theirs = _p95(acted), _p95(bare)
        written = sum(len(found) for found in rows.values())
        print(
            f"\n{verb}: p95 {ours * 1e3:.1f} ms (median {statistics.median(acted) * 1e3:.1f}); "
            f"bare transaction of its {written} rows {theirs * 1e3:.1f} ms (median "
            f"{statistics.median(bare) * 1e3:.1f}); {ours / theirs:.1f} times"
        )
        assert ours <= MOST_TIMES_BARE * theirs, verb


def _post(caller: Caller, stop: Stop, verb: str, lines: Any, number: int) -> float:
    at = clock(9, (number + 1) // 60 % 60, (number + 1) % 60).isoformat()
    body = {"at": at, "lines": lines}
    started = perf_counter()
    answer = caller.post(f"/road/stops/{stop.pk}/{verb}", body, key=f"{verb}-{number}")
    took = perf_counter() - started
    assert answer.status_code == 200, answer.content
    return took


def _fill(work: RoadWork, quantity: int) -> list[dict[str, int]]:
    return [
        {"column": column.pk, "product": product.pk, "quantity": quantity}
        for column, product in _columns(work)
    ]


def _counts(work: RoadWork, units: int) -> list[dict[str, int]]:
    return [{"column": column.pk, "count": units} for column, _ in _columns(work)]


def _places(work: RoadWork) -> list[int]:
    columns = places.column_places(column for column, _ in _columns(work))
    return [work.truck.pk, *(place.pk for place in columns.values())]


def _columns(work: RoadWork) -> list[tuple[Any, Any]]:
    machine = work.machines[0]
    return [
        (work.world.column(machine, "1"), work.cola),
        (work.world.column(machine, "2"), work.tea),
    ]


def _bare(rows: Rows, number: int, verb: str, levels: list[int]) -> float:
    """The rows once more, each under a new key of the database, those that name it following."""
    fresh = {model: [model(**values) for _, values in found] for model, found in rows.items()}
    for act in fresh[RoadAct]:
        act.key = f"bare-{verb}-{number}"  # type: ignore[attr-defined]
    given: dict[tuple[type[models.Model], int], int] = {}
    started = perf_counter()
    with transaction.atomic():
        for model, found in rows.items():
            for row, (key, _) in zip(fresh[model], found, strict=True):
                for column in model._meta.concrete_fields:
                    if column.is_relation:
                        named = (column.related_model, getattr(row, column.attname))
                        if named in given:
                            setattr(row, column.attname, given[named])
                row.save(force_insert=True)
                given[model, key] = row.pk
        for level in levels:
            StockLevel.objects.filter(pk=level).update(quantity=models.F("quantity"))
    return perf_counter() - started


def _since(before: dict[type[models.Model], int]) -> Rows:
    found: Rows = {}
    for model in WRITTEN:
        columns = [c for c in model._meta.concrete_fields if not c.primary_key]
        found[model] = [
            (row.pk, {column.attname: getattr(row, column.attname) for column in columns})
            for row in model._base_manager.filter(pk__gt=before[model]).order_by("pk")
        ]
    return found


def _newest(model: type[models.Model]) -> int:
    return model._base_manager.aggregate(newest=models.Max("pk"))["newest"] or 0


def _p95(times: list[float]) -> float:
    return statistics.quantiles(times, n=20)[-1]
