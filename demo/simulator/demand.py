"""Who comes to the machine, when, and for what. All rates are invented."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from random import Random

from demo.business.kinds import SPIRAL
from demo.business.shapes import Business, Machine, Site

# Customers on an ordinary day at one machine, and the share of each weekday from Monday on.
_VISITORS = {
    "office": (15.0, (1.0, 1.05, 1.1, 1.05, 0.85, 0.0, 0.0)),
    "plant": (36.0, (1.0, 1.0, 1.05, 1.0, 1.0, 0.6, 0.4)),
    "school": (27.0, (0.95, 1.0, 1.05, 1.0, 1.1, 0.0, 0.0)),
    "hospital": (32.0, (1.05, 1.0, 1.0, 1.0, 1.0, 0.8, 0.75)),
    "gym": (20.0, (1.2, 1.0, 1.1, 1.0, 0.9, 0.9, 0.65)),
    "inn": (14.0, (0.8, 0.8, 0.85, 0.9, 1.2, 1.5, 1.2)),
    "depot": (21.0, (1.0, 1.0, 1.0, 1.0, 1.1, 0.5, 0.0)),
    "library": (10.0, (0.9, 1.0, 1.0, 1.0, 0.9, 1.1, 0.0)),
}
_CASH_SHARE = {
    "office": 0.22,
    "plant": 0.48,
    "school": 0.55,
    "hospital": 0.35,
    "gym": 0.18,
    "inn": 0.42,
    "depot": 0.50,
    "library": 0.45,
}
# A warm country drinks more in July; snacks hardly notice.
_DRINK_SEASON = 0.22
_SNACK_SEASON = -0.05
_HOTTEST_DAY_OF_YEAR = 200
# Days differ more than chance alone: the rate of a day is itself drawn, with this shape.
_DAY_SHAPE = 9.0
# Of those whose choice has run out, the share that takes something else.
SECOND_CHOICE_SHARE = 0.55
# What is left of the liking for something that people have turned away from.
_STILL_LIKED = 0.02


class Customers:
    """The customers of one machine. `random` is the machine's own."""

    def __init__(
        self, business: Business, *, machine: Machine, site: Site, seed: int, random: Random
    ) -> None:
        base, self._weekdays = _VISITORS[site.trade]
        self._site = site
        self._random = random
        self._snacks = machine.kind_name == SPIRAL
        self.visitors_per_day = base * random.lognormvariate(-0.05, 0.3)
        self.cash_share = _CASH_SHARE[site.trade] * random.uniform(0.85, 1.15)
        # A product is as well liked everywhere, but for what each machine's own people prefer.
        self._liking = {
            product.code: Random(f"{seed}:{product.code}").lognormvariate(0.0, 0.45)
            * random.lognormvariate(0.0, 0.25)
            for product in business.products
        }
        self.turned_from: set[str] = set()

    def mean(self, day: date) -> float:
        """Customers expected on a day, before the day's own luck."""
        amplitude = _SNACK_SEASON if self._snacks else _DRINK_SEASON
        turn = 2 * math.pi * (day.timetuple().tm_yday - _HOTTEST_DAY_OF_YEAR) / 365.25
        season = 1.0 + amplitude * math.cos(turn)
        return self.visitors_per_day * season * self._weekdays[day.weekday()]

    def arrivals(self, day: date) -> list[datetime]:
        """The moments, by the site's clock, at which somebody wants something, in order."""
        hours = window_on(self._site, day)
        mean = self.mean(day)
        if hours is None or mean == 0.0:
            return []
        opens = datetime.combine(day, hours[0])
        length_s = (datetime.combine(day, hours[1]) - opens).total_seconds()
        rate = self._random.gammavariate(_DAY_SHAPE, mean / _DAY_SHAPE)
        moments = []
        reached = self._random.expovariate(1.0)
        while reached < rate:
            moments.append(opens + timedelta(seconds=int(length_s * _busy_hour(reached / rate))))
            reached += self._random.expovariate(1.0)
        return moments

    def choose(self, offered: Mapping[str, str], besides: str | None = None) -> str | None:
        """A selection out of those offered (selection to product), other than one refused."""
        codes: Sequence[str] = [code for code in offered if code != besides]
        if not codes:
            return None
        weights = [
            self._liking[offered[code]] * (_STILL_LIKED if code in self.turned_from else 1.0)
            for code in codes
        ]
        return self._random.choices(codes, weights)[0]


def _busy_hour(share: float) -> float:
    """Bend an even flow so that more come around the middle of the opening time.

    Monotone from 0 to 1, so the order of arrivals stays.
    """
    return share + 0.11 * math.sin(2 * math.pi * share)


def window_on(site: Site, day: date) -> tuple[time, time] | None:
    """The hours in which the site is open on a day."""
    for window in site.windows:
        if day.weekday() in window.weekdays:
            return window.opens, window.closes
    return None
