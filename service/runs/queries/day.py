"""A driver's day as the driver reads it: runs, stops with their columns, loads, changeovers."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Max, QuerySet

from fleet.demand.models import ColumnNeed
from fleet.inventory.models import Movement, MovementLine, StockCount
from fleet.machines.models import Changeover, Column
from fleet.sales import stock
from people.models import Person

from ..models import LoadLine, Run, Stop
from .gates import runs_seen_by
from .holdings import columns_now, truck_now

OPEN = (Changeover.State.PLANNED, Changeover.State.IN_HAND)
BY_HAND = (
    Movement.Reason.FILL,
    Movement.Reason.REMOVAL,
    Movement.Reason.WASTE,
    Movement.Reason.COUNT,
    Movement.Reason.CORRECTION,
)
"""Movements by which people change what a column holds, or put its record right."""
LATELY = timedelta(days=1)
"""What was told within it counts for a column whose need was not worked out."""


def my_runs(person: Person, day: date) -> "QuerySet[Run]":
    """The runs that a person drives on a day."""
    return runs_seen_by(person).filter(driver=person, date=day, agreed=True).order_by("pk")


def sheet(run: Run, *, now: datetime) -> dict[str, Any]:
    """The whole run for a device that may be without a signal all day. Queries do not grow with
    its stops."""
    stops = list(
        Stop.objects.filter(run=run)
        .select_related("machine__kind", "site", "visit")
        .order_by("sequence", "pk")
    )
    return {"run": run, "stops": _stops(run, stops, now), "truck": truck_now(run)}


def stop_sheet(stop: Stop, *, now: datetime) -> dict[str, Any]:
    """One stop with its columns, what is packed for it, and the changeovers open there."""
    return _stops(stop.run, [stop], now)[0]


def _stops(run: Run, stops: Sequence[Stop], now: datetime) -> list[dict[str, Any]]:
    machines = {stop.machine_id for stop in stops}
    of_machine: dict[int, list[int]] = defaultdict(list)
    for pk, machine in Column.objects.filter(machine__in=machines).values_list("pk", "machine"):
        of_machine[machine].append(pk)
    columns = {
        one["column"]: one for one in columns_now(pk for keys in of_machine.values() for pk in keys)
    }
    worked_out_at: dict[int, datetime] = {}
    for need in ColumnNeed.objects.filter(column__in=columns):
        one = columns[need.column_id]
        # A need of what the column held before its changeover says nothing of what it holds now.
        if need.product_id == one["product"]:
            one["expected"] = round(need.stock_expected)
            one["fill_to"] = need.fill_to
            one["pull_units"] = need.pull_units
            worked_out_at[need.column_id] = need.worked_out_at
    told = _told_since({key: worked_out_at.get(key, now - LATELY) for key in columns})
    for key, known in stock.estimate(told, now).items() if told else ():
        columns[key]["expected"] = round(known.expected)
        columns[key]["told_since"] = True
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
        one.setdefault("told_since", False)
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


def _told_since(worked_out_at: Mapping[int, datetime]) -> list[int]:
    """The columns that somebody counted, filled or emptied since their need was worked out.

    What was expected before says nothing of them any more. By when the service heard of it: an act
    of before that was told late was not reckoned with either.
    """
    columns = list(worked_out_at)
    lines = MovementLine.objects.filter(movement__reason__in=BY_HAND)
    told = (
        (StockCount.objects.filter(place__column__in=columns), "place__column", "recorded_at"),
        (lines.filter(to_place__column__in=columns), "to_place__column", "movement__recorded_at"),
        (
            lines.filter(from_place__column__in=columns),
            "from_place__column",
            "movement__recorded_at",
        ),
    )
    found: set[int] = set()
    for rows, column, moment in told:
        latest = rows.order_by().values_list(column).annotate(latest=Max(moment))
        found.update(key for key, heard_at in latest if heard_at > worked_out_at[key])
    return sorted(found)
