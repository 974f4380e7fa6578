"""Days that are not as usual, by the site where each column's machine stands."""

from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

from fleet.compute.demand.calendar import Calendar, Closure, day_number
from fleet.machines.models import Placement

from .models import UnusualDay


def calendar_for(machines: NDArray[np.int64], *, since: date, until: date) -> Calendar:
    """The calendar of columns given by their machines, from `since` to `until`. Two queries.

    A machine follows the site where it stands now; one that stands nowhere, the days of all sites.
    """
    there = np.unique(machines)
    sites = _sites(there.tolist())
    rows = {site: row for row, site in enumerate(sorted({*sites.values()}), start=1)}
    by_machine = np.array([rows.get(sites.get(one, 0), 0) for one in there.tolist()], np.int64)
    row = by_machine[np.searchsorted(there, machines)] if len(machines) else machines
    return Calendar.of(len(machines), _closures(rows, since, until), row=row)


def _sites(machines: Sequence[int]) -> dict[int, int]:
    return dict(
        Placement.objects.filter(ends_at__isnull=True, machine__in=machines)
        .order_by()
        .values_list("machine", "site")
    )


def _closures(rows: dict[int, int], since: date, until: date) -> list[Closure]:
    found = UnusualDay.objects.filter(day__gte=since, day__lt=until).order_by("day", "pk")
    # A site's own day follows that of all sites, so that it is the one that holds.
    days = sorted(
        found.values_list("day", "site", "part"), key=lambda one: (one[0], one[1] is not None)
    )
    return [
        Closure(day_number(day), float(part), None if site is None else rows[site])
        for day, site, part in days
        if site is None or site in rows
    ]
