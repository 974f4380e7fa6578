"""How long the ways between sites take, by what is assumed and what depots have learned."""

from collections.abc import Sequence

from fleet.machines.models import Site
from service.compute.routing.problem import Matrix
from service.compute.routing.travel import (
    LEAST_MULTIPLIER,
    MOST_MULTIPLIER,
    Place,
    TravelSettings,
)

from .models import Depot, RunAssumptions
from .travel import travel_matrix


def matrix_between(
    sites: Sequence[Site], *, depots: Sequence[Depot], assumed: RunAssumptions
) -> Matrix:
    """Driving between sites, in their order. All of them have coordinates.

    Of several depots the multipliers are taken together, each weighing as many legs as it learned
    from, and one more.
    """
    return _matrix(sites, assumed, _multiplier(depots))


def unlearned_matrix(sites: Sequence[Site], *, assumed: RunAssumptions) -> Matrix:
    """Driving between sites as it is assumed, before any depot has learned."""
    return _matrix(sites, assumed, 1.0)


def _matrix(sites: Sequence[Site], assumed: RunAssumptions, multiplier: float) -> Matrix:
    return travel_matrix(
        [Place(float(site.latitude or 0), float(site.longitude or 0)) for site in sites],
        TravelSettings(
            circuity=float(assumed.circuity),
            town_kmh=float(assumed.town_speed_kmh),
            outside_kmh=float(assumed.open_road_speed_kmh),
            town_m=round(assumed.town_leg_km * 1000),
            parking_s=round(assumed.minutes_per_stop * 60),
        ),
        multiplier,
    )


def _multiplier(depots: Sequence[Depot]) -> float:
    weights = sum(depot.travel_legs + 1 for depot in depots)
    if not weights:
        return 1.0
    mean = sum(float(one.travel_multiplier) * (one.travel_legs + 1) for one in depots) / weights
    return min(MOST_MULTIPLIER, max(LEAST_MULTIPLIER, mean))
