"""Sheets of a run for the wall and the dashboard: run sheet, load list, map; and as files."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from office.doors import PersonRequest, sent_as_file
from office.drawing.lanes import lanes
from people.exports import Table
from people.models import Business
from service.compliance.queries.recalls import open_for
from service.compliance.queries.temperatures import locks_of
from service.runs.actions import loading
from service.runs.days import day_of
from service.runs.models import Run
from service.runs.queries import day, gates, nearby
from service.runs.queries import load as load_list
from service.runs.queries.dispatch import tickets_at
from service.runs.queries.geo import stops_geojson
from service.runs.queries.planned import ShownRun, day_board, with_stops

from .runs import day_named, plan_named


def sheet(request: PersonRequest, pk: int) -> HttpResponse:
    """The run sheet: each stop with its hours, what to do there and why."""
    run = gates.run_for(request.user, pk)
    shown = _shown(run)
    at_stops = {one["stop"].pk: one for one in day.sheet(run, now=timezone.now())["stops"]}
    zone = Business.the().time_zone
    stops = [one.stop for one in shown.stops]
    due, close_by = nearby.due_around(stops, run)
    context = {
        "run": run,
        "shown": shown,
        "rows": [(one, at_stops[one.stop.pk]) for one in shown.stops],
        "due": due,
        "close_by": close_by,
        "tickets": tickets_at(stops),
        "food_locks": locks_of(stop.machine_id for stop in stops),
        "recalled": open_for([stop.machine_id for stop in stops]),
        "drawing": lanes([shown], zone, ident="lane", title=f"Run of {run.driver}"),
    }
    return render(request, "office/runs/sheet.html", context)


def load(request: PersonRequest, pk: int) -> HttpResponse:
    """The load list: packed by stop, and picked by product."""
    run = gates.run_for(request.user, pk)
    lines = load_list.lines_of(run)
    context = {
        "run": run,
        "by_stop": load_list.by_stop(run, lines),
        "by_product": load_list.by_product(run, lines),
        "is_picked": any(line.picked is not None for line in lines),
        "is_short": any(line.short for line in lines),
        "can_make": run.state not in (Run.State.OUT, Run.State.ENDED),
    }
    return render(request, "office/runs/load.html", context)


def make_load(request: PersonRequest, pk: int) -> HttpResponse:
    run = gates.run_for(request.user, pk)
    made = loading.make_load_list(run=run, actor=request.user, now=timezone.now())
    messages.success(request, f"The load list has {len(made)} lines.")
    return redirect("office:run-load-list", pk)


def export_load(request: PersonRequest, pk: int) -> HttpResponse:
    run = gates.run_for(request.user, pk)
    head = ["Stop", "Machine", "Site", "Column", "Product", "How it is known", "Wanted"]
    head += ["On the truck already", "Picked", "Short", "Taken in its place", "Units of that"]
    rows = [
        [
            line.stop.sequence if line.stop else None,
            line.stop.machine.asset_tag if line.stop else "",
            line.stop.site.name if line.stop else "",
            line.column.position.label if line.column else "",
            line.product.name,
            line.get_basis_display(),
            line.wanted,
            line.carried,
            line.picked,
            line.short,
            line.substitute.name if line.substitute else "",
            line.substituted or None,
        ]
        for line in load_list.lines_of(run)
    ]
    zone = Business.the().time_zone
    return sent_as_file(request, Table(f"load {run.date} {run.vehicle.name}", head, rows, zone))


def export_run(request: PersonRequest, pk: int) -> HttpResponse:
    run = gates.run_for(request.user, pk)
    head = ["Stop", "Machine", "Site", "State", "Planned arrival", "Planned leaving"]
    head += ["Arrived", "Left", "Must be visited", "Why"]
    rows = []
    for one in _shown(run).stops:
        stop = one.stop
        visit = getattr(stop, "visit", None)
        rows.append(
            [
                one.place,
                stop.machine.asset_tag,
                stop.site.name,
                stop.get_state_display(),
                stop.planned_arrive,
                stop.planned_leave,
                visit.arrived_at if visit else None,
                visit.left_at if visit else None,
                stop.must_go,
                stop.skipped_because or "; ".join(r.get("said", "") for r in stop.reasons),
            ]
        )
    zone = Business.the().time_zone
    return sent_as_file(request, Table(f"run {run.date} {run.vehicle.name}", head, rows, zone))


def on_map(request: PersonRequest, on: str) -> HttpResponse:
    """The runs of a day on a map, beside the same as a list."""
    shown = day_board(day_named(on), plan_named(request))
    context: dict[str, Any] = {
        "board": shown,
        "plan": shown.plan,
        "on": shown.day.date,
        "places": [
            {"name": f"{one.run.vehicle.name} · {one.run.driver}", **stops_geojson(one.run)}
            for one in shown.runs
        ],
        "tiles": settings.MAP_TILES,
        "credit": settings.MAP_CREDIT,
    }
    return render(request, "office/runs/map.html", context)


def _shown(run: Run) -> ShownRun:
    return with_stops([run], day_of(run.date))[0]
