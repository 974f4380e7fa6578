"""How long the ways between sites take, by what is assumed and what depots have learned."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fleet.machines.models import Site
from service.compute.routing.problem import MOST_SECONDS, Matrix
from service.compute.routing.travel import (
    LEAST_MULTIPLIER,
    MOST_MULTIPLIER,
    Place,
    TravelSettings,
    great_circle_m,
)

from .models import Depot, RunAssumptions
from .travel import travel_matrix


def matrix_between(
    sites: Sequence[Site], *, depots: Sequence[Depot], assumed: RunAssumptions
) -> Matrix:
    """Driving between sites, in their order. All of them have coordinates.

    A way is as slow or quick as the nearest depot has learned of its own roads; between the
    surroundings of two depots it is half of each (the geometric mean).
    """
    ways = unlearned_matrix(sites, assumed=assumed)
    root = np.sqrt([_multiplier(site, depots) for site in sites])
    seconds = np.rint(np.asarray(ways.seconds) * np.outer(root, root))
    whole = np.minimum(seconds, MOST_SECONDS).astype(int)
    return replace(ways, seconds=tuple(tuple(row) for row in whole.tolist()))


def unlearned_matrix(sites: Sequence[Site], *, assumed: RunAssumptions) -> Matrix:
    """Driving between sites as it is assumed, before any depot has learned."""
    return travel_matrix(
        [_place(site) for site in sites],
        TravelSettings(
            circuity=float(assumed.circuity),
            town_kmh=float(assumed.town_speed_kmh),
            outside_kmh=float(assumed.open_road_speed_kmh),
            town_m=round(assumed.town_leg_km * 1000),
            parking_s=round(assumed.minutes_per_stop * 60),
        ),
    )


def _multiplier(site: Site, depots: Sequence[Depot]) -> float:
    """What the depot nearest to a site has learned; 1 without a depot."""
    if not depots:
        return 1.0
    here = _place(site)
    nearest = min(depots, key=lambda one: (great_circle_m(here, _place(one.site)), one.pk))
    return min(MOST_MULTIPLIER, max(LEAST_MULTIPLIER, float(nearest.travel_multiplier)))


def _place(site: Site) -> Place:
    return Place(float(site.latitude or 0), float(site.longitude or 0))
