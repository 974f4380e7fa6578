"""What an act answers: how things stand after it, so that a device need ask for nothing more."""

from datetime import datetime
from typing import TYPE_CHECKING, Any

from ...models import Run, Stop, Visit
from ...queries.holdings import columns_now, truck_now

if TYPE_CHECKING:
    from .core import Doing


def about(doing: "Doing") -> dict[str, Any]:
    """The whole answer as plain JSON values."""
    act = doing.act
    return {
        "verb": str(act.verb),
        "at": plain(act.client_at),
        "recorded_at": plain(act.server_at),
        "clock_off_s": act.clock_off_s,
        "flags": act.flags,
        "run": _run(doing.run),
        "stop": None if doing.stop is None else _stop(doing.stop),
        "visit": None if doing.visit is None else _visit(doing.visit),
        "columns": columns_now(doing.columns),
        "truck": truck_now(doing.run),
        **doing.more,
    }


def _run(run: Run) -> dict[str, Any]:
    return {
        "id": run.pk,
        "state": str(run.state),
        "started_at": plain(run.started_at),
        "ended_at": plain(run.ended_at),
    }


def _stop(stop: Stop) -> dict[str, Any]:
    return {
        "id": stop.pk,
        "sequence": stop.sequence,
        "machine": stop.machine_id,
        "asset_tag": stop.machine.asset_tag,
        "state": str(stop.state),
        "skipped_because": stop.skipped_because,
    }


def _visit(visit: Visit) -> dict[str, Any]:
    return {
        "id": visit.pk,
        "arrived_at": plain(visit.arrived_at),
        "arrival_told": visit.arrival_told,
        "left_at": plain(visit.left_at),
    }


def plain(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat().replace("+00:00", "Z")
