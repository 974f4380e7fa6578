"""A driver's day as the driver reads it: runs, stops with their columns, loads, changeovers."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any

from django.db.models import QuerySet

from fleet.demand.models import ColumnNeed
from fleet.machines.models import Changeover, Column
from people.models import Person

from ..models import LoadLine, Run, Stop
from .gates import runs_seen_by
from .holdings import columns_now, truck_now

OPEN = (Changeover.State.PLANNED, Changeover.State.IN_HAND)


def my_runs(person: Person, day: date) -> "QuerySet[Run]":
    """The runs that a person drives on a day."""
    return runs_seen_by(person).filter(driver=person, date=day, agreed=True).order_by("pk")


def sheet(run: Run) -> dict[str, Any]:
    """The whole run for a device that may be without a signal all day. Queries do not grow with
    its stops."""
    stops = list(
        Stop.objects.filter(run=run)
        .select_related("machine__kind", "site", "visit")
        .order_by("sequence", "pk")
    )
    return {"run": run, "stops": _stops(run, stops), "truck": truck_now(run)}


def stop_sheet(stop: Stop) -> dict[str, Any]:
    """One stop with its columns, what is packed for it, and the changeovers open there."""
    return _stops(stop.run, [stop])[0]


def _stops(run: Run, stops: Sequence[Stop]) -> list[dict[str, Any]]:
    machines = {stop.machine_id for stop in stops}
    of_machine: dict[int, list[int]] = defaultdict(list)
    for pk, machine in Column.objects.filter(machine__in=machines).values_list("pk", "machine"):
        of_machine[machine].append(pk)
    columns = {
        one["column"]: one for one in columns_now(pk for keys in of_machine.values() for pk in keys)
    }
    for need in ColumnNeed.objects.filter(column__in=columns):
        one = columns[need.column_id]
        # A need of what the column held before its changeover says nothing of what it holds now.
        if need.product_id == one["product"]:
            one["expected"] = round(need.stock_expected)
            one["fill_to"] = need.fill_to
            one["pull_units"] = need.pull_units
    packed: dict[int, list[LoadLine]] = defaultdict(list)
    lines = LoadLine.objects.filter(run=run, stop__in=[stop.pk for stop in stops])
    for line in lines.select_related("product"):
        packed[line.stop_id or 0].append(line)
    changes: dict[int, list[Changeover]] = defaultdict(list)
    for changeover in Changeover.objects.filter(
        column__machine__in=machines, state__in=OPEN, plan__planned_for__lte=run.date
    ).select_related("product", "column__position"):
        changes[changeover.column.machine_id].append(changeover)
    for one in columns.values():
        one.setdefault("expected", None)
        one.setdefault("fill_to", None)
        one.setdefault("pull_units", 0)
    return [
        {
            "stop": stop,
            "columns": [
                one for key, one in columns.items() if key in set(of_machine[stop.machine_id])
            ],
            "packed": packed[stop.pk],
            "changeovers": changes[stop.machine_id],
        }
        for stop in stops
    ]
