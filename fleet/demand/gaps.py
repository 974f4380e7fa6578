"""How many days pass between two visits to a machine."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise
from statistics import median
from typing import Final

from django.db.models import Max
from django.db.models.functions import TruncDate

from fleet.inventory.models import StockCount
from people.models import Business

LOOKED_BACK: Final = timedelta(days=120)
#: Fewer visits tell no rhythm.
LEAST_VISITS: Final = 4
MOST_DAYS: Final = 60


def usual_gaps(machines: Sequence[int], *, now: datetime, usual: int) -> dict[int, int]:
    """Days between visits, as the counts of each machine's columns show; `usual` without. One
    query. The median is taken, so that a holiday does not stretch what is usual.
    """
    days: dict[int, list[int]] = {machine: [] for machine in machines}
    rows = (
        StockCount.objects.filter(
            place__column__machine__in=machines,
            counted_at__gt=now - LOOKED_BACK,
            counted_at__lte=now,
        )
        .order_by()
        .annotate(day=TruncDate("counted_at"))
        .values_list("place__column__machine", "day")
        .distinct()
    )
    for machine, day in rows:
        days[machine].append(day.toordinal())
    return {machine: _gap(sorted(found), usual) for machine, found in days.items()}


def next_visits(machines: Sequence[int], *, now: datetime, usual: int) -> dict[int, date]:
    """The day on which each machine is next visited, if the rhythm of its visits goes on.

    Tomorrow at the earliest; a machine that nobody has counted yet, after the usual gap. By the
    business's days. Three queries.
    """
    zone = Business.the().time_zone
    today = now.astimezone(zone).date()
    gaps = usual_gaps(machines, now=now, usual=usual)
    last = dict(
        StockCount.objects.filter(place__column__machine__in=machines, counted_at__lte=now)
        .order_by()
        .values_list("place__column__machine")
        .annotate(Max("counted_at"))
    )
    return {
        machine: max(
            (last[machine].astimezone(zone).date() if machine in last else today)
            + timedelta(days=gap),
            today + timedelta(days=1),
        )
        for machine, gap in gaps.items()
    }


def _gap(days: list[int], usual: int) -> int:
    if len(days) < LEAST_VISITS:
        return usual
    between = [later - earlier for earlier, later in pairwise(days)]
    return max(1, min(round(median(between)), MOST_DAYS))
