"""Travel without a map of roads: great circles, made longer, driven at usual speeds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .problem import BadProblem, Matrix

# Mean radius of the Earth, IUGG (Moritz 2000, Geodetic Reference System 1980).
EARTH_RADIUS_M = 6_371_008.8

# How strongly a depot's multiplier is held to 1 until it has been learned: as if so many legs had
# taken exactly their time. Common practice (shrinkage); no published source for the figure.
LEGS_HELD = 20
# A day's legs that took less or more than this are a mistake of the log, not a road.
LEAST_MULTIPLIER, MOST_MULTIPLIER = 0.5, 3.0


@dataclass(frozen=True)
class Place:
    """A point on the Earth in degrees (WGS 84)."""

    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.latitude) and -90 <= self.latitude <= 90):
            raise BadProblem(f"The latitude {self.latitude} is none; it must be -90 to 90.")
        if not (math.isfinite(self.longitude) and -180 <= self.longitude <= 180):
            raise BadProblem(f"The longitude {self.longitude} is none; it must be -180 to 180.")


@dataclass(frozen=True)
class TravelSettings:
    """How great circles become roads and minutes.

    `circuity` is road over great circle: about 1.2 (Newell 1980), 1.20 for the United States
    (Ballou, Rahardja & Sakai 2002), 1.34 over 300 European cities. The first `town_m` of a leg are
    driven at the speed in town, the rest at the speed outside. `parking_s` is added to every leg
    that ends elsewhere than it began. Speeds, `town_m` and parking are assumptions to be edited;
    no published source.
    """

    circuity: float = 1.3
    town_kmh: float = 35.0
    outside_kmh: float = 65.0
    town_m: int = 8_000
    parking_s: int = 120

    def __post_init__(self) -> None:
        for what, value, least, most in (
            ("circuity", self.circuity, 1.0, 3.0),
            ("speed in town", self.town_kmh, 5.0, 130.0),
            ("speed outside", self.outside_kmh, 5.0, 130.0),
            ("way driven in town", self.town_m, 0, 1_000_000),
            ("time to park", self.parking_s, 0, 3_600),
        ):
            if not least <= value <= most:
                raise BadProblem(f"The {what} is {value}; it must be {least} to {most}.")


@dataclass(frozen=True)
class LoggedLeg:
    """A leg that was driven: what it was expected to take and what it took, in seconds."""

    predicted_s: int
    actual_s: int


@dataclass(frozen=True)
class Multiplier:
    """What legs from a depot take, as a multiple of what was expected, and how sure that is.

    `low` and `high` hold the middle half of the legs; `legs` is how many it was learned from.
    """

    value: float = 1.0
    low: float = 1.0
    high: float = 1.0
    legs: int = 0


def great_circle_m(one: Place, other: Place) -> float:
    """Metres between two places by the haversine formula (Sinnott 1984), on a sphere."""
    return float(_great_circles([one, other])[0, 1])


def matrix(
    places: Sequence[Place],
    settings: TravelSettings | None = None,
    multiplier: float = 1.0,
) -> Matrix:
    """Driving seconds and metres between all places, times a depot's learned multiplier."""
    chosen = settings or TravelSettings()
    if not LEAST_MULTIPLIER <= multiplier <= MOST_MULTIPLIER:
        raise BadProblem(
            f"The multiplier is {multiplier}; it must be {LEAST_MULTIPLIER} to {MOST_MULTIPLIER}."
        )
    metres = _great_circles(places) * chosen.circuity
    in_town = np.minimum(metres, chosen.town_m)
    driven_s = (in_town / chosen.town_kmh + (metres - in_town) / chosen.outside_kmh) * 3.6
    seconds = driven_s + np.where(metres >= 1.0, chosen.parking_s, 0)
    return Matrix(
        seconds=_whole(seconds * multiplier),
        metres=_whole(metres),
        basis=f"great circle x {chosen.circuity:g}",
    )


def learned_multiplier(legs: Sequence[LoggedLeg]) -> Multiplier:
    """A depot's multiplier from its logged arrivals.

    The median of the ratios, each leg weighing as it was long (short ones are mostly rounding),
    on the logarithm's scale and held to 1 until there are many. A median, since a break taken on
    the way makes one leg an hour long and must not move the others. Legs without a length teach
    nothing.
    """
    pairs = [leg for leg in legs if leg.predicted_s > 0 and leg.actual_s > 0]
    if not pairs:
        return Multiplier()
    ratios = np.array([math.log(leg.actual_s / leg.predicted_s) for leg in pairs])
    weights = np.array([leg.predicted_s for leg in pairs], dtype=float)
    low, middle, high = (_quantile(ratios, weights, part) for part in (0.25, 0.5, 0.75))
    shrunk = middle * len(pairs) / (len(pairs) + LEGS_HELD)
    value = min(MOST_MULTIPLIER, max(LEAST_MULTIPLIER, math.exp(shrunk)))
    return Multiplier(
        round(value, 4), round(math.exp(low), 4), round(math.exp(high), 4), len(pairs)
    )


def _quantile(values: np.ndarray, weights: np.ndarray, part: float) -> float:
    """The weighted quantile: midway between two values when the weight falls between them."""
    order = np.argsort(values, kind="stable")
    sums = np.cumsum(weights[order])
    aim = part * sums[-1]
    lower = int(np.searchsorted(sums, aim, side="left"))
    upper = int(np.searchsorted(sums, aim, side="right"))
    upper = min(upper, len(values) - 1)
    return float((values[order][lower] + values[order][upper]) / 2)


def _great_circles(places: Sequence[Place]) -> np.ndarray:
    latitude = np.radians([place.latitude for place in places])
    longitude = np.radians([place.longitude for place in places])
    half = (
        np.sin((latitude[:, None] - latitude[None, :]) / 2) ** 2
        + np.cos(latitude[:, None])
        * np.cos(latitude[None, :])
        * np.sin((longitude[:, None] - longitude[None, :]) / 2) ** 2
    )
    circles: np.ndarray = 2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0)))
    return circles


def _whole(values: np.ndarray) -> tuple[tuple[int, ...], ...]:
    return tuple(tuple(row) for row in np.rint(values).astype(np.int64).tolist())
