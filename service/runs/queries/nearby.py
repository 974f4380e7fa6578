"""Planned maintenance that is due at the stops of a run, or close to them."""

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.machines.models import Machine, Placement, Site
from service.compute.routing.travel import Place, great_circle_m
from service.upkeep.models import DueWork
from service.upkeep.queries.due import near

from ..models import Run, Stop

NEAR_M = 3000
"""Further off the way than this, in a straight line from a stop, it is not offered. Assumed."""
MOST = 8


@dataclass(frozen=True)
class CloseBy:
    """Work that is due at a machine on nobody's run, so far from the nearest stop of this one."""

    machine: Machine
    site: Site
    turns: Sequence[DueWork]
    from_stop: str
    metres: int


def due_around(stops: Sequence[Stop], run: Run) -> tuple[dict[int, list[DueWork]], list[CloseBy]]:
    """What is due at the machines of a run's stops, by machine; and near the stops that are still
    to come, at machines that nobody visits that day, the nearest first. Two queries.

    `stops` come with their machines and sites.
    """
    visited = Stop.objects.filter(run__date=run.date, run__agreed=True).values("machine")
    standing = list(
        Placement.objects.filter(
            ends_at__isnull=True,
            site__purpose=Site.Purpose.HOST,
            site__latitude__isnull=False,
            machine__status=Machine.Status.IN_SERVICE,
        )
        .exclude(machine__in=visited)
        .select_related("machine", "site")
        .order_by("machine__asset_tag", "pk")
    )
    mine = {stop.machine_id for stop in stops}
    due = near([*mine, *(one.machine_id for one in standing)], run.date)
    at_stops = {machine: turns for machine, turns in due.items() if machine in mine}
    ahead = [
        stop
        for stop in stops
        if stop.state == Stop.State.PLANNED and stop.site.latitude is not None
    ]
    if not ahead or not run.agreed:
        return at_stops, []
    return at_stops, _close_by(ahead, [one for one in standing if one.machine_id in due], due)


def _close_by(
    ahead: Sequence[Stop], standing: Sequence[Placement], due: dict[int, list[DueWork]]
) -> list[CloseBy]:
    found = []
    for one in standing:
        if one.site is None:
            continue
        here = _place(one.site)
        metres, stop = min(
            ((great_circle_m(here, _place(stop.site)), stop) for stop in ahead),
            key=lambda pair: (pair[0], pair[1].sequence),
        )
        if metres <= NEAR_M:
            turns = due[one.machine_id]
            found.append(
                CloseBy(one.machine, one.site, turns, stop.machine.asset_tag, round(metres))
            )
    return sorted(found, key=lambda one: (one.metres, one.machine.asset_tag))[:MOST]


def _place(site: Site) -> Place:
    return Place(float(site.latitude or 0), float(site.longitude or 0))
