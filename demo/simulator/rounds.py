"""The order in which a driver goes to the machines of a day, and when.

A driver goes to whatever can be reached and is open soonest; that is how a round grows by habit,
not the best one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from random import Random

from demo.business.shapes import Machine, Shift, Site, Warehouse
from demo.simulator.demand import window_on

LOADING = timedelta(minutes=20)
_EARTH_KM = 6371.0
# Roads are longer than the crow flies; short ways are slow.
_CIRCUITY = 1.35
_TOWN_KMH, _COUNTRY_KMH, _TOWN_KM = 32.0, 66.0, 6.0
_PARKING_MIN = 3.0
_A_STOP_MIN, _A_COLUMN_MIN = 8.0, 0.75


@dataclass(frozen=True)
class Stop:
    """One machine's turn, by the wall clock of its site."""

    asset_tag: str
    arrives: datetime
    leaves: datetime


@dataclass(frozen=True)
class Way:
    """A day's stops in their order, by the wall clock of the warehouse."""

    starts: datetime
    leaves: datetime
    stops: tuple[Stop, ...]
    back: datetime


def way_of(
    day: date,
    *,
    shift: Shift,
    warehouse: Warehouse,
    machines: Sequence[Machine],
    sites: Mapping[str, Site],
    columns: Mapping[str, int],
    random: Random,
) -> Way:
    """Plan and drive one day. `columns` by kind. Raises ValueError where a site is shut by then."""
    starts = datetime.combine(day, shift.starts)
    leaves = starts + LOADING + timedelta(minutes=random.randrange(2, 12))
    left: dict[str, list[Machine]] = {}
    for machine in machines:
        left.setdefault(machine.site_code, []).append(machine)
    here: Site | Warehouse = warehouse
    now = leaves
    stops: list[Stop] = []
    while left:
        reached = {code: _at_door(here, sites[code], now) for code in left}
        code = min(reached, key=lambda code: (reached[code], code))
        site = sites[code]
        if site.time_zone != warehouse.time_zone:
            raise ValueError(f"{site.name} does not keep the time of {warehouse.name}")
        minutes = _minutes(here, site) - _PARKING_MIN
        late = max(0.0, random.gauss(0.0, 0.12)) * minutes
        now = reached[code] + timedelta(seconds=round(60 * late))
        for machine in left.pop(code):
            arrives = now + timedelta(seconds=random.randrange(20, 90))
            service_min = _A_STOP_MIN + _A_COLUMN_MIN * columns[machine.kind_name]
            service_min *= random.lognormvariate(0.0, 0.18)
            now = arrives + timedelta(seconds=round(60 * service_min))
            stops.append(Stop(machine.asset_tag, arrives, now))
        closes = _window(site, day)[1]
        if now > datetime.combine(day, closes):
            raise ValueError(f"{site.name} shuts at {closes}, before its machines are done")
        here = site
    back = now + timedelta(minutes=round(_minutes(here, warehouse))) if stops else leaves
    return Way(starts, leaves, tuple(stops), back)


def _at_door(here: Site | Warehouse, site: Site, now: datetime) -> datetime:
    opens, _ = _window(site, now.date())
    arrives = now + timedelta(seconds=round(60 * _minutes(here, site)))
    return max(arrives, datetime.combine(now.date(), opens))


def _window(site: Site, day: date) -> tuple[time, time]:
    window = window_on(site, day)
    if window is None:
        raise ValueError(f"{site.name} is to be visited on {day}, a closed day")
    return window


def _minutes(here: Site | Warehouse, there: Site | Warehouse) -> float:
    km = _CIRCUITY * _km(here, there)
    in_town = min(km, _TOWN_KM)
    return _PARKING_MIN + 60 * (in_town / _TOWN_KMH + (km - in_town) / _COUNTRY_KMH)


def _km(here: Site | Warehouse, there: Site | Warehouse) -> float:
    """Great circle by the haversine formula."""
    north = math.radians(there.latitude - here.latitude) / 2
    east = math.radians(there.longitude - here.longitude) / 2
    slant = math.cos(math.radians(here.latitude)) * math.cos(math.radians(there.latitude))
    chord = math.sin(north) ** 2 + slant * math.sin(east) ** 2
    return 2 * _EARTH_KM * math.asin(math.sqrt(chord))
