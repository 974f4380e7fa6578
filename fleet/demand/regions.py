"""Machines dealt out by the warehouse they are nearest to, for one worker's work each."""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.db.models import Count

from fleet.machines.models import Machine, Placement, SetUp, Site

#: Columns that one worker fits in one go. Pools are made within a part, so parts are large; a part
#: that is lost with its worker is fitted again from its beginning, so they are not larger.
MOST_COLUMNS: Final = 30_000
EARTH_KM: Final = 6371.0


@dataclass(frozen=True)
class Part:
    """The machines of one part, in the order of their keys, and how many columns they have."""

    warehouse: Site | None
    machines: tuple[int, ...]
    columns: int


def parts() -> list[Part]:
    """Every machine that is not retired and has a column set up, by its nearest warehouse.

    A machine whose site has no coordinates, or that stands nowhere, is with those of no warehouse.
    """
    sizes: dict[int, int] = dict(
        SetUp.objects.filter(ends_at__isnull=True)
        .exclude(column__machine__status=Machine.Status.RETIRED)
        .order_by()
        .values_list("column__machine")
        .annotate(Count("pk"))
    )
    warehouses = list(
        Site.objects.filter(purpose=Site.Purpose.WAREHOUSE, latitude__isnull=False).order_by("pk")
    )
    near: dict[int, Site | None] = {}
    for machine, latitude, longitude in (
        Placement.objects.filter(ends_at__isnull=True, machine__in=sizes)
        .order_by()
        .values_list("machine", "site__latitude", "site__longitude")
    ):
        if latitude is not None and longitude is not None:
            near[machine] = _nearest(warehouses, float(latitude), float(longitude))
    by: dict[int | None, list[int]] = defaultdict(list)
    for machine in sorted(sizes):
        warehouse = near.get(machine)
        by[None if warehouse is None else warehouse.pk].append(machine)
    known = {site.pk: site for site in warehouses}
    return [
        Part(known.get(key) if key else None, tuple(cut), sum(sizes[m] for m in cut))
        for key, machines in sorted(by.items(), key=lambda one: (one[0] is None, one[0] or 0))
        for cut in _cut(machines, sizes)
    ]


def _nearest(warehouses: Sequence[Site], latitude: float, longitude: float) -> Site | None:
    return min(
        warehouses,
        key=lambda one: great_circle_km(
            float(one.latitude or 0), float(one.longitude or 0), latitude, longitude
        ),
        default=None,
    )


def great_circle_km(lat_a: float, lon_a: float, lat_b: float, lon_b: float) -> float:
    """Degrees in, kilometres out, by the haversine formula (from memory)."""
    a, b = math.radians(lat_a), math.radians(lat_b)
    half = math.sin((b - a) / 2) ** 2
    half += math.cos(a) * math.cos(b) * math.sin(math.radians(lon_b - lon_a) / 2) ** 2
    return 2 * EARTH_KM * math.asin(min(1.0, math.sqrt(half)))


def _cut(machines: Sequence[int], sizes: dict[int, int]) -> list[list[int]]:
    """Even parts of at most MOST_COLUMNS columns; a machine is never cut."""
    total = sum(sizes[machine] for machine in machines)
    many = max(1, math.ceil(total / MOST_COLUMNS))
    found: list[list[int]] = [[]]
    done = 0
    for machine in machines:
        if done >= total * len(found) / many:
            found.append([])
        found[-1].append(machine)
        done += sizes[machine]
    return found
