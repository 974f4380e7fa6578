"""Acts at a machine of ten columns through the API, beside a bare transaction of the same rows.

Run by name: `pytest tests/bench/bench_road.py -s -n 0`. The bare transaction is taken in by a door
of the same framework, without sign-in or policy. It gets nothing to read, checks nothing and locks
nothing: it inserts by the same ORM the rows that one act left (the act, its movement with lines or
its counts, links, audit entries) under new keys, and sets the levels. What the same transaction
takes without any request is told beside it. The server of the tests does not wait for the disk,
which a real one does at the end of both.
"""

import statistics
from decimal import Decimal
from time import perf_counter
from typing import Any

import pytest
from django.db import models, transaction
from django.test import Client
from django.urls import path
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config import urls as all_urls
from fleet.inventory.actions import counts, places
from fleet.inventory.models import CountLine, Movement, MovementLine, StockCount, StockLevel
from fleet.machines.actions import kinds
from fleet.machines.models import Machine
from people.models import AuditEntry
from service.runs.models import RoadAct, Stop
from tests.callers import Caller
from tests.service.runs.roadwork import RoadWork, clock
from tests.world import stack

pytestmark = [pytest.mark.bench, pytest.mark.django_db(transaction=True)]

COLUMNS = 10
TIMES = 100
WARM = 10
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


class Bare:
    """What the bare door writes for each request."""

    rows: Rows = {}
    levels: list[int] = []
    number = 0


class BareDoor(APIView):
    authentication_classes = permission_classes = throttle_classes = ()

    def post(self, request: Request) -> Response:
        write()
        return Response(request.data)


@pytest.fixture
def addresses(settings: Any) -> None:
    class Addresses:
        urlpatterns = [path("bare", BareDoor.as_view(), name="bare"), *all_urls.urlpatterns]

    settings.ROOT_URLCONF = Addresses
    # The bare door has no row in the policy, which the middleware would rightly refuse.
    settings.MIDDLEWARE = [m for m in settings.MIDDLEWARE if m != "people.doors.PolicyMiddleware"]
    settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"]["person"] = "100000/min"


def test_an_act_at_a_machine_is_quick(work: RoadWork, addresses: None, as_driver: Caller) -> None:
    machine = _machine(work)
    stop = work.stop(work.out(machine), machine)
    work.stock(work.cola, 100_000)
    body = {"at": clock(8).isoformat()}
    assert as_driver.post(f"/road/stops/{stop.pk}/arrive", body, key="a").status_code == 200
    columns = list(machine.columns.order_by("pk"))
    counts.count_columns(
        counts=[counts.ColumnCount(column, 1) for column in columns],
        actor=work.owner,
        counted_at=clock(8),
        now=clock(8),
    )
    held = [work.truck, *places.column_places(columns).values()]
    Bare.levels = list(StockLevel.objects.filter(place__in=held).values_list("pk", flat=True))
    fills = [{"column": column.pk, "product": work.cola.pk, "quantity": 1} for column in columns]
    counted = [[{"column": column.pk, "count": n} for column in columns] for n in (3, 4)]
    ratios = {}
    for verb, lines in (("fill", [fills, fills]), ("count", counted)):
        before = {model: _newest(model) for model in WRITTEN}
        _act(as_driver, stop, verb, lines[0], 0)
        Bare.rows = _since(before)
        ours, door, alone = [], [], []
        for number in range(1, WARM + TIMES):  # in turn, so that all meet the same weather
            ours.append(_act(as_driver, stop, verb, lines[number % 2], number))
            door.append(_bare(lines[number % 2]))
            started = perf_counter()
            write()
            alone.append(perf_counter() - started)
        ratios[verb] = _p95(ours) / _p95(door)
        told = ", ".join(
            f"{what} {_p95(took):.1f} ms (median {statistics.median(took[WARM:]) * 1e3:.1f})"
            for what, took in (("p95", ours), ("bare door", door), ("bare alone", alone))
        )
        written = sum(len(found) for found in Bare.rows.values())
        print(f"\n{verb}, {written} rows: {told}; {ratios[verb]:.1f} times the bare door")
    assert all(ratio <= MOST_TIMES_BARE for ratio in ratios.values()), ratios


def _machine(work: RoadWork) -> Machine:
    kind = kinds.save_kind(
        changes={"name": "ten columns"},
        programs=[{"name": "stop", "deep": 2, "cycle_s": Decimal(18), "run_on_s": Decimal(0)}],
        positions=[stack(str(number)) for number in range(1, COLUMNS + 1)],
        actor=work.owner,
        now=work.world.now,
    )
    site = work.machines[0].placements.get().site
    machine = work.world.machine("TEN-1", kind, site=site)
    stop = kind.programs.get()
    for number in range(1, COLUMNS + 1):
        column = work.world.column(machine, str(number))
        work.world.set_up(column, work.cola, deep=2, front_setting=20, program=stop)
    return machine


def write() -> None:
    """The rows once more, each under a new key of the database, those that name it following."""
    given: dict[tuple[type[models.Model], int], int] = {}
    Bare.number += 1
    with transaction.atomic():
        for model, found in Bare.rows.items():
            for key, values in found:
                row = model(**values)
                if isinstance(row, RoadAct):
                    row.key = f"bare-{Bare.number}"
                for column in model._meta.concrete_fields:
                    if column.is_relation:
                        named = (column.related_model, getattr(row, column.attname))
                        if named in given:
                            setattr(row, column.attname, given[named])
                row.save(force_insert=True)
                given[model, key] = row.pk
        for level in Bare.levels:
            StockLevel.objects.filter(pk=level).update(quantity=100_000)


def _act(caller: Caller, stop: Stop, verb: str, lines: Any, number: int) -> float:
    at = clock(9, number // 60 % 60, number % 60).isoformat()
    body = {"at": at, "lines": lines}
    started = perf_counter()
    answer = caller.post(f"/road/stops/{stop.pk}/{verb}", body, key=f"{verb}-{number}")
    took = perf_counter() - started
    assert answer.status_code == 200, answer.content
    return took


def _bare(lines: Any) -> float:
    client, body = Client(), {"at": clock(9).isoformat(), "lines": lines}
    started = perf_counter()
    answer = client.post("/bare", body, content_type="application/json")
    took = perf_counter() - started
    assert answer.status_code == 200, answer.content
    return took


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
    return statistics.quantiles(times[WARM:], n=20)[-1] * 1e3
