"""When somebody comes to a machine again: by an agreed run, else by the rhythm of its visits."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from fleet.demand.gaps import next_visits
from fleet.demand.models import DemandRules
from people.models import Business

from ..models import Run, Stop


@dataclass(frozen=True)
class VisitAhead:
    """The day of the next visit; `stop` is on an agreed run, None where only the rhythm tells."""

    on: date
    stop: Stop | None


def stops_ahead(machines: Iterable[int]) -> dict[int, Stop]:
    """The next stop of each machine on a run that is agreed and still to be driven. One query."""
    found: dict[int, Stop] = {}
    rows = Stop.objects.filter(
        machine__in=list(machines), state=Stop.State.PLANNED, run__agreed=True
    ).exclude(run__state=Run.State.ENDED)
    for stop in rows.select_related("run__driver").order_by("run__date", "planned_arrive", "pk"):
        found.setdefault(stop.machine_id, stop)
    return found


def visits_ahead(machines: Iterable[int], *, now: datetime) -> dict[int, VisitAhead]:
    """The next visit to each machine. A stop of a day that is over tells of none. Four queries."""
    keys = sorted(set(machines))
    if not keys:
        return {}
    today = Business.the().day_of(now)
    stops = {key: stop for key, stop in stops_ahead(keys).items() if stop.run.date >= today}
    rhythm = next_visits(keys, now=now, usual=DemandRules.the().usual_gap_days)
    return {
        key: VisitAhead(stops[key].run.date if key in stops else rhythm[key], stops.get(key))
        for key in keys
    }
